"""Runs on the bench: those planned or on, those that a gauge has read, and the batch that comes of one.

A run that went over the bench carries the dict `trace`; runs that only came with a batch carry none.
"""

from sqlalchemy import Connection, select

from dyebook.book.rows import add_row, correct_row, row_of
from dyebook.book.schema import Batch, Dip, Part, Preparation, Rinse, Run, Seal

__all__ = ["add_batch_of_run", "change_run", "finished_runs", "gauged_runs", "open_runs", "preparations_of"]

_RUNS, _BATCHES = Run.__table__, Batch.__table__
_ON_BENCH = (_RUNS.c.deleted_at.is_(None), _RUNS.c.trace.is_not(None))


def open_runs(connection: Connection) -> list[dict]:
    """Return runs that are planned or on, oldest first."""
    query = select(_RUNS).where(*_ON_BENCH, _RUNS.c.anodise_min.is_(None)).order_by(_RUNS.c.id)
    return [dict(row) for row in connection.execute(query).mappings()]


def finished_runs(connection: Connection, count: int = 20) -> list[dict]:
    """Return the newest finished runs, each with ``batch``, the number of its batch or None."""
    query = (
        select(_RUNS, _BATCHES.c.id.label("batch"))
        .outerjoin(_BATCHES, (_BATCHES.c.run_id == _RUNS.c.id) & _BATCHES.c.deleted_at.is_(None))
        .where(*_ON_BENCH, _RUNS.c.anodise_min.is_not(None))
        .order_by(_RUNS.c.id.desc())
        .limit(count)
    )
    return [dict(row) for row in connection.execute(query).mappings()]


def gauged_runs(connection: Connection) -> list[dict]:
    """Return runs whose film was measured and whose area, time and current are known, oldest first."""
    known = (_RUNS.c.film_measured_um, _RUNS.c.area_dm2, _RUNS.c.anodise_min)
    query = select(_RUNS).where(_RUNS.c.deleted_at.is_(None), *(column.is_not(None) for column in known))
    flowed = _RUNS.c.charge_ah.is_not(None) | _RUNS.c.current_a.is_not(None)
    return [dict(row) for row in connection.execute(query.where(flowed).order_by(_RUNS.c.id)).mappings()]


def preparations_of(connection, run_id):
    """Return the preparation of a run as dicts, in order."""
    table = Preparation.__table__
    query = select(table).where(table.c.run_id == run_id, table.c.deleted_at.is_(None)).order_by(table.c.position)
    return [dict(row) for row in connection.execute(query).mappings()]


def change_run(connection, run_id: int, change, who: str | None = None, version: int | None = None) -> dict:
    """Change a run by what it holds now, with no other write in between.

    The row after the change comes back. `connection` (sqlalchemy.Connection): inside a writing transaction. `change`:
    takes the row as a dict and returns the new values as a dict. `version`: as for `dyebook.book.rows.correct_row`.
    """
    row = row_of(connection, _RUNS, run_id, lock=True)
    correct_row(connection, _RUNS, run_id, change(row), version or row["version"], who)
    return row_of(connection, _RUNS, run_id)


def add_batch_of_run(
    connection,
    run_id: int,
    names,
    dye: str,
    bath: str,
    dip,
    *,
    second=None,
    rinse=None,
    seal=None,
    part=None,
    who: str | None = None,
    **batch,
) -> int:
    """Insert the batch that went through a run, with its dip, rinse and seal; return its number.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Inside a writing transaction.
    dip : dict
        Columns of the dip.
    second : dict, optional
        A second dye in the same bath: ``dye`` and ``dye_g_per_l``; it is kept as a dip in the bath of that dye with the
        same name.
    rinse, seal, part : dict, optional
        Columns of the rinse and of the seal, where there was one, and of the part, where something was noted of it.
    **batch
        Columns of the batch.
    """
    row_of(connection, _RUNS, run_id)
    dye_id, bath_id = names.dye_and_bath(dye, bath)
    number = add_row(connection, _BATCHES, {"run_id": run_id, **batch}, who)
    add_row(connection, Dip.__table__, {"batch_id": number, "dye_id": dye_id, "bath_id": bath_id, **dip}, who)
    if second is not None:
        other_id, same_id = names.dye_and_bath(second["dye"], bath)
        shared = {**dip, "dye_g_per_l": second["dye_g_per_l"], "position": 2}
        add_row(connection, Dip.__table__, {"batch_id": number, "dye_id": other_id, "bath_id": same_id, **shared}, who)
    for table, values in ((Rinse.__table__, rinse), (Seal.__table__, seal), (Part.__table__, part)):
        if values is not None:
            add_row(connection, table, {"batch_id": number, **values}, who)
    return number

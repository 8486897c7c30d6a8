"""A record's settings into the tables that keep them apart, and corrections to the right one of them."""

import math

from sqlalchemy import select

from dyebook.book.batches import HOMES, batch_query, first_of, with_filters
from dyebook.book.rows import add_row, correct_row, row_of
from dyebook.book.schema import Batch, Dip, Rinse, Run
from dyebook.errors import BookError, RecordError
from dyebook.record import FIELDS

__all__ = ["add_dip", "correct_batch"]

_BATCHES, _RUNS, _DIPS, _RINSES = (model.__table__ for model in (Batch, Run, Dip, Rinse))


def add_dip(connection, record, names, who, run=None, **batch_values):
    """Insert run, batch, dip and rinse of one record, and return the batch's number.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Inside a writing transaction.
    record : dyebook.record.DyeRecord
    names : dyebook.book.names.Names
        Finds or makes the dye and bath.
    who : str
    run : dict, optional
        Further columns of the run, such as `charge_ah` and `trace`.
    **batch_values
        Further columns of the batch, such as `replaces_id`.

    Returns
    -------
    int
    """
    of = {table: {} for table in (_RUNS, _BATCHES, _DIPS, _RINSES)}
    for name, table in HOMES.items():
        of[table][name] = getattr(record, name)
    dye_id, bath_id = names.dye_and_bath(record.dye, record.bath)
    run_id = add_row(connection, _RUNS, of[_RUNS] | (run or {}), who)
    batch_id = add_row(connection, _BATCHES, {"run_id": run_id, **of[_BATCHES], **batch_values}, who)
    add_row(connection, _DIPS, {"batch_id": batch_id, "dye_id": dye_id, "bath_id": bath_id, **of[_DIPS]}, who)
    if not math.isnan(record.rinse_temp_c):
        add_row(connection, _RINSES, {"batch_id": batch_id, **of[_RINSES]}, who)
    return batch_id


def correct_batch(connection, batch_id, changes, names, version=None, who=None):
    """Correct settings of a batch wherever they are kept, and return its new version.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Inside a writing transaction.
    batch_id : int
    changes : dict
        Names of `SETTINGS`, or columns of the batch itself, and their new values.
    names : dyebook.book.names.Names
    version : int, optional
        The batch's version that was looked at.
    who : str, optional

    Returns
    -------
    int

    Raises
    ------
    BookError
        If there is no such batch, or it was changed since `version`.
    RecordError
        If a value is impossible, or a setting would be emptied that a dip cannot be repeated without.
    """
    row = row_of(connection, _BATCHES, batch_id, lock=True)
    by_table = _sorted_by_home(connection, batch_id, changes, names)
    # the batch goes first, so that an outdated view is refused before anything else is written
    own = by_table.pop(_BATCHES, {})
    new_version = correct_row(connection, _BATCHES, batch_id, own, version, who)
    for table, values in by_table.items():
        _correct_part(connection, table, row, values, who)
    if by_table and new_version == row["version"]:
        new_version = _touch(connection, row)
    return new_version


def _sorted_by_home(connection, batch_id, changes, names):
    by_table = {}
    for name, value in changes.items():
        if name in FIELDS and FIELDS[name].required and value in (None, ""):
            raise RecordError(f"{name} of batch {batch_id} would be empty; a dip cannot be repeated without")
        if name not in ("dye", "bath"):
            by_table.setdefault(HOMES.get(name, _BATCHES), {})[name] = value
    if "dye" in changes or "bath" in changes:
        now = connection.execute(with_filters(batch_query(), ids=[batch_id])).mappings().one()
        dye_id, bath_id = names.dye_and_bath(changes.get("dye", now["dye"]), changes.get("bath", now["bath"]))
        by_table.setdefault(_DIPS, {}).update(dye_id=dye_id, bath_id=bath_id)
    return by_table


def _correct_part(connection, table, batch, values, who):
    """Correct the run, first dip or first rinse of a batch; make it where the batch had none."""
    part_id = batch["run_id"] if table is _RUNS else connection.execute(select(first_of(table, batch["id"]))).scalar()
    if part_id is not None:
        correct_row(connection, table, part_id, values, who=who)
    elif table is _RUNS:
        run_id = add_row(connection, table, values, who)
        connection.execute(_BATCHES.update().where(_BATCHES.c.id == batch["id"]).values(run_id=run_id))
    else:
        add_row(connection, table, {"batch_id": batch["id"], **values}, who)


def _touch(connection, batch):
    """Raise the version of a batch whose settings changed in another table."""
    new = batch["version"] + 1
    changed = _BATCHES.update().where(_BATCHES.c.id == batch["id"], _BATCHES.c.version == batch["version"])
    if connection.execute(changed.values(version=new)).rowcount != 1:
        raise BookError(f"batch {batch['id']} was changed by somebody else meanwhile; look at it again")
    return new

"""What the rows add up to: the life of a bath and of an electrolyte, what went through a bath, what changed a batch."""

from sqlalchemy import Connection, func, select
from sqlalchemy.orm import aliased

from dyebook.book.rows import row_of
from dyebook.book.schema import TABLES, Batch, Bath, BathEvent, Change, Dip, Electrolyte, ElectrolyteEvent, Run

__all__ = ["batch_history", "bath_life", "dips_in_bath", "electrolyte_life", "replaced_batches"]

_FILLED = "made_up"


def _since_filling(connection, events, owner):
    """Events of a bath or electrolyte since it was last made up, oldest first."""
    rows = connection.execute(
        select(events).where(owner, events.c.deleted_at.is_(None)).order_by(events.c.at, events.c.id)
    ).mappings()
    rows = [dict(row) for row in rows]
    starts = [place for place, row in enumerate(rows) if row["kind"] == _FILLED]
    return rows[starts[-1] :] if starts else rows


def batch_history(connection: Connection, batch_id: int) -> list[dict]:
    """Return every change of a batch and of all that hangs on it, oldest first.

    Each holds ``at, who, table, row_id, action, old, new``.
    """
    run_id = row_of(connection, Batch.__table__, batch_id)["run_id"]
    mine = (Change.table == "batches") & (Change.row_id == batch_id)
    if run_id is not None:
        mine |= (Change.table == "runs") & (Change.row_id == run_id)
    for table in TABLES.values():
        if "batch_id" in table.c:
            rows = select(table.c.id).where(table.c.batch_id == batch_id)
            mine |= (Change.table == table.name) & Change.row_id.in_(rows)
    lines = connection.execute(select(Change.__table__).where(mine).order_by(Change.id)).mappings()
    return [dict(line) for line in lines]


def replaced_batches(connection: Connection) -> set[int]:
    """Return the numbers of batches that were stripped and done again, as a set."""
    query = select(Batch.replaces_id).where(Batch.replaces_id.is_not(None), Batch.deleted_at.is_(None))
    return set(connection.execute(query).scalars())


def bath_life(connection: Connection, bath_id: int) -> dict:
    """Return the life of a bath since it was last made up.

    It holds ``made_up_at`` (None where it was not noted), ``events`` since then, ``dips`` and ``area_dm2`` dyed in it.
    """
    row_of(connection, Bath.__table__, bath_id)
    events = _since_filling(connection, BathEvent.__table__, BathEvent.bath_id == bath_id)
    start = _start_of(events)
    query = _dips_since(bath_id, start, func.count(), func.coalesce(func.sum(Run.area_dm2), 0.0))
    dips, area = connection.execute(query).one()
    return {"made_up_at": start, "events": events, "dips": dips, "area_dm2": area}


_DYED_AT = func.coalesce(Batch.dyed_at, Batch.added_at)


def _dips_since(bath_id, since, *columns):
    """Query of the standing dips in a bath, from an ISO date on where there is one."""
    query = (
        select(*columns)
        .select_from(Dip)
        .join(Batch, Batch.id == Dip.batch_id)
        .outerjoin(Run, Run.id == Batch.run_id)
        .where(Dip.bath_id == bath_id, Dip.deleted_at.is_(None), Batch.deleted_at.is_(None))
    )
    return query.where(since <= _DYED_AT) if since else query


def dips_in_bath(connection: Connection, bath_id: int, since: str | None = None) -> list[dict]:
    """Return what went through a bath, since an ISO date where one is given, oldest first.

    Each holds ``at, batch``, the settings of the dip, and ``share``: its part of all dye in the tank, 1 unless the
    batch was in a bath of two dyes, kept as dips in baths of one name.
    """
    run = (Run.area_dm2, Run.film_um, Run.alloy, Run.finish)
    dip = (Dip.dye_g_per_l, Dip.bath_temp_c, Dip.dwell_min, Dip.ph)
    query = _dips_since(bath_id, since, _DYED_AT.label("at"), Batch.id.label("batch"), *run, *dip)
    together = _dye_of_others(connection, bath_id)
    rows = [dict(row) for row in connection.execute(query.order_by(_DYED_AT, Batch.id)).mappings()]
    return [row | {"share": _share(row["dye_g_per_l"], together.get(row["batch"]))} for row in rows]


def _dye_of_others(connection, bath_id):
    """Strength of the other dyes of a tank, by batch: dips of the same batch in other baths of the same name."""
    own, other, mine, theirs = aliased(Bath), aliased(Bath), aliased(Dip), aliased(Dip)
    # most baths share their name with no other, which is known at once
    named = select(other.id).join(own, (own.name == other.name) & (own.id != other.id)).where(own.id == bath_id)
    if connection.execute(named.limit(1)).first() is None:
        return {}
    query = (
        select(theirs.batch_id, func.sum(theirs.dye_g_per_l))
        .join(other, other.id == theirs.bath_id)
        .join(own, (own.name == other.name) & (own.id != other.id))
        .join(mine, (mine.batch_id == theirs.batch_id) & (mine.bath_id == own.id))
        .where(own.id == bath_id, theirs.deleted_at.is_(None), mine.deleted_at.is_(None))
        .group_by(theirs.batch_id)
    )
    return dict(connection.execute(query).all())


def _share(mine, others):
    return mine / (mine + others) if mine and others else 1.0


def electrolyte_life(connection: Connection, electrolyte_id: int) -> dict:
    """Return the life of an electrolyte since it was last made up.

    It holds ``made_up_at``, ``events``, ``runs``, ``charge_ah``, ``ah_per_l`` (None without a volume), and the newest
    ``dissolved_al_g_per_l`` and ``electrolyte_g_per_l`` that were noted.
    """
    own = row_of(connection, Electrolyte.__table__, electrolyte_id)
    events = _since_filling(connection, ElectrolyteEvent.__table__, ElectrolyteEvent.electrolyte_id == electrolyte_id)
    start = _start_of(events)
    query = select(func.count(), func.coalesce(func.sum(Run.charge_ah), 0.0))
    query = query.where(Run.electrolyte_id == electrolyte_id, Run.deleted_at.is_(None))
    if start:
        query = query.where(func.coalesce(Run.started_at, Run.added_at) >= start)
    runs, charge_ah = connection.execute(query).one()
    volume_l = _newest(events, "bath_volume_l") or own["bath_volume_l"]
    return {
        "made_up_at": start,
        "events": events,
        "runs": runs,
        "charge_ah": charge_ah,
        "ah_per_l": charge_ah / volume_l if volume_l else None,
        "dissolved_al_g_per_l": _newest(events, "dissolved_al_g_per_l"),
        "electrolyte_g_per_l": _newest(events, "electrolyte_g_per_l"),
    }


def _start_of(events):
    return events[0]["at"] if events and events[0]["kind"] == _FILLED else None


def _newest(events, name):
    return next((event[name] for event in reversed(events) if event[name] is not None), None)

"""Batches as people see them: one dip's settings with what was read, over the tables that keep them apart.

A record goes in table by table, its dye and bath found or made by their names; a correction goes to the table that
holds the setting; and a list of batches comes out as one query, narrowed by filters.
"""

import math
from dataclasses import dataclass, fields
from datetime import date, timedelta
from functools import cache

from sqlalchemy import bindparam, func, or_, select, update
from sqlalchemy.dialects import postgresql, sqlite

from dyebook.book.readings import seen_of
from dyebook.book.rows import add_row, correct_row, row_of
from dyebook.book.schema import TABLES, Batch, Bath, Dip, Dye, Order, Part, Rinse, Run, Seal, now
from dyebook.errors import BookError, RecordError
from dyebook.lab import Lab
from dyebook.record import FIELDS, SETTINGS, DyeRecord, is_empty
from dyebook.units import parse_moment

__all__ = [
    "FIRST_ONLY", "HOMES", "BatchRow", "Found", "Names", "add_dip", "batch_query", "batch_rows", "correct_batch",
    "first_of", "with_filters", "with_first",
]  # fmt: skip

_BATCHES, _RUNS, _DIPS = (model.__table__ for model in (Batch, Run, Dip))
# tables with several rows a batch, of which a record tells the first
FIRST_ONLY = (Rinse.__table__, Seal.__table__, Part.__table__)

# the table of each setting of a record that is kept as a column of its own
HOMES = {name: TABLES[FIELDS[name].table] for name in SETTINGS if name not in ("dye", "bath")}


class Names:
    """Finds the number of a dye or bath by name, making it when it is new; remembers what it found."""

    def __init__(self, connection, who):
        self.connection = connection
        self.who = who
        self._known = {}

    def dye_and_bath(self, dye, bath):
        """Return the numbers of a dye and of a bath of it (None without a bath name)."""
        dye, bath = _tidy(dye), _tidy(bath)
        if not dye:
            raise RecordError("the dye has no name; a dip cannot be repeated without")
        dye_id = self._number(Dye.__table__, {"name": dye})
        return dye_id, self._number(Bath.__table__, {"name": bath, "dye_id": dye_id}) if bath else None

    def _number(self, table, values):
        key = (table.name, *values.values())
        if key not in self._known:
            self._known[key] = self._find(table, values) or self._make(table, values)
        return self._known[key]

    def _find(self, table, values):
        same = [table.c[name] == value for name, value in values.items()]
        row = self.connection.execute(select(table.c.id, table.c.deleted_at).where(*same)).first()
        if row is not None and row.deleted_at is not None:
            self.connection.execute(update(table).where(table.c.id == row.id).values(deleted_at=None))
        return row.id if row else None

    def _make(self, table, values):
        made = _insert_if_new(self.connection, table, {**values, "added_at": now(), "added_by": self.who})
        return made or self._find(table, values)


_INSERTS = {"sqlite": sqlite.insert, "postgresql": postgresql.insert}


def _insert_if_new(connection, table, values):
    """Insert a row unless a unique name stands in the way; its number, or None if it was there."""
    statement = _INSERTS[connection.dialect.name](table).values(**values).on_conflict_do_nothing()
    return connection.execute(statement.returning(table.c.id)).scalar()


def _tidy(name):
    """A name without stray blanks; None for none."""
    return " ".join(str(name).split()) or None if name is not None else None


def add_dip(connection, record: DyeRecord, names, who: str, run=None, **batch_values) -> int:
    """Insert run, batch, dip, and what is known of rinse, seal and part of one record; return the batch's number.

    `connection` is inside a writing transaction; `names` finds or makes the dye and bath. `run` are further columns of
    the run, such as `charge_ah` and `trace`, `batch_values` of the batch, such as `replaces_id`.
    """
    of = {table: {} for table in (_RUNS, _BATCHES, _DIPS, *FIRST_ONLY)}
    for name, table in HOMES.items():
        of[table][name] = getattr(record, name)
    dye_id, bath_id = names.dye_and_bath(record.dye, record.bath)
    run_id = add_row(connection, _RUNS, of[_RUNS] | (run or {}), who)
    batch_id = add_row(connection, _BATCHES, {"run_id": run_id, **of[_BATCHES], **batch_values}, who)
    add_row(connection, _DIPS, {"batch_id": batch_id, "dye_id": dye_id, "bath_id": bath_id, **of[_DIPS]}, who)
    for table in FIRST_ONLY:
        if not all(map(is_empty, of[table].values())):
            add_row(connection, table, {"batch_id": batch_id, **of[table]}, who)
    return batch_id


def correct_batch(connection, batch_id: int, changes, names: Names, version=None, who: str | None = None) -> int:
    """Correct settings of a batch wherever they are kept, inside a writing transaction, and return its new version.

    `changes`: names of `SETTINGS`, or columns of the batch itself, and their new values. BookError if there is no such
    batch, or it was changed since `version`; RecordError if a value is impossible, or a setting would be emptied that a
    dip cannot be repeated without.
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
        old = connection.execute(with_filters(batch_query(), ids=[batch_id])).mappings().one()
        dye_id, bath_id = names.dye_and_bath(changes.get("dye", old["dye"]), changes.get("bath", old["bath"]))
        by_table.setdefault(_DIPS, {}).update(dye_id=dye_id, bath_id=bath_id)
    return by_table


def _correct_part(connection, table, batch, values, who):
    """Correct the run, first dip, rinse, seal or part of a batch; make it where the batch had none."""
    part_id = batch["run_id"] if table is _RUNS else connection.execute(select(first_of(table, batch["id"]))).scalar()
    if part_id is not None:
        correct_row(connection, table, part_id, values, who=who)
    elif table is _RUNS:
        run_id = add_row(connection, table, values, who, batch["id"])
        connection.execute(_BATCHES.update().where(_BATCHES.c.id == batch["id"]).values(run_id=run_id))
    else:
        add_row(connection, table, {"batch_id": batch["id"], **values}, who)


def _touch(connection, batch):
    """Raise the version of a batch whose settings changed in another table."""
    new = batch["version"] + 1
    changed = _BATCHES.update().where(_BATCHES.c.id == batch["id"], _BATCHES.c.version == batch["version"])
    if connection.execute(changed.values(version=new)).rowcount != 1:
        raise BookError(f"batch {batch['id']} was changed by another person meanwhile; look at it again")
    return new


@dataclass(frozen=True)
class BatchRow:
    """A batch as listed; nan or None = not measured.

    The settings are those of `dyebook.record.FIELDS`, of the first dip where a batch has several.
    """

    batch: int
    version: int  # to hand back with a correction
    dye: str | None
    bath: str | None
    film_um: float
    dye_g_per_l: float
    bath_temp_c: float
    dwell_min: float
    ph: float
    film_measured_um: float
    film_sd_um: float
    area_dm2: float
    current_density_a_per_dm2: float
    electrolyte_temp_c: float
    alloy: str | None
    finish: str | None
    rinse_temp_c: float
    wait_min: float
    dye_lot: str | None
    seal_stain: float
    jig_place: str | None
    contact_marks: str | None
    dyed_at: str | None
    note: str | None
    dips: int  # how many it had
    replaces: int | None  # the batch this one did again
    added_at: str
    added_by: str
    # job, customer: of its order
    job: str | None
    customer: str | None
    # lab, lab_u: mean of the newest readings in one state of the surface, and its standard uncertainty
    lab: Lab | None = None
    lab_u: tuple | None = None
    # wet, sealed: that state
    wet: bool | None = None
    sealed: bool | None = None
    readings: int = 0  # how many it has in all
    photo: str | None = None  # SHA-256 of the photo of its newest reading, else of the newest photo kept with it

    def record(self):
        """Return the settings as a new `DyeRecord` without readings and date, to do this batch again."""
        return DyeRecord(**{name: getattr(self, name) for name in SETTINGS if name not in _OF_ONE_TIME})

    def to_dict(self):
        """Return plain JSON values in the shape of the record-and-find contract."""
        plain = {field.name: _plain(getattr(self, field.name)) for field in fields(self)}
        return {"batch": plain.pop("batch"), "lab": plain.pop("lab"), **plain}


# what belongs to the one time it was done
_OF_ONE_TIME = ("dyed_at", "note", "seal_stain", "contact_marks", "dye_lot")


def _plain(value):
    if isinstance(value, tuple):
        return [round(float(part), 4) if math.isfinite(part) else None for part in value]
    return None if is_empty(value) else value


@dataclass(frozen=True)
class Found:
    """A batch found, and how far its colour is from what was looked for (None without a colour)."""

    row: BatchRow
    delta_e00: float | None

    def to_dict(self):
        """Return the entry of the find contract."""
        plain = self.row.to_dict()
        head = {"batch": plain.pop("batch"), "lab": plain.pop("lab")}
        return {**head, "delta_e00": None if self.delta_e00 is None else round(self.delta_e00, 4), **plain}


def first_of(table, batch_id=_BATCHES.c.id):
    """Return the number, as a subquery, of a batch's first standing row in a table of steps."""
    inner = table.alias()
    query = select(inner.c.id).where(inner.c.batch_id == batch_id, inner.c.deleted_at.is_(None))
    return query.order_by(inner.c.position, inner.c.id).limit(1).correlate(_BATCHES).scalar_subquery()


def with_first(query):
    """Return a query of batches joined to the first row that each has in the tables of `FIRST_ONLY`."""
    for table in FIRST_ONLY:
        query = query.outerjoin(table, table.c.id == first_of(table))
    return query


@cache
def batch_query():
    """Return the query behind every list of batches: a row a batch, columns in the order of `BatchRow`."""
    dip = _DIPS.alias()
    dips = select(func.count()).where(dip.c.batch_id == _BATCHES.c.id, dip.c.deleted_at.is_(None))
    columns = [table.c[name] for name, table in HOMES.items()]
    return with_first(
        select(
            *(_BATCHES.c.id.label("batch"), _BATCHES.c.version, Dye.name.label("dye"), Bath.name.label("bath")),
            *columns,
            dips.correlate(_BATCHES).scalar_subquery().label("dips"),
            *(_BATCHES.c.replaces_id.label("replaces"), _BATCHES.c.added_at, _BATCHES.c.added_by),
            *(Order.name.label("job"), Order.customer),
        )
        .select_from(_BATCHES)
        .outerjoin(_RUNS, _RUNS.c.id == _BATCHES.c.run_id)
        .outerjoin(_DIPS, _DIPS.c.id == first_of(_DIPS))
        .outerjoin(Dye, Dye.id == _DIPS.c.dye_id)
        .outerjoin(Bath, Bath.id == _DIPS.c.bath_id)
        .outerjoin(Order, Order.id == _BATCHES.c.order_id)
    )


_EXACT = {"dye": Dye.name, "bath": Bath.name, "alloy": _RUNS.c.alloy}


_DAY_LETTERS = len("2026-03-28")


def with_filters(query, deleted=False, ids=None, text=None, since=None, until=None, **exact):
    """Return `batch_query` narrowed to words in notes and names, days (ISO text), and exact values.

    `exact` may hold `dye`, `bath`, `alloy`, and `order` (its name).
    """
    mark = _BATCHES.c.deleted_at
    conditions = [mark.is_not(None) if deleted else mark.is_(None)]
    when = func.coalesce(_BATCHES.c.dyed_at, _BATCHES.c.added_at)
    conditions += [_EXACT[name] == value for name, value in exact.items() if value is not None and name != "order"]
    if exact.get("order") is not None:
        conditions.append(_BATCHES.c.order_id.in_(select(Order.id).where(Order.name == exact["order"])))
    if text is not None:
        places = (_BATCHES.c.note, Dye.name, Bath.name, _RUNS.c.alloy, _RUNS.c.finish, Order.name, Order.customer)
        conditions.append(or_(*(place.icontains(text, autoescape=True) for place in places)))
    if since is not None:
        conditions.append(when >= parse_moment("since", since))
    if until is not None:
        until = parse_moment("until", until)
        conditions.append(when < _day_after(until) if len(until) == _DAY_LETTERS else when <= until)
    if ids is not None:
        conditions.append(_BATCHES.c.id.in_(ids))
    return query.where(*conditions)


def _day_after(day):
    """The day after an ISO date, so that a day named alone counts whole."""
    return (date.fromisoformat(day) + timedelta(days=1)).isoformat()


@cache
def newest_page():
    """Return the query of standing batches, newest first, with parameters `count` and `offset`.

    It is one object for good: the database library takes a third less time over a query that it knows.
    """
    query = with_filters(batch_query()).order_by(_BATCHES.c.id.desc())
    return query.limit(bindparam("count")).offset(bindparam("offset"))


def batch_rows(connection, query, **parameters):
    """Return the `BatchRow` of each row of a narrowed `batch_query`, readings included."""
    rows = connection.execute(query, parameters).all()
    seen = seen_of(connection, [row[0] for row in rows]) if rows else {}
    return [BatchRow(*_measured_or_nan(row), **seen.get(row[0], {})) for row in rows]


_NUMBER_PLACES = tuple(
    place for place, field in enumerate(fields(BatchRow)) if field.name in HOMES and FIELDS[field.name].kind is float
)


def _measured_or_nan(row):
    values = list(row)
    for place in _NUMBER_PLACES:
        if values[place] is None:
            values[place] = math.nan
    return values

"""Batches as people see them: one dip's settings with what was read, over the tables that keep them apart."""

import math
from dataclasses import dataclass, fields
from datetime import date, timedelta
from functools import cache

from sqlalchemy import func, or_, select

from dyebook.book.rows import checked_moment
from dyebook.book.schema import Batch, Bath, Dip, Dye, Photo, Reading, Rinse, Run
from dyebook.lab import Lab
from dyebook.record import FIELDS

__all__ = ["HOMES", "SETTINGS", "BatchRow", "batch_query", "batch_rows", "first_of", "mean_lab", "with_filters"]

_BATCHES, _RUNS, _DIPS, _RINSES = (model.__table__ for model in (Batch, Run, Dip, Rinse))
_READINGS = Reading.__table__
_PHOTOS = Photo.__table__

# where each setting of a record lives; the rest of FIELDS belongs to readings
HOMES = {
    "film_um": _RUNS,
    "dye_g_per_l": _DIPS,
    "bath_temp_c": _DIPS,
    "dwell_min": _DIPS,
    "ph": _DIPS,
    "film_measured_um": _RUNS,
    "film_sd_um": _RUNS,
    "area_dm2": _RUNS,
    "current_density_a_per_dm2": _RUNS,
    "electrolyte_temp_c": _RUNS,
    "alloy": _RUNS,
    "finish": _RUNS,
    "rinse_temp_c": _RINSES,
    "dyed_at": _BATCHES,
    "note": _BATCHES,
}
SETTINGS = ("dye", "bath", *HOMES)


@dataclass(frozen=True)
class BatchRow:
    """A batch as listed; nan or None = not measured.

    Attributes
    ----------
    batch, version : int
        Number of the batch, and the version to hand back with a correction.
    dye, bath, film_um, ..., note
        Settings, as in `dyebook.record.FIELDS`; those of the first dip where a batch has several.
    dips : int
        How many dips it had.
    lab, lab_u : Lab or None
        Mean of the newest readings in one state of the surface, and its standard uncertainty.
    wet, sealed : bool or None
        That state.
    readings : int
        How many readings it has in all.
    photo : str or None
        SHA-256 of the photo of its newest reading, else of the newest photo kept with it.
    replaces : int or None
        The batch this one did again.
    added_at, added_by : str
    """

    batch: int
    version: int
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
    dyed_at: str | None
    note: str | None
    dips: int
    replaces: int | None
    added_at: str
    added_by: str
    lab: Lab | None = None
    lab_u: tuple | None = None
    wet: bool | None = None
    sealed: bool | None = None
    readings: int = 0
    photo: str | None = None

    def to_dict(self):
        """Return plain JSON values in the shape of the record-and-find contract."""
        plain = {field.name: _plain(getattr(self, field.name)) for field in fields(self)}
        return {"batch": plain.pop("batch"), "lab": plain.pop("lab"), **plain}


def _plain(value):
    if isinstance(value, tuple):
        return [round(float(part), 4) if math.isfinite(part) else None for part in value]
    return None if isinstance(value, float) and math.isnan(value) else value


def first_of(table, batch_id=_BATCHES.c.id):
    """Return the number, as a subquery, of a batch's first standing row in a table of steps."""
    inner = table.alias()
    query = select(inner.c.id).where(inner.c.batch_id == batch_id, inner.c.deleted_at.is_(None))
    return query.order_by(inner.c.position, inner.c.id).limit(1).correlate(_BATCHES).scalar_subquery()


@cache
def batch_query():
    """Return the query behind every list of batches: a row a batch, columns in the order of `BatchRow`."""
    dip = _DIPS.alias()
    dips = select(func.count()).where(dip.c.batch_id == _BATCHES.c.id, dip.c.deleted_at.is_(None))
    columns = [table.c[name] for name, table in HOMES.items()]
    return (
        select(
            *(_BATCHES.c.id.label("batch"), _BATCHES.c.version, Dye.name.label("dye"), Bath.name.label("bath")),
            *columns,
            dips.correlate(_BATCHES).scalar_subquery().label("dips"),
            *(_BATCHES.c.replaces_id.label("replaces"), _BATCHES.c.added_at, _BATCHES.c.added_by),
        )
        .select_from(_BATCHES)
        .outerjoin(_RUNS, _RUNS.c.id == _BATCHES.c.run_id)
        .outerjoin(_DIPS, _DIPS.c.id == first_of(_DIPS))
        .outerjoin(_RINSES, _RINSES.c.id == first_of(_RINSES))
        .outerjoin(Dye, Dye.id == _DIPS.c.dye_id)
        .outerjoin(Bath, Bath.id == _DIPS.c.bath_id)
    )


def with_filters(query, dye=None, bath=None, alloy=None, text=None, since=None, until=None, deleted=False, ids=None):
    """Return `batch_query` narrowed to a dye, bath, alloy, words in notes and names, and days (ISO text)."""
    mark = _BATCHES.c.deleted_at
    conditions = [mark.is_not(None) if deleted else mark.is_(None)]
    when = func.coalesce(_BATCHES.c.dyed_at, _BATCHES.c.added_at)
    exact = ((Dye.name, dye), (Bath.name, bath), (_RUNS.c.alloy, alloy))
    conditions += [column == value for column, value in exact if value is not None]
    if text is not None:
        places = (_BATCHES.c.note, Dye.name, Bath.name, _RUNS.c.alloy, _RUNS.c.finish)
        conditions.append(or_(*(place.icontains(text, autoescape=True) for place in places)))
    if since is not None:
        conditions.append(when >= since)
    if until is not None:
        conditions.append(when < _day_after(until) if len(until) == 10 else when <= until)
    if ids is not None:
        conditions.append(_BATCHES.c.id.in_(ids))
    return query.where(*conditions)


def _day_after(day):
    """The day after an ISO date, so that a day named alone counts whole."""
    return (date.fromisoformat(checked_moment("until", day)) + timedelta(days=1)).isoformat()


def batch_rows(connection, query):
    """Return the `BatchRow` of each row of a narrowed `batch_query`, readings included."""
    rows = [_settings_of(row) for row in connection.execute(query)]
    seen = _seen(connection, [row["batch"] for row in rows])
    return [BatchRow(**row, **seen.get(row["batch"], {})) for row in rows]


_NUMBERS = tuple(name for name in HOMES if FIELDS[name].kind is float)


def _settings_of(row):
    values = dict(row._mapping)
    for name in _NUMBERS:
        if values[name] is None:
            values[name] = math.nan
    return values


_READING_COLUMNS = ("batch_id", "L", "a", "b", "L_sd", "a_sd", "b_sd", "wet", "sealed")


def _seen(connection, batches):
    """What was read of each batch, by its number."""
    by_batch = {}
    for reading in _rows_of_batches(connection, batches, _reading_query(), _READINGS.c.batch_id):
        by_batch.setdefault(reading.batch_id, []).append(reading)
    seen = {batch: summary_of(readings) for batch, readings in by_batch.items()}
    for batch, sha in _rows_of_batches(connection, batches, _loose_photo_query(), _PHOTOS.c.batch_id):
        seen.setdefault(batch, {}).setdefault("photo", None)
        seen[batch]["photo"] = seen[batch]["photo"] or sha
    return seen


def _reading_query():
    columns = [_READINGS.c[name] for name in _READING_COLUMNS]
    return (
        select(*columns, _PHOTOS.c.sha256)
        .outerjoin(_PHOTOS, _PHOTOS.c.id == _READINGS.c.photo_id)
        .where(_READINGS.c.deleted_at.is_(None))
        .order_by(_READINGS.c.id)
    )


def _loose_photo_query():
    return (
        select(_PHOTOS.c.batch_id, _PHOTOS.c.sha256).where(_PHOTOS.c.deleted_at.is_(None)).order_by(_PHOTOS.c.id.desc())
    )


def _rows_of_batches(connection, batches, query, column):
    """Rows of the given batches only; in one sweep when they are many."""
    if not batches:
        return []
    if len(batches) > 500:  # SQLite's limit on variables, and a sweep is faster by then
        return connection.execute(query.where(column.between(min(batches), max(batches))))
    return connection.execute(query.where(column.in_(batches)))


def summary_of(readings):
    """Return lab, lab_u, state, count and photo over a batch's readings (rows, oldest first)."""
    newest = readings[-1]
    same = [row for row in readings if (row.wet, row.sealed) == (newest.wet, newest.sealed)]
    lab, lab_u = mean_lab(same)
    state = {"wet": newest.wet, "sealed": newest.sealed}
    return {"lab": lab, "lab_u": lab_u, **state, "readings": len(readings), "photo": newest.sha256}


def mean_lab(readings):
    """Return the mean Lab of readings and its standard uncertainty.

    Notes
    -----
    The uncertainty of the mean is the root mean square of the readings' own uncertainties, not divided by the
    root of their number: readings of one batch share camera, card and light, so their errors go together.
    """
    count = len(readings)
    lab = Lab(*(sum(getattr(row, axis) for row in readings) / count for axis in "Lab"))
    known = [row for row in readings if None not in (row.L_sd, row.a_sd, row.b_sd)]
    if not known:
        return lab, None
    squares = [sum(getattr(row, axis + "_sd") ** 2 for row in known) / len(known) for axis in "Lab"]
    return lab, tuple(math.sqrt(square) for square in squares)

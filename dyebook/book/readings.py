"""Readings as rows of the book, what a batch's readings come to, and those of an archive that are measured again.

A batch shows the mean of its newest readings in one state of the surface. A reading that is made again stays, marked as
deleted; the new one takes over its place.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from sqlalchemy import Connection, bindparam, distinct, func, or_, select, update

from dyebook.book import rows
from dyebook.book.schema import Batch, Photo, Reading
from dyebook.errors import BookError
from dyebook.lab import Lab
from dyebook.record import DyeRecord, Measurement, check_value

__all__ = [
    "Waiting", "all_readings", "count_waiting", "mean_lab", "measured_values", "put_in_place", "reading_values",
    "refuse_twice", "seen_of", "typed_values", "waiting_photos",
]  # fmt: skip

_READINGS, _PHOTOS, _BATCHES = Reading.__table__, Photo.__table__, Batch.__table__
_AXES = ("L", "a", "b")
# what a new reading takes over from the one before it: where it belongs, and how the surface was
_KEPT = ("batch_id", "dip_id", "part_id", "coupon_id", "sample_id", "photo_id", "wet", "sealed", "read_at", "note")
_PAGE = 200
_COLUMNS = ("batch_id", "L", "a", "b", "L_sd", "a_sd", "b_sd", "wet", "sealed")


def all_readings(
    record: DyeRecord, measurement: Measurement | None = None, part_index: int | None = 0, geometry: str | None = None
) -> Iterator[dict]:
    """Yield the columns of a record's own readings, then of the part (None: of all parts) that its photo showed."""
    told = {"source": "instrument", "geometry": geometry} if geometry else {"source": "typed"}
    for reading in record.readings:
        yield reading_values(reading) | told
    if measurement is None or not measurement.parts:
        return
    wanted = range(len(measurement.parts)) if part_index is None else [part_index]
    for index in wanted:
        yield measured_values(measurement, index)


def measured_values(measurement: Measurement, part_index: int) -> dict:
    """Return the columns of one part's reading, with the card and photo it came by."""
    if not 0 <= part_index < len(measurement.parts):
        raise BookError(
            f"part {part_index} was asked for, but {measurement.photo} shows {len(measurement.parts)}; "
            "parts count from 0, left to right"
        )
    plain = measurement.to_dict()
    reading = measurement.parts[part_index]
    values = {"source": "photo", "part_index": part_index, **reading_values(reading), "card": plain["card"]}
    values["flags"] = list(dict.fromkeys([*measurement.flags, *reading.flags]))
    used = measurement.options
    values["camera"] = used.get("camera")
    values["measured_with"] = {name: plain[name] for name in ("photo", "size", "warnings")}
    # with camera and card what is needed to read the photo in the same way again
    names = ("flat", "card_at", "mat_line_mm", "setup", "twin_at", "twin_lab")
    asked = {name: used[name] for name in names if used.get(name) is not None}
    if asked:
        values["measured_with"]["asked"] = asked
    return values


def refuse_twice(connection: Connection, batch_id: int, photo_id: int, part_index: int | None) -> None:
    """Raise `BookError` where a batch has a standing reading of this part of a photo."""
    same = {"batch_id": batch_id, "photo_id": photo_id, "part_index": part_index}
    if part_index is not None and rows.list_rows(connection, _READINGS, **same):
        raise BookError(
            f"part {part_index + 1} of this very file is read in batch {batch_id} already; take another photo of it"
        )


def reading_values(reading) -> dict:
    """Return the columns of a `dyebook.record.Reading`."""
    plain = reading.to_dict()
    values = typed_values(reading.lab)
    values |= {f"{axis}_sd": _or_none(value) for axis, value in zip(_AXES, reading.lab_u, strict=False)}
    values |= {f"{axis}_spread": _or_none(value) for axis, value in zip(_AXES, reading.lab_sd, strict=False)}
    values |= {name: plain[name] for name in ("uniformity", "area_mm2", "flags", "flaws", "outline")}
    values |= {"error_parts": plain.get("lab_cov_parts"), "setup_key": (plain.get("setup") or {}).get("key")}
    values |= {name: plain.get(name) for name in ("shape_key", "finish")}
    return values | {"source": "photo"}


def typed_values(lab) -> dict:
    """Return the columns of a bare Lab value; RecordError if it is impossible or incomplete."""
    values = [float(value) for value in lab]
    return {axis: check_value(axis, value) for axis, value in zip(_AXES, values, strict=True)} | {"source": "typed"}


def _or_none(value):
    return float(value) if math.isfinite(value) else None


def seen_of(connection: Connection, batches: list[int]) -> dict[int, dict]:
    """Return what was read of each batch, as keywords of `BatchRow` by the batch's number.

    It may hold further batches, whose numbers lie between.
    """
    by_batch = {}
    for reading in _of_batches(connection, _READINGS_SEEN, batches):
        by_batch.setdefault(reading.batch_id, []).append(reading)
    seen = {batch: _summary(rows) for batch, rows in by_batch.items()}
    for batch, sha in _of_batches(connection, _PHOTOS_SEEN, batches):
        known = seen.setdefault(batch, {"photo": None})
        known["photo"] = known["photo"] or sha
    return seen


_READINGS_SEEN = (
    select(*(_READINGS.c[name] for name in _COLUMNS), _PHOTOS.c.sha256)
    .outerjoin(_PHOTOS, _PHOTOS.c.id == _READINGS.c.photo_id)
    .where(_READINGS.c.deleted_at.is_(None), _READINGS.c.batch_id.between(bindparam("first"), bindparam("last")))
    .order_by(_READINGS.c.id)
)
_PHOTOS_SEEN = (
    select(_PHOTOS.c.batch_id, _PHOTOS.c.sha256)
    .where(_PHOTOS.c.deleted_at.is_(None), _PHOTOS.c.batch_id.between(bindparam("first"), bindparam("last")))
    .order_by(_PHOTOS.c.id.desc())
)


def _of_batches(connection, query, batches):
    """Rows of the batches: in one sweep where they are many or lie close together, else one by one."""
    first, last = min(batches, default=0), max(batches, default=0)
    if len(batches) <= 500 and last - first >= 4 * len(batches):
        query = query.where(query.selected_columns.batch_id.in_(batches))
    return connection.execute(query, {"first": first, "last": last})


def _summary(readings):
    """Keywords of `BatchRow` from a batch's readings, oldest first."""
    newest = readings[-1]
    state = newest.wet, newest.sealed
    same = [row for row in readings if (row.wet, row.sealed) == state] if len(readings) > 1 else readings
    lab, lab_u = mean_lab(same)
    wet, sealed = state
    photo = newest.sha256
    return {"lab": lab, "lab_u": lab_u, "wet": wet, "sealed": sealed, "readings": len(readings), "photo": photo}


def mean_lab(readings):
    """Return the mean Lab of readings (with `L`, `L_sd` and so on) and its standard uncertainty; None where unknown.

    Notes
    -----
    The uncertainty of the mean is the root mean square of the readings' own uncertainties, not divided by the
    root of their number: readings of one batch share camera, card and light, so their errors go together.
    """
    if len(readings) == 1:  # nearly every batch
        row = readings[0]
        own = (row.L_sd, row.a_sd, row.b_sd)
        return Lab(row.L, row.a, row.b), None if None in own else own
    count = len(readings)
    lab = Lab(*(sum(getattr(row, axis) for row in readings) / count for axis in "Lab"))
    known = [row for row in readings if None not in (row.L_sd, row.a_sd, row.b_sd)]
    if not known:
        return lab, None
    squares = [sum(getattr(row, axis + "_sd") ** 2 for row in known) / len(known) for axis in "Lab"]
    return lab, tuple(math.sqrt(square) for square in squares)


@dataclass(frozen=True)
class Waiting:
    """One photo, and the readings by it that another method is to make again."""

    photo_id: int
    sha256: str
    name: str | None
    readings: tuple[dict, ...]  # columns `id, batch_id, part_index, outline, card, camera, measured_with, L, a, b`


def count_waiting(book, method: str) -> int:
    """Return how many photos have readings that `method` has not made yet."""
    with book.reading() as connection:
        return connection.execute(_waiting(method, func.count(distinct(_READINGS.c.photo_id)))).scalar()


def waiting_photos(book, method: str) -> Iterator[Waiting]:
    """Yield a `Waiting` per photo, in the order of their numbers, a page of the book at a time.

    `method`: name of the way of measuring; readings that carry it already are passed over.
    """
    last = 0
    while True:
        with book.reading() as connection:
            numbers = _next_numbers(connection, method, last)
            page = _page(connection, method, numbers)
        if not numbers:
            return
        yield from page
        last = numbers[-1]


def _waiting(method, *columns):
    made_by = _READINGS.c.measured_with["method"].as_string()
    return (
        select(*columns)
        .join(_PHOTOS, _PHOTOS.c.id == _READINGS.c.photo_id)
        .outerjoin(_BATCHES, _BATCHES.c.id == _READINGS.c.batch_id)
        .where(_READINGS.c.source == "photo", _READINGS.c.deleted_at.is_(None), _BATCHES.c.deleted_at.is_(None))
        .where(or_(made_by.is_(None), made_by != method))
    )


def _next_numbers(connection, method, last):
    number = _READINGS.c.photo_id
    query = _waiting(method, number).where(number > last).distinct().order_by(number).limit(_PAGE)
    return connection.execute(query).scalars().all()


def _page(connection, method, numbers):
    names = ("id", "batch_id", "part_index", "outline", "card", "camera", "measured_with", "finish", "L", "a", "b")
    columns = [_READINGS.c[name] for name in names]
    query = _waiting(method, *columns, _READINGS.c.photo_id, _PHOTOS.c.sha256, _PHOTOS.c.name)
    by_photo = {}
    for row in connection.execute(query.where(_READINGS.c.photo_id.in_(numbers)).order_by(_READINGS.c.id)).mappings():
        place = by_photo.setdefault(row["photo_id"], (row["sha256"], row["name"], []))
        place[2].append({name: row[name] for name in names})
    return [
        Waiting(number, sha, name, tuple(by_photo[number][2])) for number, (sha, name, _) in sorted(by_photo.items())
    ]


def put_in_place(book, method: str, fresh: list[tuple[int, dict]]) -> list[int]:
    """Add new readings and mark those they take over from as deleted, in one transaction.

    `fresh` holds the number of each old reading and the new one's own columns; `method` is kept with each, so that a
    run that was stopped goes on where it was. Return the old readings that were taken over from; one that was deleted
    or taken over meanwhile stays as it is.

    Notes
    -----
    The mark is set first and only where it is not set yet, so of two runs at once only one adds a reading.
    """
    with book.writing() as connection:
        return [old for old, values in fresh if _take_over(connection, book.who, method, old, values)]


def _take_over(connection, who, method, old_id, values):
    moment = rows.now()
    standing = (_READINGS.c.id == old_id, _READINGS.c.deleted_at.is_(None))
    mark = update(_READINGS).where(*standing).values(deleted_at=moment, version=_READINGS.c.version + 1)
    if connection.execute(mark).rowcount != 1:
        return False
    rows.note_change(connection, "readings", old_id, "delete", {"deleted_at": None}, {"deleted_at": moment}, who)
    old = rows.row_of(connection, _READINGS, old_id)
    made_with = {**(values.get("measured_with") or {}), "method": method, "instead_of": old_id}
    kept = {name: old[name] for name in _KEPT}
    rows.add_row(
        connection, _READINGS, {**values, **kept, "part_index": old["part_index"], "measured_with": made_with}, who
    )
    return True

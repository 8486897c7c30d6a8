"""Coupons in the book: stepped ones, and the check coupon.

A stepped coupon is one run, and each of its bands a batch of that run, dyed at one moment. The check coupon is one
piece kept unchanged, read once a day with each camera.
"""

from contextlib import ExitStack
from dataclasses import replace

from sqlalchemy import String, cast, func, select

from dyebook.book.batches import HOMES, Names, add_dip
from dyebook.book.readings import measured_values
from dyebook.book.rows import add_row, list_rows, mark_deleted, row_of
from dyebook.book.runs import add_batch_of_run
from dyebook.book.schema import TABLES, Dip
from dyebook.record import DyeRecord, Measurement
from dyebook.units import moment_of

__all__ = [
    "add_strip", "check_readings", "coupon_names", "day_of", "keep_check_day", "of_coupon", "take_back_check_day",
]  # fmt: skip

_BATCHES, _COUPONS, _READINGS = (TABLES[name] for name in ("batches", "coupons", "readings"))


def coupon_names(dips=None):
    """Return a subquery of strips: run, moment, and as `coupon` the number of the first band's batch, as text.

    `dips` (query or list of int, optional): only strips that these dips belong to.
    """
    moment = func.coalesce(_BATCHES.c.dyed_at, "")
    strips = (
        select(_BATCHES.c.run_id, moment.label("moment"), cast(func.min(_BATCHES.c.id), String).label("coupon"))
        .where(_BATCHES.c.deleted_at.is_(None), _BATCHES.c.run_id.is_not(None))
        .group_by(_BATCHES.c.run_id, moment)
        .having(func.count() > 1)
    )
    if dips is not None:
        batches = select(Dip.batch_id).where(Dip.id.in_(dips))
        strips = strips.where(_BATCHES.c.run_id.in_(select(_BATCHES.c.run_id).where(_BATCHES.c.id.in_(batches))))
    return strips.subquery()


def of_coupon(coupons):
    """Return the condition that a batch is a band of a strip of `coupon_names`."""
    return (coupons.c.run_id == _BATCHES.c.run_id) & (coupons.c.moment == func.coalesce(_BATCHES.c.dyed_at, ""))


def add_strip(book, record: DyeRecord, dwells_min, photo=None, measurement: Measurement | None = None) -> list[int]:
    """Add the bands of a stepped coupon, all of them or none, safely on disk on return; return each band's batch.

    `record` is what the bands have in common, `dwells_min` the time in dye of each. `photo`, path or bytes, is of the
    whole strip; every band names it. `measurement` has one part a band, in the order of the dwells.
    """
    if measurement is not None and len(measurement.parts) != len(dwells_min):
        raise ValueError(f"measurement has {len(measurement.parts)} parts for {len(dwells_min)} dwells")
    bands = [replace(record, dwell_min=dwell, readings=()) for dwell in dwells_min]
    with book.keeping(photo) as kept, book.writing() as connection:
        numbers = _add_bands(connection, book, bands)
        for place, number in enumerate(numbers):
            photo_id = book.add_photo_row(connection, number, kept)
            if measurement is not None:
                read = {**measured_values(measurement, place), "wet": record.wet, "sealed": record.sealed}
                add_row(connection, _READINGS, {"batch_id": number, "photo_id": photo_id, **read}, book.who)
    return numbers


def _add_bands(connection, book, bands):
    names, first = Names(connection, book.who), bands[0]
    numbers = [add_dip(connection, first, names, book.who)]
    run_id = row_of(connection, _BATCHES, numbers[0])["run_id"]
    rinse = None if first.rinse_temp_c != first.rinse_temp_c else {"rinse_temp_c": first.rinse_temp_c}
    for band in bands[1:]:
        dip = {name: getattr(band, name) for name, table in HOMES.items() if table is TABLES["dips"]}
        batch = {"dyed_at": band.dyed_at, "note": band.note}
        numbers.append(
            add_batch_of_run(connection, run_id, names, band.dye, band.bath, dip, rinse=rinse, who=book.who, **batch)
        )
    return numbers


def day_of(reading):
    """Return the ISO date of a reading's row."""
    return moment_of(reading["read_at"] or reading["added_at"]).date().isoformat()


def check_readings(book, deleted=False):
    """Return the rows of the check coupon's readings, or of those marked as deleted, in order of their days."""
    with book.reading() as connection:
        coupon = _coupon(connection)
        found = [] if coupon is None else list_rows(connection, _READINGS, deleted, coupon_id=coupon)
    return sorted(found, key=day_of)


def keep_check_day(book, day: str, camera: str | None, shots):
    """Keep a day's readings of the check coupon in place of those it had; the coupon is entered with its first day.

    `day` is an ISO date, `camera` the learned one they were read with. `shots` are (columns of a reading, name
    and content of its photo or None).
    """
    with ExitStack() as stack:
        named = [photo or (None, None) for _, photo in shots]
        photos = [stack.enter_context(book.keeping(content, name)) for name, content in named]
        connection = stack.enter_context(book.writing())
        coupon = _coupon(connection) or add_row(
            connection, _COUPONS, {"name": "check coupon", "kind": "check"}, book.who
        )
        _mark(connection, book.who, coupon, day, camera)
        for (values, _), photo in zip(shots, photos, strict=True):
            photo_id = book.add_photo_row(connection, None, photo)
            kept = {**values, "coupon_id": coupon, "photo_id": photo_id, "camera": camera, "read_at": day}
            add_row(connection, _READINGS, kept, book.who)


def take_back_check_day(book, day, camera):
    """Mark a day's readings with a camera as deleted; the book keeps them in its history."""
    with book.writing() as connection:
        coupon = _coupon(connection)
        if coupon is not None:
            _mark(connection, book.who, coupon, day, camera)


def _coupon(connection):
    """Number of the check coupon; None before its first day."""
    found = list_rows(connection, _COUPONS, kind="check")
    return found[-1]["id"] if found else None


def _mark(connection, who, coupon, day, camera):
    for row in list_rows(connection, _READINGS, coupon_id=coupon, camera=camera):
        if day_of(row) == day:
            mark_deleted(connection, _READINGS, row["id"], who=who)

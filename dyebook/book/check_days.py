"""Readings of the check coupon in the book: one piece kept unchanged, read once a day with each camera."""

from contextlib import ExitStack

from dyebook.book.rows import add_row, list_rows, mark_deleted
from dyebook.book.schema import TABLES

__all__ = ["check_readings", "day_of", "keep_check_day", "take_back_check_day"]

CHECK_COUPON = "check coupon"
_COUPONS, _READINGS = TABLES["coupons"], TABLES["readings"]


def day_of(reading):
    """Return the ISO date of a reading's row."""
    return (reading["read_at"] or reading["added_at"])[:10]


def check_readings(book, deleted=False):
    """Return the rows of the check coupon's readings, or of those marked as deleted, in order of their days."""
    with book.reading() as connection:
        coupon = _coupon(connection)
        found = [] if coupon is None else list_rows(connection, _READINGS, deleted, coupon_id=coupon)
    return sorted(found, key=day_of)


def keep_check_day(book, day, camera, shots):
    """Keep a day's readings of the check coupon in place of those it had; the coupon is entered with its first day.

    Parameters
    ----------
    book : dyebook.book.store.Book
    day : str
        ISO date.
    camera : str or None
        Learned camera they were read with.
    shots : sequence of (dict, tuple or None)
        Columns of each reading, and name and content of its photo where there is one.
    """
    with ExitStack() as stack:
        shas = [stack.enter_context(book._keeping(photo and photo[1])) for _, photo in shots]
        connection = stack.enter_context(book.writing())
        coupon = _coupon(connection) or add_row(connection, _COUPONS, _FIRST, book.who)
        _mark(connection, book.who, coupon, day, camera)
        for (values, photo), sha in zip(shots, shas, strict=True):
            photo_id = book._add_photo_row(connection, None, sha, *photo) if sha else None
            kept = {**values, "coupon_id": coupon, "photo_id": photo_id, "camera": camera, "read_at": day}
            add_row(connection, _READINGS, kept, book.who)


def take_back_check_day(book, day, camera):
    """Mark a day's readings with a camera as deleted; the book keeps them in its history."""
    with book.writing() as connection:
        coupon = _coupon(connection)
        if coupon is not None:
            _mark(connection, book.who, coupon, day, camera)


_FIRST = {"name": CHECK_COUPON, "kind": "check"}


def _coupon(connection):
    """Number of the check coupon; None before its first day."""
    found = list_rows(connection, _COUPONS, kind="check")
    return found[-1]["id"] if found else None


def _mark(connection, who, coupon, day, camera):
    for row in list_rows(connection, _READINGS, coupon_id=coupon, camera=camera):
        if day_of(row) == day:
            mark_deleted(connection, _READINGS, row["id"], who=who)

"""Readings of an archive that are to be measured again, and the new ones that take their places."""

from dataclasses import dataclass

from sqlalchemy import distinct, func, or_, select, update

from dyebook.book import rows
from dyebook.book.schema import Batch, Photo, Reading

__all__ = ["Waiting", "count_waiting", "put_in_place", "waiting_photos"]

_READINGS, _PHOTOS, _BATCHES = Reading.__table__, Photo.__table__, Batch.__table__
# what a new reading takes over from the one before it: where it belongs, and how the surface was
_KEPT = ("batch_id", "dip_id", "part_id", "coupon_id", "sample_id", "photo_id", "wet", "sealed", "read_at", "note")
_PAGE = 200


@dataclass(frozen=True)
class Waiting:
    """One photo, and the readings by it that another method is to make again.

    Attributes
    ----------
    photo_id : int
    sha256, name : str
    readings : tuple of dict
        Columns `id, batch_id, part_index, outline, card, camera, measured_with, L, a, b`.
    """

    photo_id: int
    sha256: str
    name: str | None
    readings: tuple


def count_waiting(book, method):
    """Return how many photos (int) have readings that `method` (str) has not made yet."""
    with book.reading() as connection:
        return connection.execute(_waiting(method, func.count(distinct(_READINGS.c.photo_id)))).scalar()


def waiting_photos(book, method):
    """Yield a `Waiting` per photo, in the order of their numbers, a page of the book at a time.

    Parameters
    ----------
    book : dyebook.book.store.Book
    method : str
        Name of the way of measuring; readings that carry it already are passed over.
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
    names = ("id", "batch_id", "part_index", "outline", "card", "camera", "measured_with", "L", "a", "b")
    columns = [_READINGS.c[name] for name in names]
    query = _waiting(method, *columns, _READINGS.c.photo_id, _PHOTOS.c.sha256, _PHOTOS.c.name)
    by_photo = {}
    for row in connection.execute(query.where(_READINGS.c.photo_id.in_(numbers)).order_by(_READINGS.c.id)).mappings():
        place = by_photo.setdefault(row["photo_id"], (row["sha256"], row["name"], []))
        place[2].append({name: row[name] for name in names})
    return [
        Waiting(number, sha, name, tuple(by_photo[number][2])) for number, (sha, name, _) in sorted(by_photo.items())
    ]


def put_in_place(book, method, fresh):
    """Add new readings and mark those they take over from as deleted, in one transaction.

    Parameters
    ----------
    book : dyebook.book.store.Book
    method : str
        Kept with each reading, so that a run that was stopped goes on where it was.
    fresh : list of (int, dict)
        Number of the old reading, and the new one's own columns.

    Returns
    -------
    list of int
        The old readings that were taken over from; one that was deleted or taken over meanwhile stays as it is.

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
    told = {**(values.get("measured_with") or {}), "method": method, "instead_of": old_id}
    kept = {name: old[name] for name in _KEPT}
    rows.add_row(connection, _READINGS, {**values, **kept, "part_index": old["part_index"], "measured_with": told}, who)
    return True

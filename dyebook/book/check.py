"""Does the book still hold what it was given? Looks, and never changes a row."""

import hashlib
import math

from sqlalchemy import select, text

from dyebook.book.photos import is_sha, photo_name
from dyebook.book.rows import checked_values
from dyebook.book.schema import TABLES, Photo
from dyebook.errors import BookError, RecordError
from dyebook.record import FIELDS

__all__ = ["find_problems"]

_MOST_PER_KIND = 20


def find_problems(connection, photos):
    """Return what is wrong with the book, in words; an empty list when all is well.

    Parameters
    ----------
    connection : sqlalchemy.Connection
    photos : DiskPhotos or RemotePhotos, or None
        None when nobody has said where the photos are.

    Returns
    -------
    list of str
        Damage to the file, rows that point nowhere, values out of range, photos missing, altered or unknown.
    """
    problems = _integrity(connection)
    for table in TABLES.values():
        problems += _shortened(_bad_values(connection, table))
        problems += _shortened(_dangling(connection, table))
    return problems + _shortened(_photo_problems(connection, photos))


def _shortened(problems):
    problems = list(problems)
    more = len(problems) - _MOST_PER_KIND
    return problems if more <= 0 else [*problems[:_MOST_PER_KIND], f"and {more} more of this kind"]


def _integrity(connection):
    if connection.dialect.name != "sqlite":
        return []
    found = connection.execute(text("PRAGMA integrity_check")).scalars().all()
    return [] if found == ["ok"] else [f"the file is damaged: {line}" for line in found[:_MOST_PER_KIND]]


def _dangling(connection, table):
    """Rows that point to rows which are not there."""
    for key in table.foreign_keys:
        there = key.column.table.alias()
        query = (
            select(table.c.id, key.parent)
            .outerjoin(there, there.c.id == key.parent)
            .where(key.parent.is_not(None), there.c.id.is_(None))
        )
        for row_id, missing in connection.execute(query):
            yield f"{table.name} {row_id}: {key.parent.name} {missing} does not exist"


def _bad_values(connection, table):
    checked = [column for column in table.c if _has_rule(column)]
    if not checked:
        return
    for row in connection.execute(select(table.c.id, *checked)):
        for column, value in zip(checked, row[1:], strict=True):
            try:
                if isinstance(value, float) and not math.isfinite(value):
                    raise RecordError(f"{column.name} is {value}")
                checked_values(table, {column.name: value})
            except RecordError as error:
                yield f"{table.name} {row[0]}: {error}"


def _has_rule(column):
    numeric = column.name in FIELDS and FIELDS[column.name].kind is float
    return numeric or bool({"between", "one_of", "moment"} & column.info.keys())


def _photo_problems(connection, photos):
    known = {row.sha256: row.name for row in connection.execute(select(Photo.sha256, Photo.name))}
    if photos is None:
        if known:
            yield f"{len(known)} photos are in the book, but nobody says where: give their folder as DYEBOOK_PHOTOS"
        return
    photos.settle_known(known)
    for sha, name in known.items():
        yield from _one_photo(photos, sha, name)
    expected = {photo_name(sha) for sha in known if is_sha(sha)}
    for name in photos.names():
        if name not in expected:
            yield f"the file {name} in {photos} belongs to no photo of the book"


def _one_photo(photos, sha, name):
    try:
        content = photos.read(sha)
    except (BookError, OSError) as error:
        yield f"photo {name or sha[:12]}: {error}"
        return
    if hashlib.sha256(content).hexdigest() != sha:
        yield f"photo {name or sha[:12]} was altered after it was stored; restore it from a backup"

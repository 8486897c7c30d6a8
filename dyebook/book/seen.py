"""What was read of batches: the mean of the newest readings in one state of the surface, and a photo."""

import math

from sqlalchemy import bindparam, select

from dyebook.book.compiled import run
from dyebook.book.schema import Photo, Reading
from dyebook.lab import Lab

__all__ = ["mean_lab", "seen_of"]

_READINGS, _PHOTOS = Reading.__table__, Photo.__table__
_COLUMNS = ("batch_id", "L", "a", "b", "L_sd", "a_sd", "b_sd", "wet", "sealed")


def seen_of(connection, batches):
    """Return what was read of each batch, as keywords of `BatchRow` by the batch's number.

    Parameters
    ----------
    connection : sqlalchemy.Connection
    batches : list of int

    Returns
    -------
    dict of int to dict
        May hold further batches, whose numbers lie between.
    """
    by_batch = {}
    for reading in _rows_of(connection, batches, _readings, _READINGS):
        by_batch.setdefault(reading[0], []).append(reading)
    seen = {batch: _summary(readings) for batch, readings in by_batch.items()}
    for batch, sha in _rows_of(connection, batches, _loose_photos, _PHOTOS):
        told = seen.setdefault(batch, {"photo": None})
        told["photo"] = told["photo"] or sha
    return seen


def _readings():
    return (
        select(*(_READINGS.c[name] for name in _COLUMNS), _PHOTOS.c.sha256)
        .outerjoin(_PHOTOS, _PHOTOS.c.id == _READINGS.c.photo_id)
        .where(_READINGS.c.deleted_at.is_(None))
        .order_by(_READINGS.c.id)
    )


def _loose_photos():
    query = select(_PHOTOS.c.batch_id, _PHOTOS.c.sha256).where(_PHOTOS.c.deleted_at.is_(None))
    return query.order_by(_PHOTOS.c.id.desc())


def _readings_between():
    return _readings().where(_READINGS.c.batch_id.between(bindparam("first"), bindparam("last")))


def _loose_photos_between():
    return _loose_photos().where(_PHOTOS.c.batch_id.between(bindparam("first"), bindparam("last")))


_BETWEEN = {_readings: _readings_between, _loose_photos: _loose_photos_between}


def _rows_of(connection, batches, make_query, table):
    """Rows of the batches: in one sweep where they lie close together or are many, else one by one."""
    if not batches:
        return []
    first, last = min(batches), max(batches)
    if len(batches) > 500 or last - first < 4 * len(batches):
        return run(connection, _BETWEEN[make_query], first=first, last=last)
    return connection.execute(make_query().where(table.c.batch_id.in_(batches))).all()


def _summary(readings):
    """Keywords of `BatchRow` from a batch's readings, oldest first."""
    newest = readings[-1]
    state = newest.wet, newest.sealed
    same = [row for row in readings if (row.wet, row.sealed) == state] if len(readings) > 1 else readings
    lab, lab_u = mean_lab(same)
    # SQLite's driver has no truth values
    wet, sealed = (None if value is None else bool(value) for value in state)
    photo = newest.sha256
    return {"lab": lab, "lab_u": lab_u, "wet": wet, "sealed": sealed, "readings": len(readings), "photo": photo}


def mean_lab(readings):
    """Return the mean Lab of readings and its standard uncertainty.

    Parameters
    ----------
    readings : list
        With attributes `L, a, b, L_sd, a_sd, b_sd`.

    Returns
    -------
    Lab
    tuple of float or None
        None where no reading states its uncertainty.

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

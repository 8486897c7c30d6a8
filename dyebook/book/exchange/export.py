"""The book as one flat table: a row a reading, or a dip that was never read."""

import math
from pathlib import Path

from sqlalchemy import case, func, or_, select

from dyebook.book.batches import HOMES, first_of, with_filters, with_first
from dyebook.book.coupons import coupon_names, of_coupon
from dyebook.book.exchange.cells import EXTRAS
from dyebook.book.exchange.files import write_sheet
from dyebook.book.schema import Batch, Bath, Dip, Dye, Photo, Reading, Run
from dyebook.record import FIELDS

__all__ = ["HEADERS", "export_records", "export_rows", "known_keys", "record_key"]

HEADERS = ("batch", "dip", *FIELDS, *(name for name in EXTRAS if name not in ("batch", "dip")))


def export_records(book, path, **filters) -> int:
    """Write batches to a CSV, XLSX, JSON Lines or Parquet file and return how many rows it has.

    `path` (Path): its ending says which. `**filters`: as in `Book.batches`.
    """
    with book.reading() as connection:
        rows = export_rows(connection, **filters)
    write_sheet(Path(path), list(HEADERS), rows)
    return len(rows)


def export_rows(connection, **filters):
    """Return rows in the order of `HEADERS`, oldest batch first."""
    return [tuple(row) for row in connection.execute(with_filters(_query(), **filters))]


def _query():
    """Every standing dip with its readings; a reading that names no dip goes with the first."""
    mine = or_(Reading.dip_id == Dip.id, Reading.dip_id.is_(None) & (Dip.id == first_of(Dip.__table__)))
    loose = select(func.max(Photo.id)).where(Photo.batch_id == Batch.id, Photo.deleted_at.is_(None)).correlate(Batch)
    mine_too = Dip.__table__.alias()
    dips = select(func.count()).where(mine_too.c.batch_id == Batch.id, mine_too.c.deleted_at.is_(None))
    dips = dips.correlate(Batch).scalar_subquery()
    coupons = coupon_names()
    sources = {
        "batch": Batch.id,
        # left empty where a reading of several dips does not say which it shows
        "dip": case((Reading.id.is_not(None) & Reading.dip_id.is_(None) & (dips > 1), None), else_=Dip.position),
        "dye": Dye.name,
        "bath": Bath.name,
        **{name: table.c[name] for name, table in HOMES.items()},
        **{name: getattr(Reading, name) for name in FIELDS if hasattr(Reading, name) and name not in HOMES},
        "coupon": coupons.c.coupon,
        "replaces": Batch.replaces_id,
        "photo": Photo.sha256,
        "source": Reading.source,
        "read_at": Reading.read_at,
    }
    return with_first(
        select(*(sources[name].label(name) for name in HEADERS))
        .select_from(Batch)
        .join(Dip, (Dip.batch_id == Batch.id) & Dip.deleted_at.is_(None))
        .join(Dye, Dye.id == Dip.dye_id)
        .outerjoin(Bath, Bath.id == Dip.bath_id)
        .outerjoin(Run, Run.id == Batch.run_id)
        .outerjoin(coupons, of_coupon(coupons))
        .outerjoin(Reading, (Reading.batch_id == Batch.id) & Reading.deleted_at.is_(None) & mine)
        .outerjoin(Photo, Photo.id == func.coalesce(Reading.photo_id, loose.scalar_subquery()))
        .order_by(Batch.id, Dip.position, Dip.id, Reading.id)
    )


def known_keys(connection):
    """Return the `record_key` of every row that was read."""
    keys = set()
    for row in export_rows(connection):
        record = dict(zip(HEADERS, row, strict=True))
        if record["L"] is not None:
            keys.add(record_key(record))
    return keys


def record_key(record):
    """Return what makes two records the same: everything that was set and read, whatever their strip is called."""
    return tuple(_canonical(record.get(name)) for name in FIELDS if name != "coupon")


def _canonical(value):
    if isinstance(value, float):
        return None if math.isnan(value) else round(value, 9)
    return value or None if isinstance(value, str) else value

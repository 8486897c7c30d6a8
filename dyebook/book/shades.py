"""The book's colours kept ready in memory, and kept in step with what every station writes."""

from itertools import chain

import numpy as np
from sqlalchemy import select

from dyebook.book.schema import Batch, Change, Reading
from dyebook.book.search import LabColumn

__all__ = ["Shades"]

# on a server, numbers are handed out before they are committed, so later ones may show first
_OVERLAP = 1000


class Shades:
    """A `LabColumn` of all readings of standing batches that follows the book."""

    def __init__(self):
        self._column = None
        self._last_reading, self._last_change = 0, None
        self._recent = set()

    def column(self, connection):
        """Return the column as the book stands in this transaction; only what is new is read."""
        # a restored book may count its changes anew, hence the moment too
        change = connection.execute(select(Change.id, Change.at).order_by(Change.id.desc()).limit(1)).first()
        if self._column is None or change != self._last_change:
            self._column, self._last_reading, self._recent = LabColumn(np.empty((0, 3)), []), 0, set()
            self._last_change = change
        self._take_new(connection)
        return self._column

    def _take_new(self, connection):
        overlap = 0 if connection.dialect.name == "sqlite" else _OVERLAP
        query = (
            select(Reading.id, Reading.batch_id, Reading.L, Reading.a, Reading.b)
            .join(Batch, Batch.id == Reading.batch_id)
            .where(Reading.id > self._last_reading - overlap, Reading.deleted_at.is_(None), Batch.deleted_at.is_(None))
        )
        rows = (row for row in connection.execute(query) if row[0] not in self._recent)
        table = np.fromiter(chain.from_iterable(rows), dtype=float).reshape(-1, 5)
        if not len(table):
            return
        self._column = self._column.extended(table[:, 2:], table[:, 1].astype(np.int64))
        self._last_reading = max(self._last_reading, int(table[:, 0].max()))
        if overlap:
            self._recent |= set(table[:, 0].astype(np.int64).tolist())
            self._recent = {number for number in self._recent if number > self._last_reading - overlap}

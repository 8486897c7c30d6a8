"""Nearest shades of the book by CIEDE2000, exact: a provable box in L*, a*, b* narrows, the difference itself decides.

The colours are kept ready in memory, in step with what every station writes.
"""

import math
from itertools import chain

import numpy as np
from sqlalchemy import select

from dyebook.book.schema import Batch, Change, Reading
from dyebook.lab import delta_e_00

__all__ = ["LabColumn", "Shades", "box_for"]

# |R_T| of CIEDE2000 is at most 2 sin 60 deg, so the chroma-hue form is at least this share of its diagonal
_LEAST_SHARE = 1 - math.sin(math.radians(60))
_SEEDS_PER_ANSWER = 40
# on a server, numbers are handed out before they are committed, so later ones may show first
_OVERLAP = 1000


class LabColumn:
    """A column of colours held ready for searching, sorted by lightness.

    `labs` has shape (N, 3); `keys`, shape (N,), are the numbers of what each belongs to; several may share one key.
    """

    def __init__(self, labs, keys):
        labs, keys = np.asarray(labs, dtype=float).reshape(-1, 3), np.asarray(keys, dtype=np.int64)
        order = np.argsort(labs[:, 0], kind="stable")
        self.labs, self.keys = np.ascontiguousarray(labs[order]), keys[order]

    def __len__(self):
        return len(self.keys)

    def extended(self, labs, keys):
        """Return a column with more colours."""
        return LabColumn(np.concatenate([self.labs, labs]), np.concatenate([self.keys, keys]))

    def nearest(self, lab, count: int, allowed=None) -> list[tuple[int, float]]:
        """Return the keys nearest to a colour, `count` of them at most, each with its nearest colour's difference.

        They come as (key, CIEDE2000), nearest first; ties in the order of the keys. `allowed` are the keys to search
        among; all without.
        """
        column = self if allowed is None else self._only(allowed)
        wanted = min(count, len(column))
        while wanted:
            rows, differences = column._nearest_rows(np.asarray(lab, dtype=float), wanted)
            found = _one_per_key(column.keys[rows], differences)
            if len(found) >= count or wanted == len(column):
                return found[:count]
            wanted = min(4 * wanted, len(column))
        return []

    def _only(self, allowed):
        keep = np.isin(self.keys, np.asarray(list(allowed), dtype=np.int64))
        return LabColumn(self.labs[keep], self.keys[keep])

    def _nearest_rows(self, lab, count):
        """Rows and differences of the nearest `count` colours, all that tie with the last included."""
        radius = self._radius_holding(lab, count)
        rows = self._rows_within(box_for(lab, radius, self._lightness_ends(lab)), lab)
        differences = delta_e_00(lab, self.labs[rows])
        limit = np.partition(differences, count - 1)[count - 1]
        near = differences <= limit
        return rows[near], differences[near]

    def _radius_holding(self, lab, count):
        """A difference within which at least `count` colours certainly lie."""
        middle = np.searchsorted(self.labs[:, 0], lab[0])
        # a slab of lightness first, then a rough weighting of its chroma: only seeds, the box makes it exact
        half = max(200 * count, len(self) // 60)
        slab = slice(max(0, middle - half), middle + half)
        weights = 1 / (1 + 0.045 * math.hypot(lab[1], lab[2]))
        steps = self.labs[slab] - lab
        rough = steps[:, 0] ** 2 + weights * (steps[:, 1] ** 2 + steps[:, 2] ** 2)
        seeds = min(_SEEDS_PER_ANSWER * count, len(rough))
        best = np.argpartition(rough, seeds - 1)[:seeds]
        exact = delta_e_00(lab, self.labs[slab][best])
        return float(np.partition(exact, count - 1)[count - 1])

    def _lightness_ends(self, lab):
        return min(self.labs[0, 0], lab[0]), max(self.labs[-1, 0], lab[0])

    def _rows_within(self, half_widths, lab):
        lightness, chroma = half_widths
        first = np.searchsorted(self.labs[:, 0], lab[0] - lightness, side="left")
        last = np.searchsorted(self.labs[:, 0], lab[0] + lightness, side="right")
        steps = self.labs[first:last, 1:] - lab[1:]
        return first + np.flatnonzero(np.einsum("ij,ij->i", steps, steps) <= chroma**2)


def box_for(lab, radius: float, lightness_ends: tuple[float, float] = (0.0, 100.0)) -> tuple[float, float]:
    """Return how far, in L* and in the a*b* plane, a colour within `radius` of CIEDE2000 can lie.

    Parameters
    ----------
    lab : array_like, shape (3,)
        The target.
    radius : float
        CIEDE2000 difference.
    lightness_ends : (float, float)
        Lowest and highest L* there is.

    Returns
    -------
    lightness, chroma : float
        Half-width in L*, and radius in the a*b* plane; inf where no bound holds.

    Notes
    -----
    With the notation of Sharma, Wu & Dalal (2005). |R_T| <= 2 sin 60 deg, so the chroma-hue part is at least
    (1 - sin 60 deg) ((dC'/S_C)^2 + (dH'/S_H)^2) and never negative. From the latter, |dL| <= radius S_L, with S_L
    greatest at the end of the range that is farther from 50. S_H <= S_C because T <= 1.93 < 3, and
    dC'^2 + dH'^2 = da'^2 + db^2 =: D^2, so D <= r S_C with r = radius / sqrt(1 - sin 60 deg). As C2' <= C1' + D,
    S_C <= 1 + 0.045 C1' + 0.0225 D, hence D <= r (1 + 0.045 C1') / (1 - 0.0225 r) while 0.0225 r < 1. Finally
    C1' <= hypot(1.5 a, b), and |da| <= |da'| because a' = (1 + G) a with G >= 0.
    """
    radius = radius * (1 + 1e-9) + 1e-9  # rounding must not lose the colour that sits on the edge
    offset = max(abs((lab[0] + end) / 2 - 50) for end in lightness_ends) ** 2
    lightness = radius * (1 + 0.015 * offset / math.sqrt(20 + offset))
    stretched = radius / math.sqrt(_LEAST_SHARE)
    if 0.0225 * stretched >= 1:
        return lightness, math.inf
    chroma = math.hypot(1.5 * lab[1], lab[2])
    return lightness, stretched * (1 + 0.045 * chroma) / (1 - 0.0225 * stretched)


def _one_per_key(keys, differences):
    """(key, difference) nearest first, each key once."""
    order = np.lexsort((keys, differences))
    found = {}
    for key, difference in zip(keys[order].tolist(), differences[order].tolist(), strict=True):
        found.setdefault(key, difference)
    return list(found.items())


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

"""Control charts for single values: individuals, EWMA, CUSUM.

References
----------
NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 to 6.3.2.4.
"""

from dataclasses import dataclass

import numpy as np

from dyebook.errors import RecordError

__all__ = ["Chart", "cusum_chart", "ewma_chart", "individuals_chart", "sd_from_moving_range"]


@dataclass(frozen=True)
class Chart:
    """One chart: what is plotted, its limits, and which points are beyond them."""

    points: np.ndarray  # (N,): values, weighted means, or sums
    centre: float
    # lower, upper: (N,)
    lower: np.ndarray
    upper: np.ndarray

    @property
    def signals(self):
        """Places of the points beyond a limit."""
        return tuple(int(i) for i in np.flatnonzero((self.points > self.upper) | (self.points < self.lower)))


def sd_from_moving_range(values):
    """Return the standard deviation that the mean moving range of neighbours tells: MRbar / 1.128."""
    values = _checked(values)
    if values.size < 2:
        raise RecordError(f"{values.size} value has no moving range; at least 2 are needed")
    return float(np.mean(np.abs(np.diff(values)))) / (2 / np.sqrt(np.pi))


def individuals_chart(values, centre: float | None = None, sd: float | None = None):
    """Return the chart of single values, at three standard deviations.

    `values` (N,): in order of time. `centre`, `sd`: of the process in control; without them, the mean and MRbar / 1.128
    of the values themselves.
    """
    values = _checked(values)
    sd = sd_from_moving_range(values) if sd is None else sd
    centre, flat = float(values.mean()) if centre is None else float(centre), np.ones(values.size)
    return Chart(values, centre, (centre - 3 * sd) * flat, (centre + 3 * sd) * flat)


def ewma_chart(values, centre: float, sd: float, weight: float = 0.2, width: float = 2.962) -> Chart:
    """Return the exponentially weighted moving average with limits that widen to their end value.

    Parameters
    ----------
    values : array_like, shape (N,)
    centre, sd
        Of the process in control.
    weight
        Share of the newest value, 0 to 1.
    width
        Limits in standard deviations of the average.
    """
    values = _checked(values)
    points = np.empty(values.size)
    last = centre
    for i, value in enumerate(values):
        points[i] = last = weight * value + (1 - weight) * last
    grown = 1 - (1 - weight) ** (2 * np.arange(1, values.size + 1))
    half = width * sd * np.sqrt(weight / (2 - weight) * grown)
    return Chart(points, float(centre), centre - half, centre + half)


def cusum_chart(values, centre: float, sd: float, slack: float = 0.5, limit: float = 5.0):
    """Return the two one-sided cumulative sums.

    Both are in the units of the values and counted positive.

    Parameters
    ----------
    values : array_like, shape (N,)
    centre, sd
        Of the process in control.
    slack, limit
        In units of `sd`: half the shift to be found, and where the chart signals.
    """
    values = _checked(values)
    pair = []
    for sign in (1.0, -1.0):
        points, total = np.empty(values.size), 0.0
        for i, step in enumerate(sign * (values - centre) - slack * sd):
            points[i] = total = max(0.0, total + step)
        pair.append(Chart(points, 0.0, np.zeros(values.size), np.full(values.size, limit * sd)))
    return tuple(pair)


def _checked(values):
    values = np.asarray(values, dtype=float)
    if values.ndim != 1 or not values.size or not np.isfinite(values).all():
        raise RecordError("a chart needs a row of numbers without gaps; leave out what was not measured")
    return values

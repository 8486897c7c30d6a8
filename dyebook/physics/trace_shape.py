"""Shape of a log: when it ran, its dropouts, and where its level changed."""

import itertools
from dataclasses import dataclass

import numpy as np

__all__ = [
    "Change",
    "Dip",
    "find_changes",
    "find_dips",
    "find_off_spells",
    "in_bins",
    "noise_of",
    "on_window",
    "settled_at",
]

OFF_SHARE = 0.06  # of the usual current; below it the supply gives nothing worth counting
_BIN_MIN = 10 / 60
_MOST_BINS = 320
_SPANS_MIN = (0.0, 0.3, 0.7, 1.5, 3.0, 5.0, 8.0)
_BASE_DECAYS_MIN = (1.5, 6.0)


@dataclass(frozen=True)
class Dip:
    """A fall that came back: first sample, first sample after it, and its depth in the logarithm."""

    start: int
    stop: int
    depth: float


@dataclass(frozen=True)
class Change:
    """A lasting change of level: when it began, how long it took, its size in the logarithm."""

    start_min: float
    span_min: float
    size: float

    @property
    def end_min(self):
        """When the new level was reached."""
        return self.start_min + self.span_min


def on_window(time_min, current_a):
    """First and one past the last sample of the run, and its usual current.

    Parameters
    ----------
    time_min, current_a : ndarray of shape (N,)

    Returns
    -------
    first, stop : int
    level_a : float
        0 where nothing ever flowed.

    Notes
    -----
    A run-down at the very end, where the supply is switched off, is left out: it is no event.
    """
    high = np.quantile(current_a, 0.95)
    running = current_a > 0.15 * high
    if not high > 0 or not running.any():
        return 0, 0, 0.0
    level = float(np.median(current_a[running]))
    flowing = np.flatnonzero(current_a > OFF_SHARE * level)
    first, stop = int(flowing[0]), int(flowing[-1]) + 1
    if stop < current_a.size:
        stop = _before_run_down(time_min, current_a, first, stop)
    return first, stop, level


def _before_run_down(time_min, current_a, first, stop):
    end = time_min[stop - 1]
    before = (time_min > end - 4) & (time_min < end - 1.5)
    before[:first] = False
    if before.sum() < 3:
        return stop
    held = np.flatnonzero(current_a[first:stop] > 0.93 * np.median(current_a[before])) + first
    if not held.size or time_min[held[-1]] < end - 1.5:
        return stop
    return int(held[-1]) + 1


def find_off_spells(time_min, current_a, level_a, first, stop):
    """Spells without current inside the run: list of (first sample, first sample after)."""
    off = current_a[first:stop] < OFF_SHARE * level_a
    edges = np.flatnonzero(np.diff(np.concatenate([[0], off.astype(np.int8), [0]]))) + first
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def noise_of(values):
    """Noise of a log from sample to sample, as a standard deviation; robust against steps."""
    if values.size < 4:
        return 0.0
    return float(1.4826 * np.median(np.abs(np.diff(values, n=2))) / np.sqrt(6))


def settled_at(time_min, values, look_min=3.0):
    """First sample at which the soft start is over: later values within `look_min` are hardly higher.

    Parameters
    ----------
    time_min : ndarray of shape (N,)
    values : ndarray of shape (N,)
        Logarithm of the current.
    look_min : float

    Returns
    -------
    int
    """
    smooth = _running_median3(values)
    for i in range(values.size):
        ahead = smooth[i : np.searchsorted(time_min, time_min[i] + look_min) + 1]
        if smooth[i] > np.quantile(ahead, 0.9) - 0.1:
            return i
    return 0


def _running_median3(values):
    if values.size < 3:
        return values
    inner = np.median(np.stack([values[:-2], values[1:-1], values[2:]]), axis=0)
    return np.concatenate([values[:1], inner, values[-1:]])


def find_dips(time_min, values, least, longest_min=3.0, memory_min=1.0):
    """Falls below the recent level that come back.

    Parameters
    ----------
    time_min, values : ndarray of shape (N,)
        `values` in the logarithm.
    least : float
        Depth that counts.
    longest_min : float
        A fall that lasts longer is a change of level.
    memory_min : float
        Over which the recent level is kept.

    Returns
    -------
    list of Dip
    """
    dips, level, start, depth = [], float(values[0]), None, 0.0
    for i in range(1, values.size):
        value = float(values[i])
        if start is None:
            if value < level - least:
                start, depth = i, level - value
            else:
                level += (value - level) * min(1.0, (time_min[i] - time_min[i - 1]) / memory_min)
            continue
        depth = max(depth, level - value)
        if value > level - 0.4 * depth:
            dips.append(Dip(start, i, depth))
            start = None
        elif time_min[i] - time_min[start] > longest_min:
            level, start = float(np.median(values[start : i + 1])), None
    return dips


def in_bins(time_min, values, keep):
    """Medians of the kept samples in even bins of time.

    Parameters
    ----------
    time_min, values : ndarray of shape (N,)
    keep : ndarray of bool, shape (N,)

    Returns
    -------
    bin_time_min, bin_values : ndarray
        Empty bins are left out.
    """
    t, v = time_min[keep], values[keep]
    if t.size < 2:
        return t, v
    width = max(_BIN_MIN, (t[-1] - t[0]) / _MOST_BINS, float(np.median(np.diff(t))) * 0.999)
    number = ((t - t[0]) / width).astype(int)
    edges = np.concatenate([[0], np.flatnonzero(np.diff(number)) + 1, [t.size]])
    if edges.size == t.size + 1:
        return t, v
    pairs = list(itertools.pairwise(edges))
    return np.array([t[a:b].mean() for a, b in pairs]), np.array([np.median(v[a:b]) for a, b in pairs])


def find_changes(time_min, values, least, most=5, significance=5.0):
    """Lasting changes of level on top of a smooth course.

    Parameters
    ----------
    time_min, values : ndarray of shape (N,)
        Evenly binned, the soft start left out; `values` in the logarithm.
    least : float
        Smallest size that is kept.
    most : int
        How many are looked for.
    significance : float
        How many times its own standard error a change must have.

    Returns
    -------
    list of Change
        In order of time.

    Notes
    -----
    The course is a line with two decays, as current and voltage settle after the start. Ramps of several spans at
    every time are tried; the one that explains most is added, all are fitted anew, and so on (orthogonal matching
    pursuit); what stays small is dropped again.
    """
    if time_min.size < 8:
        return []
    since = time_min - time_min[0]
    base = np.stack([np.ones_like(since), since, *(np.exp(-since / tau) for tau in _BASE_DECAYS_MIN)], axis=1)
    starts, spans, atoms = _ramps(time_min)
    chosen = []
    for _ in range(most):
        basis, _ = np.linalg.qr(np.hstack([base, atoms[:, chosen]]))
        rest = values - basis @ (basis.T @ values)
        free = atoms - basis @ (basis.T @ atoms)
        power = (free**2).sum(axis=0)
        usable = power > 1e-4 * time_min.size
        gain = np.where(usable, (free.T @ rest) ** 2 / np.where(usable, power, 1.0), 0.0)
        best = int(np.argmax(gain))
        spread = _spread(rest - free[:, best] * (free[:, best] @ rest) / max(power[best], 1e-12))
        if gain[best] < (significance * spread) ** 2:
            break
        chosen.append(best)
    return _kept(base, atoms, values, chosen, starts, spans, least)


def _ramps(time_min):
    step = float(np.median(np.diff(time_min)))
    inner = time_min[2:-2] - 0.5 * step
    spans = [span for span in _SPANS_MIN if span == 0 or (span > step and span < 0.6 * np.ptp(time_min))]
    starts = np.repeat(inner, len(spans))
    lengths = np.tile(np.array(spans), inner.size)
    rise = (time_min[:, None] - starts) / np.maximum(lengths, 1e-6)
    return starts, lengths, np.clip(rise, 0, 1)


def _spread(rest):
    """Residual spread; neighbours that hang together make it larger."""
    white = float(np.std(rest))
    lag = float(np.corrcoef(rest[:-1], rest[1:])[0, 1]) if white > 0 else 0.0
    return white * np.sqrt((1 + max(lag, 0)) / (1 - min(max(lag, 0), 0.8)))


def _kept(base, atoms, values, chosen, starts, spans, least):
    """Fit the chosen ramps together, drop the small ones one by one."""
    chosen = list(chosen)
    while chosen:
        weights = np.linalg.lstsq(np.hstack([base, atoms[:, chosen]]), values, rcond=None)[0][base.shape[1] :]
        smallest = int(np.argmin(np.abs(weights)))
        if abs(weights[smallest]) >= least:
            break
        chosen.pop(smallest)
    changes = [
        Change(float(starts[index]), float(spans[index]), float(weight))
        for index, weight in (zip(chosen, weights, strict=True) if chosen else ())
    ]
    return sorted(changes, key=lambda change: change.start_min)

"""The shape of a run's log: when it ran, when it had settled, its noise and its dropouts."""

import itertools
from dataclasses import dataclass

import numpy as np

__all__ = ["OFF_SHARE", "Dip", "RunLog", "find_dips", "in_bins", "noise_of", "on_window", "open_log", "settled_at"]

OFF_SHARE = 0.06  # of the usual current; below it the supply gives nothing worth counting
_STILL_OFF = 2.0  # times that: only above it the current counts as back
_FLOOR = 0.02  # of the usual level: less is taken as this, so that its logarithm stays
_ON_SHARE = 0.15  # of the highest current: a sample above it says what is usual
_RUN_DOWN_MIN, _HELD_MIN = 1.5, 3.5  # before the end: where switching off may begin, and from where the level is taken
_HELD_SHARE = 0.85  # of that level: below it the supply was being turned down
_BIN_MIN = 10 / 60
_MOST_BINS = 220
_MEMORY_MIN = 1.0  # over which the recent level is kept


@dataclass(frozen=True)
class Dip:
    """A fall that came back: first sample, first sample after it, and its depth in the logarithm."""

    start: int
    stop: int
    depth: float


def on_window(time_min, current_a):
    """First and one past the last sample of the run, and its usual current.

    The current is 0 where nothing ever flowed. `time_min`, `current_a` have shape (N,).

    Notes
    -----
    A run-down at the very end, where the supply is switched off, is left out: it is no event.
    """
    high = np.quantile(current_a, 0.95)
    running = current_a > _ON_SHARE * high
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
    before = (time_min > end - _HELD_MIN) & (time_min < end - _RUN_DOWN_MIN)
    before[:first] = False
    if before.sum() < 3:
        return stop
    held = np.flatnonzero(current_a[first:stop] > _HELD_SHARE * np.median(current_a[before])) + first
    if not held.size or time_min[held[-1]] < end - _RUN_DOWN_MIN:
        return stop
    return int(held[-1]) + 1


@dataclass
class RunLog:
    """The running part of a log."""

    t: np.ndarray  # (N,): minutes
    # x, v: (N,): logarithm of the current over its usual level, and of the voltage over its own (None if not logged)
    x: np.ndarray
    v: np.ndarray | None
    level_a: float  # usual current
    step_min: float  # of the logger
    off: list  # list of (int, int): spells without current: first sample, first sample after
    settled: int  # first sample after the soft start
    masked: np.ndarray  # bool: samples that are no level: dropouts, breaks
    temp_c: np.ndarray | None = None  # (N,): electrolyte

    def warming_c(self, start_min, end_min):
        """How much the electrolyte warmed between two times; 0 where it was not logged."""
        if self.temp_c is None:
            return 0.0
        return float(np.subtract(*np.interp([end_min + 1, start_min - 1], self.t, self.temp_c)))


def open_log(time_min, current_a, voltage_v, first, stop, level_a, temp_c=None):
    """The part of a log between `first` and `stop` as a `RunLog`."""
    t = time_min[first:stop]
    share = current_a[first:stop] / level_a
    x = np.log(np.maximum(share, _FLOOR))
    v = None
    if voltage_v is not None:
        volts = np.nan_to_num(voltage_v[first:stop])
        v = np.log(np.maximum(volts / max(float(np.median(volts)), 1e-6), _FLOOR))
    off = _spells(share < OFF_SHARE, share < _STILL_OFF * OFF_SHARE)
    step = float(np.median(np.diff(t)))
    temp = None if temp_c is None else np.asarray(temp_c, float)[first:stop]
    if temp is not None and not np.isfinite(temp).all():
        temp = None
    return RunLog(t, x, v, level_a, step, off, settled_at(t, x), np.zeros(t.size, bool), temp)


def _spells(off, still_off):
    """Spells (start, stop) without current; a current that stays about the threshold makes one spell, not many."""
    spells = []
    for start, stop in _runs_of(off):
        if spells and still_off[spells[-1][1] : start].all():
            start = spells.pop()[0]
        spells.append((start, stop))
    return spells


def _runs_of(marks):
    edges = np.flatnonzero(np.diff(np.concatenate([[0], marks, [0]]).astype(int)))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def noise_of(values):
    """Noise of a log from sample to sample, as a standard deviation; steps and dropouts hardly count.

    Read from the lower third of the second differences: 0.35 of a normal's lie within 0.454 standard deviations.
    """
    if values.size < 4:
        return 0.0
    return float(np.quantile(np.abs(np.diff(values, n=2)), 0.35) / 0.4538 / np.sqrt(6))


def settled_at(time_min, values, look_min: float = 1.6) -> int:
    """First sample at which the soft start is over: later values within `look_min` are hardly higher.

    `time_min` has shape (N,). `values` (N,): logarithm of the current.
    """
    smooth = _running_median3(values)
    slack = max(0.04, 3 * noise_of(values))
    for i in range(values.size):
        ahead = smooth[i : np.searchsorted(time_min, time_min[i] + look_min) + 1]
        if smooth[i] > np.quantile(ahead, 0.9) - slack:
            return i
    return 0


def _running_median3(values):
    if values.size < 3:
        return values
    inner = np.median(np.stack([values[:-2], values[1:-1], values[2:]]), axis=0)
    return np.concatenate([values[:1], inner, values[-1:]])


def find_dips(log: RunLog, values, least: float, longest_min: float = 3.0) -> list[Dip]:
    """Falls of at least so much below the recent level, after the soft start, that come back.

    `values` (N,): in the logarithm. A fall that lasts longer than `longest_min` (and more than six samples) is a change
    of level.
    """
    time_min = log.t
    dips, level, fell, depth = [], float(values[log.settled]), None, 0.0
    longest_min = max(longest_min, 6 * float(np.median(np.diff(time_min))))
    for i in range(log.settled + 1, values.size):
        value = float(values[i])
        if fell is None:
            if value < level - least:
                fell, depth = i, level - value
            else:
                level += (value - level) * min(1.0, (time_min[i] - time_min[i - 1]) / _MEMORY_MIN)
            continue
        depth = max(depth, level - value)
        if value > level - 0.6 * least:
            dips.append(Dip(fell, i, depth))
            fell = None
        elif time_min[i] - time_min[fell] > longest_min:
            level, fell = float(np.median(values[fell : i + 1])), None
    return dips


def in_bins(time_min, values, keep):
    """Medians of the kept samples in even bins of time.

    Empty bins are left out. `time_min`, `values` have shape (N,). `keep` is bool (N,).
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

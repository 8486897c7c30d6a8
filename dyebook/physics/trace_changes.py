"""Lasting changes of level in a log, on top of the smooth course of a run."""

from dataclasses import dataclass

import numpy as np

__all__ = ["Change", "Span", "find_changes"]

_SPANS_MIN = (0.0, 0.3, 0.7, 1.5, 3.0, 5.0, 8.0, 12.0)
_RELAXATIONS_MIN = (0.5, 1.2, 2.5)
_SPAN_OF_RELAXATION = 2.2  # from a tenth to nine tenths
_DECAYS = ((1.5, 0.3), (5.0, 0.15))  # how current and voltage settle after the start: minutes, size
_DRIFT_SD = 0.12  # what a sound run drifts over its length, in the logarithm
_LEAST_NOISE = 0.008  # how well the course below fits a sound run at best
_NEIGHBOUR_MIN = 1.2
_ALWAYS_TRIED = 3  # ramps: one alone may look weak while the others are still unexplained


@dataclass(frozen=True)
class Span:
    """A stretch of time: when it began and how long it took."""

    start_min: float
    span_min: float

    @property
    def end_min(self):
        """When the new level was reached."""
        return self.start_min + self.span_min


@dataclass(frozen=True)
class Change(Span):
    """A lasting change of level, with its size in the logarithm."""

    size: float


def find_changes(time_min, values, least, most=6, significance=5.0):
    """Lasting changes of level on top of a smooth course.

    Parameters
    ----------
    time_min, values : ndarray of shape (N,)
        Evenly binned, the soft start left out; `values` in the logarithm.
    least : float
        Smallest size that is kept.
    most : int
        How many ramps are tried.
    significance : float
        How many times its own standard error a ramp must have.

    Returns
    -------
    list of Change
        In order of time; ramps that touch are joined into one change.

    Notes
    -----
    The course is a level with a small drift and two decays, each held by a prior. Ramps of several spans at every
    time are tried; the one that explains most is added, all are placed anew, and so on (orthogonal matching pursuit
    with backfitting); what stays small is dropped again.
    """
    if time_min.size < 8:
        return []
    problem = _Problem(time_min, values)
    chosen = []
    for _ in range(most):
        best, strength = problem.best_ramp(chosen)
        if strength < significance and len(chosen) >= _ALWAYS_TRIED:
            break
        chosen = problem.placed_anew([*chosen, best])
    return _grouped(time_min, problem.ramps_kept(chosen, 0.6 * least, significance), least)


class _Problem:
    """The least-squares problem: values, course with its prior, and the ramps to choose from."""

    def __init__(self, time_min, values):
        since = (time_min - time_min[0]) / max(np.ptp(time_min), 1e-9)
        minutes = time_min - time_min[0]
        noise = max(_noise(values), _LEAST_NOISE)
        decays = [np.exp(-minutes / tau) for tau, _ in _DECAYS]
        course = np.stack([np.ones_like(since), since, *decays], axis=1)
        prior = np.diag([0.0, noise / _DRIFT_SD, *(noise / sd for _, sd in _DECAYS)])
        self.time_min = time_min
        self.course = np.vstack([course, prior])
        self.starts, self.spans, ramps = _ramps(time_min)
        extra = self.course.shape[0] - time_min.size
        self.ramps = np.vstack([ramps, np.zeros((extra, ramps.shape[1]))])
        self.power = (self.ramps**2).sum(axis=0)
        self.values = np.concatenate([values, np.zeros(extra)])

    def best_ramp(self, chosen):
        """The ramp that explains most of what is left, and its size in standard errors."""
        basis, _ = np.linalg.qr(np.hstack([self.course, self.ramps[:, chosen]]))
        rest = self.values - basis @ (basis.T @ self.values)
        power = self.power - ((basis.T @ self.ramps) ** 2).sum(axis=0)
        usable = power > 1e-3
        gain = np.where(usable, (rest @ self.ramps) ** 2 / np.where(usable, power, 1.0), 0.0)
        best = int(np.argmax(gain))
        free = self.ramps[:, best] - basis @ (basis.T @ self.ramps[:, best])
        after = rest - free * (free @ rest) / max(power[best], 1e-12)
        return best, float(np.sqrt(gain[best]) / max(_spread(after[: self.time_min.size]), 1e-9))

    def placed_anew(self, chosen):
        """Give each ramp its best place again now that the others are known."""
        for _ in range(2):
            before = list(chosen)
            for place in range(len(chosen)):
                others = chosen[:place] + chosen[place + 1 :]
                chosen[place] = self.best_ramp(others)[0]
            if chosen == before:
                break
        return list(dict.fromkeys(chosen))

    def ramps_kept(self, chosen, least, significance):
        """Fit the chosen ramps together, dropping the weakest while it is too small or too doubtful."""
        chosen = list(chosen)
        while chosen:
            sizes, errors = self._fit(chosen)
            strength = np.minimum(np.abs(sizes) / least, np.abs(sizes) / (significance * errors))
            weakest = int(np.argmin(strength))
            if strength[weakest] >= 1:
                return [
                    Change(float(self.starts[index]), float(self.spans[index]), float(size))
                    for index, size in zip(chosen, sizes, strict=True)
                ]
            chosen.pop(weakest)
        return []

    def _fit(self, chosen):
        """Sizes of the chosen ramps with their standard errors."""
        both = np.hstack([self.course, self.ramps[:, chosen]])
        sizes = np.linalg.lstsq(both, self.values, rcond=None)[0]
        spread = _spread((self.values - both @ sizes)[: self.time_min.size])
        errors = spread * np.sqrt(np.maximum(np.diag(np.linalg.pinv(both.T @ both)), 0.0))
        course = self.course.shape[1]
        return sizes[course:], errors[course:] + 1e-9


def _ramps(time_min):
    """Ramps of every span from every time, each reaching 1 by its end or the log's."""
    step = float(np.median(np.diff(time_min)))
    inner = time_min[2:-1] - 0.5 * step
    spans = [span for span in _SPANS_MIN if span == 0 or span > step]
    starts, lengths = np.repeat(inner, len(spans)), np.tile(np.array(spans), inner.size)
    left = time_min[-1] - starts
    lengths = np.minimum(lengths, left)
    ramps = np.clip((time_min[:, None] - starts) / np.maximum(lengths, 1e-6), 0, 1)
    taus = np.array([tau for tau in _RELAXATIONS_MIN if tau > 0.5 * step])
    late = np.repeat(inner, taus.size)
    tau = np.tile(taus, inner.size)
    curves = 1 - np.exp(-np.maximum(time_min[:, None] - late, 0) / tau)
    curves /= np.maximum(curves[-1], 1e-9)
    spans_of_curves = np.minimum(_SPAN_OF_RELAXATION * tau, time_min[-1] - late)
    return np.append(starts, late), np.append(lengths, spans_of_curves), np.hstack([ramps, curves])


def _noise(values):
    return float(1.4826 * np.median(np.abs(np.diff(values, n=2))) / np.sqrt(6))


def _spread(rest):
    """Residual spread; neighbours that hang together make it larger."""
    centred = rest - rest.mean()
    power = float(centred @ centred)
    white = np.sqrt(power / rest.size)
    lag = float(centred[:-1] @ centred[1:]) / power if power > 0 else 0.0
    lag = min(max(lag, 0.0), 0.8)
    return white * np.sqrt((1 + lag) / (1 - lag))


def _grouped(time_min, ramps, least):
    """Join ramps that touch; a change begins and ends where a tenth and nine tenths of its net size are done."""
    groups = []
    for ramp in sorted(ramps, key=lambda ramp: ramp.start_min):
        if groups and _belongs(ramp, groups[-1]):
            groups[-1].append(ramp)
        else:
            groups.append([ramp])
    changes = [_net_change(time_min, group) for group in groups]
    return [change for change in changes if abs(change.size) >= least]


def _belongs(ramp, group):
    """Ramps that begin together, or follow one another the same way, are one change."""
    if ramp.start_min - group[-1].start_min < _NEIGHBOUR_MIN:
        return True
    same_way = all(ramp.size * other.size > 0 for other in group)
    return same_way and ramp.start_min - max(other.end_min for other in group) < _NEIGHBOUR_MIN


def _net_change(time_min, group):
    if len(group) == 1:
        return group[0]
    net = sum(ramp.size for ramp in group)
    grid = np.linspace(group[0].start_min, max(ramp.end_min for ramp in group) + 1e-6, 400)
    course = sum(ramp.size * np.clip((grid - ramp.start_min) / max(ramp.span_min, 1e-6), 0, 1) for ramp in group)
    share = course / net if net else course
    begin = grid[np.argmax(share > 0.1)]
    full = grid[len(grid) - 1 - np.argmax(share[::-1] < 0.9)] if (share < 0.9).any() else grid[0]
    return Change(float(begin), float(max(full - begin, 0.0)), float(net))

"""Lasting changes of level in a run's log, and what each means.

A sound run's current and voltage are a level with a little drift and two decays; changes are ramps on top of it, found
by orthogonal matching pursuit. Current and voltage are then judged together: both the same way is a new set value,
current down or voltage up alone a contact, current up at once a short, up slowly a runaway.
"""

from dataclasses import dataclass

import numpy as np

from dyebook.notebook import Note

__all__ = ["Case", "Change", "Span", "find_changes", "find_climb", "judge_changes", "pair_changes"]

_SPANS_MIN = (0.0, 0.3, 0.7, 1.5, 3.0, 5.0, 8.0, 12.0)
_RELAXATIONS_MIN = (0.5, 1.2, 2.5)
_SPAN_OF_RELAXATION = 2.2  # from a tenth to nine tenths
_DECAYS = ((1.5, 0.3), (5.0, 0.15))  # how current and voltage settle after the start: minutes, size
_DRIFT_SD = 0.12  # what a sound run drifts over its length, in the logarithm
_LEAST_NOISE = 0.008  # how well the course below fits a sound run at best
_NEIGHBOUR_MIN = 1.2
_SIGNIFICANCE = 5.0  # how many times its own standard error a ramp must have
_MOST_RAMPS = 6
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


def find_changes(time_min, values, least: float) -> list[Change]:
    """Lasting changes of level, of at least so much, on top of a smooth course.

    They come in order of time; ramps that touch are joined into one change. `time_min`, `values` (N,): evenly binned,
    the soft start left out; `values` in the logarithm.

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
    for _ in range(_MOST_RAMPS):
        best, strength = problem.best_ramp(chosen)
        if strength < _SIGNIFICANCE and len(chosen) >= _ALWAYS_TRIED:
            break
        chosen = problem.placed_anew([*chosen, best])
    return _grouped(time_min, problem.ramps_kept(chosen, 0.6 * least), least)


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

    def ramps_kept(self, chosen, least):
        """Fit the chosen ramps together, dropping the weakest while it is too small or too doubtful."""
        chosen = list(chosen)
        while chosen:
            sizes, errors = self._fit(chosen)
            strength = np.minimum(np.abs(sizes) / least, np.abs(sizes) / (_SIGNIFICANCE * errors))
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


# The judge's limits: current and voltage in the natural logarithm (0.1 is about a tenth), times in minutes; a change
# can be no faster in a log than the logger's step. Set on the simulated logs of tests/bench/traces.py and held to seeds
# and to a second generator (traces_plain.py) that had no part in it.
_LEAST_DROP = 0.09  # smallest lasting loss of current: one part of eleven
_LEAST_VOLTAGE_STEP = 0.055
_STILL = 0.05  # a current or voltage that moves less is taken to have stayed
_SHORT_RISE = float(np.log(1.4))
_EARLY_SHORT_RISE = float(np.log(2.2))  # while it still settles, and no voltage was logged
_RUNAWAY_RISE = float(np.log(1.25))
_LONE_RUNAWAY_RISE = float(np.log(1.38))  # without a voltage to tell it from a new set value
_EARLY_RUNAWAY_RISE = float(np.log(1.5))
_RUNAWAY_PER_MIN = 0.045
_CLIMB_RISE = float(np.log(1.6))  # of a runaway too slow to show as a change
_WARM_RISE_PER_C = 0.025  # at constant voltage the current rises 2 to 3 % per °C, common practice
_COLLAPSE = float(np.log(0.7))  # voltage of a short
_COLLAPSE_MOST_FALL = -0.15  # of the current beside it
_SAG, _EARLY_SAG = -0.12, -0.2  # voltage of a runaway at constant current
_SAG_PER_MIN = 0.03
_SLOW_VOLTAGE_RISE, _EARLY_SLOW_VOLTAGE_RISE = 0.12, 0.25  # further than a growing film takes it
_EARLY_VOLTAGE_STEP = 0.1
_EARLY_SLOW_DROP = -0.25  # current that settles slowly falls by less
_SET_CURRENT, _SET_VOLTAGE, _SET_SHARE = 0.04, 0.015, 0.1  # both move the same way: the set value was moved
_BACK_FROM, _BACK_REST = 0.07, 0.4  # a step back from at least so far, to within this share of it
_SEEN_SHARE = 0.45  # of a fitted change that the plain levels around it must show
_LIMIT_SHARE = 0.98  # of the supply's limit
_LIMIT_MOST_CHANGE = 0.7
_BRIEF_MIN = 6.0  # a lawful change that goes back later than this was a new set value
_EARLY_MIN = 3.4  # after the soft start, while current and voltage still settle
_AT_ONCE_MIN = 0.6
_VOLTAGE_AT_ONCE_MIN = 1.5
_LEAP_MIN = 0.1  # from a quarter to three quarters of the way, read from the samples
_ONSET_LOOK_MIN, _ONSET_BACK_MIN = 7.0, 3.0  # level before a slow rise, and how far back its start may move


@dataclass(frozen=True)
class Case(Span):
    """One change, with how much current (dx) and voltage (dv, None if not logged) moved."""

    dx: float
    dv: float | None


def pair_changes(when, x, v, of_current: list[Change], of_voltage: list[Change]) -> list[Case]:
    """Put changes of current and voltage at the same time together.

    They come in order of time; a change that the raw levels around it do not show is left out. `when`, `x`, `v` (N,):
    binned time, logarithm of current and of voltage (None if not logged).
    """
    cases, used = [], set()
    for change in of_current:
        if not _is_seen(when, x, change):
            continue
        mate = next((k for k, other in enumerate(of_voltage) if _same_time(change, other)), None)
        used.add(mate)
        dv = _local(when, v, change) if mate is None else of_voltage[mate].size
        span = change.span_min
        if mate is not None and change.size > 0 > dv:
            span = min(span, of_voltage[mate].span_min)  # a short: the voltage tells how sudden it was
        cases.append(Case(change.start_min, span, change.size, dv))
    for k, change in enumerate(of_voltage):
        if k not in used and _is_seen(when, v, change):
            cases.append(Case(change.start_min, change.span_min, _local(when, x, change), change.size))
    return sorted(cases, key=lambda case: case.start_min)


def _same_time(one, other):
    near = 0.8 + 0.5 * min(one.span_min, other.span_min)
    return abs(one.start_min - other.start_min) < near or abs(one.end_min - other.end_min) < near


def _is_seen(when, values, change):
    """Whether the plain levels before and after show the change too."""
    return _local(when, values, change) * np.sign(change.size) > _SEEN_SHARE * abs(change.size)


def _local(when, values, change):
    """Level just after a change over that just before it; None where it was not logged."""
    if values is None:
        return None
    width = max(1.5, 3.5 * float(np.median(np.diff(when))))
    before = values[(when < change.start_min) & (when > change.start_min - width)]
    after = values[(when >= change.end_min - 1e-6) & (when < change.end_min + width)]
    if not after.size:
        after = values[-1:]
    return float(np.median(after) - np.median(before)) if before.size else 0.0


def judge_changes(cases: list[Case], log, supply_max_a: float | None):
    """Name what each change means.

    Each comes as (kind, time_min, because); changes that only go back to an earlier level, and lawful ones, are left
    out.
    """
    found, away_x, away_v, lawful_min = [], 0.0, 0.0, -np.inf
    for case in cases:
        if case.start_min > lawful_min + _BRIEF_MIN:
            away_x = away_v = 0.0
        back = _goes_back(away_x, case.dx) or _goes_back(away_v, case.dv or 0.0)
        away_x = 0.0 if back else away_x + case.dx
        away_v = 0.0 if back else away_v + (case.dv or 0.0)
        kind = None if back else _kind_of(case, log)
        lawful_min = np.inf if kind else case.end_min
        if kind and not _is_limit(case, log, supply_max_a):
            start = case.start_min if kind != "runaway" else _onset(log, case)
            found.append((kind, start, Note("bench.change", dx=case.dx, dv=case.dv, span_min=case.span_min)))
    return found


def _onset(log, case):
    """When a slow rise left the level before it: later than a fitted straight line would say, or earlier."""
    values = log.x if abs(case.dx) > _STILL or log.v is None else -log.v
    before = (log.t < case.start_min - 1) & (log.t > case.start_min - _ONSET_LOOK_MIN) & ~log.masked
    before[: log.settled] = False
    if before.sum() < 5:
        return case.start_min
    level, spread = float(np.median(values[before])), float(np.std(values[before]))
    rising = (log.t > case.start_min - _ONSET_BACK_MIN) & (log.t < case.end_min)
    low = log.t[rising & (values < level + max(1.5 * spread, 0.01))]
    if not low.size:
        return case.start_min
    return float(min(max(low[-1], case.start_min - _ONSET_BACK_MIN), case.start_min + 0.5 * case.span_min))


def _goes_back(away, step):
    return away * step < 0 and abs(away) > _BACK_FROM and abs(away + step) < _BACK_REST * abs(away)


def _kind_of(case, log):
    early = case.start_min < log.t[log.settled] + _EARLY_MIN
    dx, dv = case.dx, case.dv
    if dx < 0 and case.start_min > log.t[-1] - max(1.0, 3 * log.step_min):
        return None  # too close to the end to be told from switching off
    if dv is None:
        return _by_current(case, log, early)
    if dx * dv > 0 and abs(dx) > _SET_CURRENT and abs(dv) > max(_SET_VOLTAGE, _SET_SHARE * abs(dx)):
        return None  # both the same way: the set value was moved
    if dv > _LEAST_VOLTAGE_STEP and dx < _STILL:
        return "contact_lost" if _is_voltage_step(case, log, early) or dx < -_LEAST_DROP else None
    if dv < _COLLAPSE and dx > _COLLAPSE_MOST_FALL and _is_leap(case, log):
        return "short"
    if dv < _SAG and dx > -_STILL and -dv > _SAG_PER_MIN * case.span_min:
        return None if early and dv > _EARLY_SAG else "runaway"
    return _by_current(case, log, early)


def _is_leap(case, log):
    """Done from one sample to the next, or within seconds; read from the samples, as bins blur it."""
    if case.span_min == 0 or case.span_min > max(_AT_ONCE_MIN, 2 * log.step_min):
        return case.span_min == 0
    values = log.x if abs(case.dx) > 0.1 or log.v is None else -log.v
    width = max(1.0, 3 * log.step_min)
    near = (log.t > case.start_min - width) & (log.t < case.end_min + width)
    t, values = log.t[near], values[near]
    before, after = values[t < case.start_min - 0.2], values[t > case.end_min + 0.2]
    if not before.size or not after.size:
        return True
    low, high = np.median(before), np.median(after)
    quarter, three = (t[np.argmax(values > low + part * (high - low))] for part in (0.25, 0.75))
    return three - quarter <= max(_LEAP_MIN, 0.5 * log.step_min)


def _is_voltage_step(case, log, early):
    """Voltage that rises as no film makes it rise: at once, or far."""
    if case.span_min <= max(_VOLTAGE_AT_ONCE_MIN, 1.5 * log.step_min):
        return case.dv > (_EARLY_VOLTAGE_STEP if early else _LEAST_VOLTAGE_STEP)
    return case.dv > (_EARLY_SLOW_VOLTAGE_RISE if early else _SLOW_VOLTAGE_RISE)


def _by_current(case, log, early):
    dx, alone = case.dx, case.dv is None
    if dx < -_LEAST_DROP:
        slow = case.span_min > max(_AT_ONCE_MIN, 1.2 * log.step_min)
        return None if early and slow and dx > _EARLY_SLOW_DROP else "contact_lost"
    if _is_leap(case, log):
        least = _EARLY_SHORT_RISE if early and alone else _SHORT_RISE
        return "short" if dx > least else None
    warm = _WARM_RISE_PER_C * max(log.warming_c(case.start_min, case.end_min), 0.0)
    fast = dx / case.span_min > _RUNAWAY_PER_MIN
    least = _EARLY_RUNAWAY_RISE if early else _LONE_RUNAWAY_RISE if alone else _RUNAWAY_RISE
    return "runaway" if fast and dx - warm > least else None


def _is_limit(case, log, supply_max_a):
    """Current that comes to stand at the supply's limit shows the limit, not a fault of its own."""
    if supply_max_a is None or abs(case.dx) > _LIMIT_MOST_CHANGE or (case.dv or 0.0) < 1.5 * _COLLAPSE:
        return False
    after = log.x[(log.t > case.end_min) & (log.t < case.end_min + 3)]
    if not after.size:
        return False
    share = float(np.exp(np.median(after))) * log.level_a / supply_max_a
    return _LIMIT_SHARE < share < 2 - _LIMIT_SHARE


def find_climb(when, x, v):
    """Return a runaway too slow for a step as (kind, time_min, because): current climbs far, the voltage does not.

    `when`, `x`, `v` (N,): binned time, logarithm of current and of voltage (None if not logged).
    """
    third = max(x.size // 3, 3)
    level, top = float(np.median(x[:third])), float(np.median(x[-5:]))
    follows = v is not None and np.median(v[-5:]) - np.median(v[:third]) > _SET_SHARE * (top - level)
    if top - level < _CLIMB_RISE or follows:
        return []
    start = when[np.flatnonzero(x < level + _STILL)[-1]]
    return [("runaway", start, Note("bench.climb", dx=top - level, span_min=when[-1] - start))]

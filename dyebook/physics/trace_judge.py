"""What a lasting change of current and voltage means."""

from dataclasses import dataclass

import numpy as np

from dyebook.physics.trace_changes import Span

__all__ = ["Case", "find_climb", "judge_changes", "pair_changes"]

_LEAST_DROP = 0.09  # smallest lasting loss of current, in the logarithm: one part of eleven
_LEAST_VOLTAGE_STEP = 0.055
_SHORT_RISE = float(np.log(1.4))
_RUNAWAY_RISE = float(np.log(1.25))
_COLLAPSE = float(np.log(0.7))
_FAR = float(np.log(1000))  # a larger change is a slip of the logger, and its size says nothing
_RUNAWAY_PER_MIN = 0.045
_SAG_PER_MIN = 0.03
_WARM_RISE_PER_C = 0.025  # at constant voltage the current rises 2 to 3 % per °C, common practice
_BRIEF_MIN = 6.0  # a lawful change that goes back later than this was a new set value
_EARLY_MIN = 3.4  # after the soft start, while current and voltage still settle
_LIMIT_SHARE = 0.98


@dataclass(frozen=True)
class Case(Span):
    """One change, with how much current (dx) and voltage (dv, None if not logged) moved."""

    dx: float
    dv: float | None


def pair_changes(when, x, v, of_current, of_voltage):
    """Put changes of current and voltage at the same time together.

    Parameters
    ----------
    when, x, v : ndarray of shape (N,)
        Binned time, logarithm of current and of voltage (None if not logged).
    of_current, of_voltage : list of Change

    Returns
    -------
    list of Case
        In order of time; a change that the raw levels around it do not show is left out.
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
    return _local(when, values, change) * np.sign(change.size) > 0.45 * abs(change.size)


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


def judge_changes(cases, log, supply_max_a):
    """Name what each change means.

    Parameters
    ----------
    cases : list of Case
    log : RunLog
    supply_max_a : float or None

    Returns
    -------
    list of (kind, time_min, because)
        Changes that only go back to an earlier level, and lawful ones, are left out.
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
            found.append((kind, start, _words(case)))
    return found


def _onset(log, case):
    """When a slow rise left the level before it: later than a fitted straight line would say, or earlier."""
    values = log.x if abs(case.dx) > 0.05 or log.v is None else -log.v
    before = (log.t < case.start_min - 1) & (log.t > case.start_min - 7) & ~log.masked
    before[: log.settled] = False
    if before.sum() < 5:
        return case.start_min
    level, spread = float(np.median(values[before])), float(np.std(values[before]))
    rising = (log.t > case.start_min - 3) & (log.t < case.end_min)
    low = log.t[rising & (values < level + max(1.5 * spread, 0.01))]
    return (
        float(min(max(low[-1], case.start_min - 3), case.start_min + 0.5 * case.span_min))
        if low.size
        else case.start_min
    )


def _goes_back(away, step):
    return away * step < 0 and abs(away) > 0.07 and abs(away + step) < 0.4 * abs(away)


def _kind_of(case, log):
    early = case.start_min < log.t[log.settled] + _EARLY_MIN
    dx, dv = case.dx, case.dv
    if dx < 0 and case.start_min > log.t[-1] - max(1.0, 3 * log.step_min):
        return None  # too close to the end to be told from switching off
    if dv is None:
        return _by_current(case, log, early)
    if dx * dv > 0 and abs(dx) > 0.04 and abs(dv) > max(0.015, 0.1 * abs(dx)):
        return None  # both the same way: the set value was moved
    if dv > _LEAST_VOLTAGE_STEP and dx < 0.05:
        return "contact_lost" if _is_voltage_step(case, log, early) or dx < -_LEAST_DROP else None
    if dv < _COLLAPSE and dx > -0.15 and _is_leap(case, log):
        return "short"
    if dv < -0.12 and dx > -0.05 and -dv > _SAG_PER_MIN * case.span_min:
        return None if early and dv > -0.2 else "runaway"
    return _by_current(case, log, early)


def _is_leap(case, log):
    """Done from one sample to the next, or within seconds; read from the samples, as bins blur it."""
    if case.span_min == 0 or case.span_min > max(0.6, 2 * log.step_min):
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
    return three - quarter <= max(0.1, 0.5 * log.step_min)


def _is_voltage_step(case, log, early):
    """Voltage that rises as no film makes it rise: at once, or far."""
    if case.span_min <= max(1.5, 1.5 * log.step_min):
        return case.dv > (0.1 if early else _LEAST_VOLTAGE_STEP)
    return case.dv > (0.25 if early else 0.12)


def _by_current(case, log, early):
    dx, alone = case.dx, case.dv is None
    if dx < -_LEAST_DROP:
        slow = case.span_min > max(0.6, 1.2 * log.step_min)
        return None if early and slow and dx > -0.25 else "contact_lost"
    if _is_leap(case, log):
        least = np.log(2.2) if early and alone else _SHORT_RISE
        return "short" if dx > least else None
    warm = _WARM_RISE_PER_C * max(log.warming_c(case.start_min, case.end_min), 0.0)
    fast = dx / case.span_min > _RUNAWAY_PER_MIN
    least = np.log(1.5) if early else np.log(1.38) if alone else _RUNAWAY_RISE
    return "runaway" if fast and dx - warm > least else None


def _is_limit(case, log, supply_max_a):
    """Current that comes to stand at the supply's limit shows the limit, not a fault of its own."""
    if supply_max_a is None or abs(case.dx) > 0.7 or (case.dv or 0.0) < 1.5 * _COLLAPSE:
        return False
    after = log.x[(log.t > case.end_min) & (log.t < case.end_min + 3)]
    if not after.size:
        return False
    share = float(np.exp(np.median(after))) * log.level_a / supply_max_a
    return _LIMIT_SHARE < share < 2 - _LIMIT_SHARE


def _words(case):
    speed = "at once" if case.span_min < 0.6 else f"over {case.span_min:.1f} min"
    volts = "" if case.dv is None else f", voltage {_percent(case.dv)}"
    return f"current {_percent(case.dx)}{volts} {speed}"


def _percent(change):
    rounded = round(100 * float(np.expm1(min(change, _FAR))))
    return f"{rounded:+d} %" if rounded else "unchanged"


def find_climb(when, x, v):
    """A current that climbs far through much of the run, the voltage not following: a runaway too slow for a step.

    Parameters
    ----------
    when, x, v : ndarray of shape (N,)
        Binned time, logarithm of current and of voltage (None if not logged).

    Returns
    -------
    list of (kind, time_min, because)
    """
    third = max(x.size // 3, 3)
    level, top = float(np.median(x[:third])), float(np.median(x[-5:]))
    follows = v is not None and np.median(v[-5:]) - np.median(v[:third]) > 0.1 * (top - level)
    if top - level < np.log(1.6) or follows:
        return []
    start = when[np.flatnonzero(x < level + 0.05)[-1]]
    return [("runaway", start, f"current {100 * np.expm1(top - level):+.0f} % over {when[-1] - start:.0f} min")]

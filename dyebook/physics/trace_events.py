"""Events in a run's log: contact, short, runaway, supply limit, power break, hot electrolyte.

Everything is judged against the run's own level and noise, so that no supply, load or logger is built in.
"""

from dataclasses import dataclass

import numpy as np

from dyebook.physics.cautions import EVENT_REMEDIES
from dyebook.physics.trace_changes import find_changes
from dyebook.physics.trace_dropouts import find_breaks_and_dropouts, find_surges
from dyebook.physics.trace_judge import find_climb, judge_changes, pair_changes
from dyebook.physics.trace_shape import OFF_SHARE, in_bins, on_window, open_log

__all__ = ["EVENT_KINDS", "Event", "find_events"]

EVENT_KINDS = tuple(EVENT_REMEDIES)

HOT_TEMP_C = 24.5  # dye work is run at 20 to 22 °C (handbook); growth falls and films soften above
_LIMIT_SHARE = 0.98
_SAME_MIN = 1.5
_LEAST_CURRENT_CHANGE = 0.08
_LEAST_VOLTAGE_CHANGE = 0.05


@dataclass(frozen=True)
class Event:
    """Something that happened in a run.

    Attributes
    ----------
    kind : str
        One of `EVENT_KINDS`.
    time_min : float
        When it began, on the log's own clock.
    because : str
        What was seen.
    """

    kind: str
    time_min: float
    because: str

    def to_dict(self):
        """Return kind, time, what was seen and what to do about it."""
        return {
            "kind": self.kind,
            "time_min": round(float(self.time_min), 3),
            "because": self.because,
            "remedy": EVENT_REMEDIES[self.kind],
        }


def find_events(time_min, current_a, voltage_v=None, electrolyte_temp_c=None, supply_max_a=None):
    """Find what happened in a run.

    Parameters
    ----------
    time_min, current_a : array of shape (N,)
    voltage_v, electrolyte_temp_c : array of shape (N,), optional
    supply_max_a : float, optional
        Limit of the supply; without it, `supply_limit` is never reported.

    Returns
    -------
    tuple of Event
        In order of time, each kind once (its first), power breaks each.

    Notes
    -----
    At constant current one lost contact among several parts does not show in the total current, only in the voltage.
    """
    t, current = np.asarray(time_min, float), np.asarray(current_a, float)
    voltage = None if voltage_v is None or np.all(np.isnan(voltage_v)) else np.asarray(voltage_v, float)
    found = _hot(t, electrolyte_temp_c)
    first, stop, level = on_window(t, current)
    if stop - first >= 5:
        log = open_log(t, current, voltage, first, stop, level, electrolyte_temp_c)
        found += find_breaks_and_dropouts(log)
        found += find_surges(log)
        found += _trickle(t, current, voltage, stop, level)
        found += _changes(log, supply_max_a, found)
        found += _limit(log, supply_max_a, found)
    return tuple(_first_of_each([Event(*entry) for entry in sorted(found, key=lambda entry: entry[1])]))


def _hot(t, electrolyte_temp_c):
    """Electrolyte warmer than dye work allows, for a minute or more."""
    if electrolyte_temp_c is None:
        return []
    temp = np.asarray(electrolyte_temp_c, float)
    when, warmth = in_bins(t, temp, np.isfinite(temp))
    hot = warmth > HOT_TEMP_C
    for i in np.flatnonzero(hot):
        stays = hot[i : np.searchsorted(when, when[i] + 1.0) + 1]
        if stays.size >= 2 and stays.all():
            seen = f"electrolyte above {HOT_TEMP_C:g} °C, up to {warmth.max():.1f} °C"
            return [("hot_electrolyte", when[i], seen)]
    return []


def _trickle(t, current, voltage, stop, level):
    """The last contact lost: a trickle, or voltage that stays on, until the end of the log."""
    if t.size - stop < 3 or t[-1] - t[stop] < 1.0:
        return []
    last = slice((stop + t.size) // 2, None)  # past a run-down
    share = float(np.min(current[last])) / level
    alive = voltage is not None and np.median(voltage[last]) > 0.5 * np.median(voltage[:stop])
    if alive or 0.015 < share < OFF_SHARE:
        return [("contact_lost", t[stop], "hardly any current until the end of the log, supply still on")]
    return []


def _changes(log, supply_max_a, found):
    """Lasting changes of level in current and voltage."""
    keep = ~log.masked
    keep[: log.settled] = False
    when, x = in_bins(log.t, log.x, keep)
    if when.size < 8:
        return []
    v = None if log.v is None else in_bins(log.t, log.v, keep)[1]
    of_current = find_changes(when, x, _LEAST_CURRENT_CHANGE)
    of_voltage = [] if v is None else find_changes(when, v, _LEAST_VOLTAGE_CHANGE)
    cases = pair_changes(when, x, v, of_current, of_voltage)
    dropouts = [at for kind, at, _ in found if kind == "intermittent_contact"]
    if dropouts:
        cases = [case for case in cases if case.end_min < dropouts[0] - 3]
    judged = judge_changes(cases, log, supply_max_a)
    stepped = any(case.dx > 0.1 and case.span_min < 2 for case in cases)
    return judged if judged or stepped or dropouts else find_climb(when, x, v)


def _limit(log, supply_max_a, found):
    """Current held at the supply's limit."""
    if supply_max_a is None:
        return []
    when, x = in_bins(log.t, log.x, np.ones(log.t.size, bool))
    at_limit = np.exp(x) * log.level_a > _LIMIT_SHARE * supply_max_a
    for i in np.flatnonzero(at_limit):
        stays = at_limit[i : max(i + 3, np.searchsorted(when, when[i] + 1.0) + 1)]
        if stays.size >= 3 and stays.mean() > 0.8:
            driven = [at for kind, at, _ in found if kind in ("short", "runaway") and at <= when[i] + 1]
            return [] if driven else [("supply_limit", when[i], f"current held at the supply's {supply_max_a:g} A")]
    return []


def _first_of_each(events):
    """The first of each kind, every power break; a short tells why the current ran up beside it."""
    kept = []
    for event in events:
        shorts = [other.time_min for other in events if other.kind == "short"]
        if event.kind == "runaway" and any(abs(event.time_min - at) < _SAME_MIN for at in shorts):
            continue
        if event.kind == "power_break" or all(event.kind != other.kind for other in kept):
            kept.append(event)
    return kept

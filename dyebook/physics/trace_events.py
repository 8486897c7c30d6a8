"""Events in a run's log: contact, short, runaway, supply limit, power break, hot electrolyte.

Everything is judged against the run's own level and noise, so that no supply, load or logger is built in.
"""

from dataclasses import dataclass

import numpy as np

from dyebook.physics.cautions import EVENT_REMEDIES
from dyebook.physics.trace_shape import (
    OFF_SHARE,
    Change,
    find_changes,
    find_dips,
    find_off_spells,
    in_bins,
    noise_of,
    on_window,
    settled_at,
)

__all__ = ["EVENT_KINDS", "Event", "find_events"]

EVENT_KINDS = tuple(EVENT_REMEDIES)

HOT_TEMP_C = 24.5  # dye work is run at 20 to 22 °C (handbook); growth falls and films soften above
_LIMIT_SHARE = 0.97
_LEAST_DROP = 0.09  # smallest lasting loss of current, in the logarithm: one part of eleven
_LEAST_VOLTAGE_STEP = 0.05
_SHORT_RISE = np.log(1.4)
_RUNAWAY_RISE = np.log(1.25)
_COLLAPSE = np.log(0.7)


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


@dataclass
class _Log:
    """The running part of a log, in logarithms of the usual current and of the voltage."""

    t: np.ndarray
    x: np.ndarray
    v: np.ndarray | None
    level_a: float
    step_min: float
    off: list
    masked: np.ndarray
    settled: int


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
        In order of time.

    Notes
    -----
    At constant current one lost contact among several parts does not show in the total current, only in the voltage.
    """
    t = np.asarray(time_min, float)
    current = np.asarray(current_a, float)
    voltage = None if voltage_v is None or np.all(np.isnan(voltage_v)) else np.asarray(voltage_v, float)
    events = _hot_events(t, electrolyte_temp_c)
    first, stop, level = on_window(t, current)
    if stop - first < 5:
        return tuple(events)
    log = _open_log(t, current, voltage, first, stop, level)
    found = _spell_events(log) + _dip_events(log)
    found += _tail_events(t, current, voltage, stop, level)
    found += _change_events(log, found, supply_max_a)
    found += _limit_events(log, supply_max_a, found)
    return tuple(sorted(_without_echoes(found + events), key=lambda event: event.time_min))


def _open_log(t, current, voltage, first, stop, level):
    off = [(a - first, b - first) for a, b in find_off_spells(t, current, level, first, stop)]
    t, current = t[first:stop], current[first:stop]
    x = np.log(np.maximum(current, 0.02 * level) / level)
    v = None
    if voltage is not None:
        volts = np.nan_to_num(voltage[first:stop])
        usual = max(float(np.median(volts)), 1e-6)
        v = np.log(np.maximum(volts, 0.02 * usual) / usual)
    step = float(np.median(np.diff(t)))
    return _Log(t, x, v, level, step, off, np.zeros(t.size, bool), settled_at(t, x))


def _hot_events(t, electrolyte_temp_c):
    if electrolyte_temp_c is None:
        return []
    temp = np.asarray(electrolyte_temp_c, float)
    known = np.isfinite(temp)
    when, warmth = in_bins(t, temp, known)
    hot = warmth > HOT_TEMP_C
    for i in np.flatnonzero(hot):
        stays = hot[i : np.searchsorted(when, when[i] + 1.0) + 1]
        if stays.size >= 2 and stays.all():
            return [
                Event("hot_electrolyte", when[i], f"electrolyte above {HOT_TEMP_C:g} °C, up to {warmth.max():.1f} °C")
            ]
    return []


def _spell_events(log):
    """Spells without current: a power break, or a contact that comes and goes."""
    if not log.off:
        return []
    spells = [(log.t[a], log.t[min(b, log.t.size - 1)] - log.t[a], a, b) for a, b in log.off if a > log.settled]
    for _, _, a, b in spells:
        log.masked[max(a - 1, 0) : b + 1] = True
        _mask_soft_start(log, b)
    if not spells:
        return []
    brief = [spell for spell in spells if spell[1] < max(0.35, 1.5 * log.step_min)]
    alive = log.v is not None and np.median([np.median(log.v[a:b]) for _, _, a, b in spells]) > np.log(0.5)
    if len(brief) >= 3 and len(brief) >= 0.6 * len(spells):
        return []  # left to the dips, which see them too
    if alive:
        return [Event("intermittent_contact", spells[0][0], f"no current for {spells[0][1]:.1f} min with voltage on")]
    if len(spells) >= 5:
        return []
    return [Event("power_break", at, f"no current for {long:.1f} min") for at, long, _, _ in spells]


def _mask_soft_start(log, start):
    """Leave the climb after a break out of what is judged."""
    stop = np.searchsorted(log.t, log.t[min(start, log.t.size - 1)] + 2.0)
    if stop - start > 2:
        log.masked[start : start + settled_at(log.t[start:stop], log.x[start:stop], 1.0) + 1] = True


def _dip_events(log):
    """Repeated falls that come back, and brief surges."""
    s = log.settled
    t, x = log.t[s:], log.x[s:]
    if t.size < 5:
        return []
    events = []
    sure = _COUNTED_DIPS
    dips = find_dips(t, x, max(0.16, 6 * noise_of(x)))
    sags = [] if log.v is None else find_dips(t, -log.v[s:], max(0.08, 6 * noise_of(log.v[s:])))
    in_zero = {index for a, b in log.off for index in range(a - s - 1, b - s + 1)}
    breaks = [dip for dip in dips if dip.start in in_zero and t[min(dip.stop, t.size - 1)] - t[dip.start] > 0.35]
    counted = [dip for dip in dips if dip not in breaks or len(dips) >= 5]
    for group in (counted, sags):
        _mask(log, group)
        cluster = _cluster(t, group, sure)
        if cluster:
            events.append(Event("intermittent_contact", t[cluster[0].start], f"{len(cluster)} dropouts in the log"))
            break
    return events + _surge_events(log)


_COUNTED_DIPS = 3
_CLUSTER_MIN = 15.0


def _cluster(t, dips, least):
    """The dips from the first that has `least` - 1 followers within `_CLUSTER_MIN`."""
    for i in range(len(dips) - least + 1):
        if t[dips[i + least - 1].start] - t[dips[i].start] <= _CLUSTER_MIN:
            return dips[i:]
    return []


def _mask(log, dips):
    for dip in dips:
        log.masked[log.settled + dip.start - 1 : log.settled + dip.stop + 1] = True


def _surge_events(log):
    """Current that leaps up, or voltage that collapses, and comes back: a brief short."""
    s = log.settled
    t, x = log.t[s:], log.x[s:]
    surges = [dip for dip in find_dips(t, -x, max(_SHORT_RISE, 8 * noise_of(x)), 6.0) if _lasts(t, dip, log.step_min)]
    if log.v is not None:
        v = log.v[s:]
        falls = find_dips(t, v, max(-_COLLAPSE, 8 * noise_of(v)), 6.0)
        surges += [dip for dip in falls if _lasts(t, dip, log.step_min) and np.median(x[dip.start : dip.stop]) > -0.3]
        surges = [dip for dip in surges if np.median(v[dip.start : dip.stop]) - np.median(v[: dip.start + 1]) < 0.05]
    surges = [dip for dip in surges if not log.masked[s + dip.start]]
    _mask(log, surges)
    if not surges:
        return []
    first = min(surges, key=lambda dip: dip.start)
    return [Event("short", t[first.start], f"{np.exp(first.depth):.1f}-fold leap that came back")]


def _lasts(t, dip, step_min):
    return dip.stop - dip.start >= 2 or step_min >= 0.15


def _tail_events(t, current, voltage, stop, level):
    """A last contact lost: a trickle, or voltage that stays on, until the end of the log."""
    rest = slice(stop, t.size)
    if t.size - stop < 3 or t[-1] - t[stop] < 1.0:
        return []
    trickle = float(np.median(current[rest])) / level
    alive = voltage is not None and np.median(voltage[rest]) > 0.5 * np.median(voltage[:stop])
    if alive or 0.015 < trickle < OFF_SHARE:
        return [Event("contact_lost", t[stop], "hardly any current until the end of the log, supply still on")]
    return []


def _change_events(log, found, supply_max_a):
    """Lasting changes of level in current and voltage."""
    keep = ~log.masked
    keep[: log.settled] = False
    when, x = in_bins(log.t, log.x, keep)
    if when.size < 8:
        return []
    v = None if log.v is None else in_bins(log.t, log.v, keep)[1]
    changes = _joined(find_changes(when, x, 0.07), log.step_min)
    cases = [(change, change.size, _local_change(when, v, change)) for change in changes]
    if v is not None:
        for change in _joined(find_changes(when, v, 0.045), log.step_min):
            if not any(_meet(change, other) for other in changes):
                cases.append((change, _local_change(when, x, change), change.size))
    return _judge(sorted(cases, key=lambda case: case[0].start_min), log, supply_max_a, found)


def _joined(changes, step_min):
    """Join neighbours of the same sign into one longer change."""
    joined = []
    for change in changes:
        last = joined[-1] if joined else None
        near = last is not None and change.start_min - last.end_min < max(1.5, 2 * step_min)
        if near and np.sign(last.size) == np.sign(change.size):
            span = max(change.end_min, last.end_min) - last.start_min
            joined[-1] = Change(last.start_min, span, last.size + change.size)
        else:
            joined.append(change)
    return joined


def _meet(one, other):
    return one.start_min < other.end_min + 1.0 and other.start_min < one.end_min + 1.0


def _local_change(when, values, change):
    """How much another quantity changed over the same time; None where it was not logged."""
    if values is None:
        return None
    width = max(1.5, 3 * float(np.median(np.diff(when))))
    before = values[(when < change.start_min) & (when > change.start_min - width)]
    after = values[(when >= change.end_min) & (when < change.end_min + width)]
    if not before.size or not after.size:
        return 0.0
    return float(np.median(after) - np.median(before))


def _judge(cases, log, supply_max_a, found):
    events = []
    busy = [event.time_min for event in found if event.kind == "intermittent_contact"]
    standing = 0.0
    for change, dx, dv in cases:
        came_back = standing * dx < 0 and abs(standing + dx) < 0.4 * abs(standing)
        standing = 0.0 if came_back else standing + dx
        if came_back or (busy and change.start_min > busy[0] - 1):
            continue
        kind = _kind_of(change, dx, dv, log)
        if kind and _lawful_at_limit(kind, change, dv, log, supply_max_a):
            kind = None
        if kind:
            events.append(Event(kind, change.start_min, _words(dx, dv, change)))
    return events


def _kind_of(change, dx, dv, log):
    """What a change of current (dx) and voltage (dv, None if not logged) means."""
    sharp = change.span_min <= max(0.6, 1.2 * log.step_min)
    early = change.start_min < log.t[log.settled] + max(4.0, 0.2 * (log.t[-1] - log.t[log.settled]))
    if dv is not None:
        together = 0.1 * abs(dx)
        if dx * dv > 0 and abs(dx) > 0.05 and abs(dv) > max(0.015, together):
            return None  # both the same way: the set value was moved
        if dv > _LEAST_VOLTAGE_STEP and dx < 0.05:
            return "contact_lost" if change.span_min <= 6 else None
        if dv < _COLLAPSE and dx > -0.15 and sharp:
            return "short"
        if dv < -0.12 and dx > -0.05 and not sharp:
            return "runaway"
    if dx < -_LEAST_DROP:
        return None if early and not sharp and dx > -0.25 else "contact_lost"
    if sharp and dx > _SHORT_RISE:
        return None if early and dv is None and dx < np.log(1.6) else "short"
    if not sharp and dx > _RUNAWAY_RISE:
        return "runaway"
    return None


def _lawful_at_limit(kind, change, dv, log, supply_max_a):
    """A sag of voltage at the supply's limit is the limit, not a fault of its own."""
    if supply_max_a is None or kind not in ("runaway", "short", "contact_lost"):
        return False
    after = log.x[(log.t > change.end_min) & (log.t < change.end_min + 3)]
    at_limit = after.size and np.exp(np.median(after)) * log.level_a > _LIMIT_SHARE * supply_max_a
    return bool(at_limit) and abs(change.size) < 0.5 and (dv is None or dv > _COLLAPSE * 1.5)


def _words(dx, dv, change):
    speed = "at once" if change.span_min < 0.6 else f"over {change.span_min:.1f} min"
    volts = "" if dv is None else f", voltage {100 * np.expm1(dv):+.0f} %"
    return f"current {100 * np.expm1(dx):+.0f} %{volts} {speed}"


def _limit_events(log, supply_max_a, found):
    """Current held at the supply's limit."""
    if supply_max_a is None:
        return []
    when, x = in_bins(log.t, log.x, np.ones(log.t.size, bool))
    at_limit = np.exp(x) * log.level_a > _LIMIT_SHARE * supply_max_a
    for i in np.flatnonzero(at_limit):
        stays = at_limit[i : max(i + 3, np.searchsorted(when, when[i] + 1.0) + 1)]
        if stays.size >= 3 and stays.mean() > 0.8:
            earlier = [event for event in found if event.kind in ("short", "runaway") and event.time_min <= when[i] + 1]
            held = f"current held at the supply's {supply_max_a:g} A"
            return [] if earlier else [Event("supply_limit", when[i], held)]
    return []


def _without_echoes(events):
    """Drop events that another one explains."""
    kept = []
    for event in sorted(events, key=lambda event: event.time_min):
        if any(event.kind == other.kind for other in kept) and event.kind != "power_break":
            continue
        kept.append(event)
    return kept

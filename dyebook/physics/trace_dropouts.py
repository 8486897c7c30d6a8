"""Spells without current, dropouts and surges that come back, in a run's log."""

import numpy as np

from dyebook.physics.trace_shape import find_dips, noise_of, settled_at

__all__ = ["find_breaks_and_dropouts", "find_surges"]

_LEAST_DIP = 0.16
_LEAST_SAG = 0.08
_LEAST_SURGE = float(np.log(1.3))
_COLLAPSE = -float(np.log(0.7))
_COUNT = 3
_DEEP = 0.4
_CLUSTER_MIN = 15.0
_BRIEF_MIN = 0.75


def find_breaks_and_dropouts(log):
    """Power breaks and intermittent contacts.

    Parameters
    ----------
    log : RunLog
        Marks in `log.masked` what later steps must not read as a level.

    Returns
    -------
    list of (kind, time_min, because)
    """
    spells = [(a, b) for a, b in log.off if a > log.settled]
    dips = _real_dips(log, find_dips(log.t, log.x, max(_LEAST_DIP, 6 * noise_of(log.x)), start=log.settled))
    cluster = _cluster(log.t, dips) or _plain_dips(log, dips)
    _mask(log, [(dip.start, dip.stop) for dip in dips])
    _mask(log, spells)
    for _, stop in spells:
        _mask_soft_start(log, stop)
    if cluster and not _is_flicker(log, cluster):
        events = [("intermittent_contact", log.t[cluster[0].start], f"{len(cluster)} dropouts of the current")]
        usual = float(np.median([_length(log, dip.start, dip.stop) for dip in cluster]))
        spells = [spell for spell in spells if _length(log, *spell) > max(1.5, 3.5 * log.step_min, 4 * usual)]
        return events + _breaks(log, spells)
    return _breaks(log, spells) + ([] if spells else _voltage_dropouts(log))


def _real_dips(log, dips):
    """Dips that go below what the run had shown before the first of them; noise on a raised level does not."""
    if not dips:
        return []
    before = log.x[log.settled : dips[0].start + 1]
    usual = float(min(np.median(before), np.median(before[-60:])))
    return [dip for dip in dips if log.x[dip.start : dip.stop].min() < usual - 0.7 * _LEAST_DIP]


def _cluster(t, dips):
    """The dips from the first that has enough followers near by."""
    for i in range(len(dips) - _COUNT + 1):
        if t[dips[i + _COUNT - 1].start] - t[dips[i].start] <= _CLUSTER_MIN:
            return dips[i:]
    return []


def _plain_dips(log, dips):
    """Fewer dips, but deep ones that cannot be noise nor the supply: current falls far, not to nothing."""
    deep = [dip for dip in dips if dip.depth > _DEEP and log.x[dip.start : dip.stop].min() > np.log(0.08)]
    deep = [dip for dip in deep if log.v is None or _rise(log.v, dip) > -0.1]
    long = [dip for dip in deep if dip.stop - dip.start >= 2 and _length(log, dip.start, dip.stop) > 8 / 60]
    slow = deep if log.step_min > 9 / 60 and len(deep) >= 2 else []
    return slow or long


def _is_flicker(log, cluster):
    """Whether the supply, not a contact, went off each time."""
    dead = [dip for dip in cluster if log.x[dip.start : dip.stop].min() < np.log(0.1)]
    if len(dead) < len(cluster):
        return False
    if log.v is not None:
        return all(np.median(log.v[dip.start : dip.stop]) < np.log(0.5) for dip in dead)
    lengths = [_length(log, dip.start, dip.stop) for dip in dead]
    return len(dead) == _COUNT and float(np.median(lengths)) > max(_BRIEF_MIN, 2.5 * log.step_min)


def _breaks(log, spells):
    if not spells:
        return []
    alive = log.v is not None and np.median([np.median(log.v[a:b]) for a, b in spells]) > np.log(0.5)
    if alive:
        start, stop = spells[0]
        seen = f"no current for {_length(log, start, stop):.1f} min with voltage on"
        return [("intermittent_contact", log.t[start], seen)]
    return [("power_break", log.t[a], f"no current for {_length(log, a, b):.1f} min") for a, b in spells]


def _voltage_dropouts(log):
    """At constant current a contact that comes and goes shows as voltage that leaps up and falls back."""
    if log.v is None:
        return []
    sags = find_dips(log.t, -log.v, np.clip(6 * noise_of(log.v), _LEAST_SAG, 0.14), start=log.settled)
    cluster = _cluster(log.t, sags)
    if not cluster:
        return []
    first = cluster[0].start
    before, after = log.v[log.settled : first], log.v[first:]
    if before.size and np.median(after) < np.median(before[-60:]) - 0.1:
        return []  # a voltage that gives way and staggers is no contact
    _mask(log, [(sag.start, sag.stop) for sag in sags])
    return [("intermittent_contact", log.t[first], f"{len(cluster)} leaps of the voltage")]


def find_surges(log):
    """Brief shorts: current that leaps up, or voltage that collapses, and comes back.

    Parameters
    ----------
    log : RunLog

    Returns
    -------
    list of (kind, time_min, because)
    """
    leaps = find_dips(log.t, -log.x, max(_LEAST_SURGE, 8 * noise_of(log.x)), 6.0, start=log.settled)
    usual = _usual(log.x, log.settled)
    leaps = [dip for dip in leaps if log.x[dip.start : dip.stop].max() > usual(dip) + 0.7 * _LEAST_SURGE]
    leaps = [dip for dip in leaps if log.v is None or _rise(log.v, dip) < 0.05]
    if log.v is not None:
        falls = find_dips(log.t, log.v, max(_COLLAPSE, 8 * noise_of(log.v)), 6.0, start=log.settled)
        leaps += [dip for dip in falls if _rise(log.x, dip) > -0.3]
    leaps = [dip for dip in leaps if _lasts(log, dip) and not log.masked[dip.start]]
    if not leaps:
        return []
    _mask(log, [(dip.start, dip.stop) for dip in leaps])
    first = min(leaps, key=lambda dip: dip.start)
    return [("short", log.t[first.start], f"{np.exp(first.depth):.1f}-fold leap that came back")]


def _usual(values, settled):
    """Level before a dip, by the whole run so far and by the last while, whichever is higher."""

    def level(dip):
        before = values[settled : dip.start + 1]
        return float(max(np.median(before), np.median(before[-60:])))

    return level


def _rise(values, dip):
    """Level inside a dip over that just before it."""
    before = values[max(dip.start - 5, 0) : dip.start]
    return float(np.median(values[dip.start : dip.stop]) - np.median(before)) if before.size else 0.0


def _lasts(log, dip):
    return dip.stop - dip.start >= 2 or log.step_min >= 0.15


def _length(log, start, stop):
    return float(log.t[min(stop, log.t.size - 1)] - log.t[start])


def _mask(log, spans):
    for start, stop in spans:
        log.masked[max(start - 1, 0) : stop + 1] = True


def _mask_soft_start(log, start):
    """Leave the climb after a break out of what is judged."""
    stop = int(np.searchsorted(log.t, log.t[min(start, log.t.size - 1)] + 2.5))
    if stop - start > 2:
        log.masked[start : start + settled_at(log.t[start:stop], log.x[start:stop], 1.5) + 2] = True

"""What a run's log tells: charge, film, gaps and events.

Everything is judged against the run's own level and noise, so that no supply, load or logger is built in. Breaks,
dropouts and brief surges are found first and masked; what is left is searched for lasting changes of level.
"""

import math
from dataclasses import dataclass

import numpy as np

from dyebook.errors import RecordError
from dyebook.notebook import Note
from dyebook.physics.answer import Answer, cautions_for, check_figure
from dyebook.physics.rates import growth_rate
from dyebook.physics.trace.changes import find_changes, find_climb, judge_changes, pair_changes
from dyebook.physics.trace.read import make_trace
from dyebook.physics.trace.shape import OFF_SHARE, RunLog, find_dips, in_bins, noise_of, on_window, open_log, settled_at
from dyebook.record import check_value

__all__ = ["EVENT_KINDS", "Event", "TraceReport", "charge_ah", "find_events", "find_gaps", "read_frame", "report_trace"]

EVENT_KINDS = (
    "contact_lost",
    "intermittent_contact",
    "short",
    "runaway",
    "supply_limit",
    "power_break",
    "hot_electrolyte",
)
HOT_TEMP_C = 24.5  # dye work is run at 20 to 22 °C (handbook); growth falls and films soften above
_WORK_TEMP_C = (18.0, 23.0)  # inside it the plain rule is used whatever the log's thermometer says
_GAP_SD = 0.3  # doubt of the charge that flowed where nothing was logged, as a share
_CHARGE_SD = 0.01
_SHARE_SD = 0.1  # doubt of how much of the load lost its contact, as a share of the film; judgement
_LEAST_FALL = -0.05  # less of a fall in current is none: the supply held it, and the voltage rose
_GAP_STEPS, _GAP_MIN = 5.0, 0.5  # a gap is longer than so many steps of the logger, and than this

# what counts, in the natural logarithm of current or voltage; set as the limits in `changes`
_LEAST_DIP = 0.16
_DEEP_DIP = 0.4  # one that needs no others beside it
_DEAD = float(np.log(0.1))  # no current to speak of
_TRICKLE = float(np.log(0.08))  # a contact leaves more than this, a supply that is off does not
_VOLTAGE_OFF = float(np.log(0.5))
_LEAST_SAG, _MOST_SAG = 0.08, 0.14
_LEAST_SURGE = float(np.log(1.3))
_COLLAPSE = -float(np.log(0.7))
_LEAST_CURRENT_CHANGE = 0.08
_LEAST_VOLTAGE_CHANGE = 0.05
_BEYOND_USUAL = 0.7  # share of the least dip or surge by which it must leave what the run had shown before
_LATELY = 60  # samples that say what was usual just before
_COUNT = 3  # dropouts that make a contact intermittent, within
_CLUSTER_MIN = 15.0
_BRIEF_MIN = 0.75
_SURGE_MIN = 6.0  # a leap that lasts longer is a change of level
_SAME_MIN = 1.5
_LIMIT_SHARE = 0.98  # of the supply's limit
_STAYS_MIN = 1.0  # how long a limit or a warm electrolyte must hold
_LATE_CHANGE_MIN = 3.0  # changes of level are judged up to so long before the first dropout


@dataclass(frozen=True)
class Event:
    """Something that happened in a run."""

    kind: str  # one of `EVENT_KINDS`
    time_min: float  # when it began, on the log's own clock
    because: Note  # what was seen

    def to_dict(self):
        """Return kind, time, what was seen and what to do about it."""
        return {
            "kind": self.kind,
            "time_min": round(float(self.time_min), 3),
            "because": self.because,
            "remedy": Note("bench.remedy", kind=self.kind),
        }


@dataclass(frozen=True, kw_only=True)
class TraceReport(Answer):
    """What a run's log tells."""

    # charge_ah, minutes: charge, and how long current flowed
    charge_ah: float
    minutes: float
    # film_um, film_um_sd: over all parts; None without an area
    film_um: float | None
    film_um_sd: float | None
    events: tuple
    gaps: tuple  # where nothing was logged: start_min, end_min
    charge_in_gaps_ah: float  # charge read across the gaps by straight lines
    columns: dict  # header that each quantity was read from
    # where a contact was lost: on parts that kept it (None where their share is not known), and on the others
    film_kept_um: float | None = None
    film_kept_um_sd: float | None = None
    film_lost_um: float | None = None
    film_lost_um_sd: float | None = None


def report_trace(
    trace,
    *,
    area_dm2: float | None = None,
    supply_max_a: float | None = None,
    alloy: str | None = None,
    electrolyte_temp_c: float | None = None,
    own_rate=None,
    parts: int | None = None,
) -> TraceReport:
    """Charge, film and events of a log.

    Parameters
    ----------
    area_dm2
        Wetted area; no film without it.
    supply_max_a
        The supply's limit; `supply_limit` is only reported against it.
    electrolyte_temp_c
        Of the run; a logged temperature outside 18 to 23 °C takes its place.
    own_rate : GrowthRate, optional
        What the shop's gauge has taught.
    parts
        Equal parts on the jig: one of them is taken to have lost its contact where the current does not tell how many.
    """
    limit = None if supply_max_a is None else check_figure("the supply's limit", supply_max_a, "A", 0, 1e5)
    charge = charge_ah(trace.time_min, trace.current_a)
    wide = [] if trace.by_hand else find_gaps(trace.time_min)
    gaps = tuple({"start_min": start, "end_min": end} for start, end in wide)
    missing = sum(_charge_between(trace, **gap) for gap in gaps)
    minutes = _minutes_on(trace)
    logged = trace.time_min, trace.current_a, trace.voltage_v, trace.electrolyte_temp_c
    events = () if trace.by_hand else find_events(*logged, limit)
    conditions = area_dm2, alloy, electrolyte_temp_c, own_rate
    film, film_sd, basis = _film(trace, charge, missing, minutes, *conditions)
    apart, spread = ({}, 0.0) if not film else _films_apart(trace, charge, minutes, events, parts, *conditions)
    film_sd = film_sd and math.hypot(film_sd, spread)
    return TraceReport(
        charge_ah=charge,
        minutes=minutes,
        film_um=film,
        film_um_sd=film_sd,
        events=events,
        gaps=gaps,
        charge_in_gaps_ah=missing,
        columns=dict(trace.columns or {}),
        **apart,
        basis=Note("bench.log_charge", film=basis),
        cautions=_trace_cautions(events),
        notes=(
            *trace.notes,
            *(Note("bench.gap", **gap) for gap in gaps),
            Note("bench.films_apart" if apart else "bench.hidden_contact"),
        ),
    )


def _charge_between(trace, start_min, end_min):
    inside = (trace.time_min >= start_min) & (trace.time_min <= end_min)
    return charge_ah(trace.time_min[inside], trace.current_a[inside])


def charge_ah(time_min, current_a):
    """Charge under a log by the trapezoid rule, A·h."""
    return float(np.trapezoid(np.maximum(current_a, 0.0), time_min) / 60)


def _minutes_on(trace):
    """Time during which current flowed, hand notes from first to last."""
    if trace.by_hand:
        return float(trace.time_min[-1] - trace.time_min[0])
    flowing = trace.current_a > OFF_SHARE * np.quantile(trace.current_a, 0.95)
    both = flowing[1:] | flowing[:-1]
    return float(np.diff(trace.time_min)[both].sum())


def find_gaps(time_min):
    """Stretches without a row, much longer than the logger's own step: list of (start_min, end_min)."""
    steps = np.diff(time_min)
    if steps.size < 3:
        return []
    wide = np.flatnonzero(steps > max(_GAP_MIN, _GAP_STEPS * float(np.median(steps))))
    return [(float(time_min[i]), float(time_min[i + 1])) for i in wide]


def _film(trace, charge, missing, minutes, area_dm2, alloy, temp_c, own_rate):
    if area_dm2 is None:
        return None, None, Note("bench.no_area")
    area = check_figure("the area", check_value("area_dm2", area_dm2), "dm²", 0, 1000)
    if minutes <= 0:
        return 0.0, 0.0, Note("bench.never_on")
    density = charge * 60 / minutes / area
    rate = own_rate or growth_rate(density, _run_temp(trace, temp_c), alloy=alloy)
    film = float(rate.film_um(density, minutes))
    doubt = np.sqrt(rate.sd_fraction**2 + _CHARGE_SD**2 + (_GAP_SD * missing / max(charge, 1e-12)) ** 2)
    return film, float(film * doubt), rate.basis


def _films_apart(trace, charge, minutes, events, parts, area_dm2, alloy, temp_c, own_rate):
    """Films of the parts that kept their contact and of those that lost it, and how far films lie apart over the load.

    Until it was lost all parts grew alike; the charge after it went into those that kept it.
    """
    lost = next((event for event in events if event.kind == "contact_lost"), None)
    if lost is None:
        return {}, 0.0
    before = trace.time_min <= lost.time_min
    first = charge_ah(trace.time_min[before], trace.current_a[before])
    until = float(trace.time_min[before][-1] - trace.time_min[0])
    rate = own_rate or growth_rate(charge * 60 / minutes / area_dm2, _run_temp(trace, temp_c), alloy=alloy)
    films = {"film_lost_um": float(rate.film_um(first * 60 / max(until, 1e-9) / area_dm2, until))}
    share = _share_lost(lost.because, parts)
    if share is not None and share < 1:
        on_kept = first + (charge - first) / (1 - share)
        films["film_kept_um"] = float(rate.film_um(on_kept * 60 / minutes / area_dm2, minutes))
    doubt = math.hypot(float(rate.sd_fraction), _SHARE_SD)
    doubts = {f"{name}_sd": film * doubt for name, film in films.items()}
    kept, gone = films.get("film_kept_um"), films["film_lost_um"]
    return films | doubts, 0.0 if kept is None else math.sqrt(share * (1 - share)) * abs(kept - gone)


def _share_lost(because, parts):
    """Share of the load that lost its contact: by the fall of the current at a held voltage, else one of the parts."""
    if because.code == "bench.trickle":
        return 1.0
    fall = because.values.get("dx", 0.0)
    by_current = -math.expm1(fall) if fall < _LEAST_FALL else None
    if parts is None:
        return by_current
    count = 1 if by_current is None else min(max(round(by_current * parts), 1), parts - 1)
    return count / parts if parts > 1 else 1.0


def _run_temp(trace, given):
    """Temperature to work with: the log's where it leaves the working window, else what was given."""
    if trace.electrolyte_temp_c is None or not np.isfinite(trace.electrolyte_temp_c).any():
        return given
    logged = float(np.clip(np.nanmean(trace.electrolyte_temp_c), -10, 60))
    low, high = _WORK_TEMP_C
    return given if low <= logged <= high else logged


def _trace_cautions(events):
    kinds = {event.kind for event in events}
    hot = ("hot_electrolyte",) if kinds & {"runaway", "hot_electrolyte"} else ()
    return cautions_for("supply_off", "hydrogen", *hot)


def read_frame(frame):
    """Turn a table with our column names into a `Trace`.

    `frame` (DataFrame): time_min, current_a, optional voltage_v, electrolyte_temp_c.
    """
    missing = [name for name in ("time_min", "current_a") if name not in frame]
    if missing:
        raise RecordError(f"the trace lacks {', '.join(missing)}; columns time_min and current_a are needed")
    extras = [frame.get(name, None) for name in ("voltage_v", "electrolyte_temp_c")]
    return make_trace(frame["time_min"], frame["current_a"], *extras)


def find_events(
    time_min, current_a, voltage_v=None, electrolyte_temp_c=None, supply_max_a: float | None = None
) -> tuple[Event, ...]:
    """Find what happened in a run, from arrays of shape (N,).

    Events come in order of time, each kind once (its first), power breaks each. Without the limit of the supply,
    `supply_limit` is never reported.

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
        stays = hot[i : np.searchsorted(when, when[i] + _STAYS_MIN) + 1]
        if stays.size >= 2 and stays.all():
            seen = Note("bench.hot", limit_temp_c=HOT_TEMP_C, highest_temp_c=float(warmth.max()))
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
        return [("contact_lost", t[stop], Note("bench.trickle"))]
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
        cases = [case for case in cases if case.end_min < dropouts[0] - _LATE_CHANGE_MIN]
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
        stays = at_limit[i : max(i + 3, np.searchsorted(when, when[i] + _STAYS_MIN) + 1)]
        if stays.size >= 3 and stays.mean() > 0.8:
            driven = [at for kind, at, _ in found if kind in ("short", "runaway") and at <= when[i] + 1]
            return [] if driven else [("supply_limit", when[i], Note("bench.at_limit", supply_max_a=supply_max_a))]
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


def find_breaks_and_dropouts(log: RunLog) -> list[tuple]:
    """Return power breaks and intermittent contacts as (kind, time_min, because).

    Marks in `log.masked` what later steps must not read as a level.
    """
    spells = [(a, b) for a, b in log.off if a > log.settled]
    dips = _real_dips(log, find_dips(log, log.x, max(_LEAST_DIP, 6 * noise_of(log.x))))
    cluster = _cluster(log.t, dips) or _plain_dips(log, dips)
    _mask(log, [(dip.start, dip.stop) for dip in dips])
    _mask(log, spells)
    for _, stop in spells:
        _mask_soft_start(log, stop)
    if cluster and not _is_flicker(log, cluster):
        events = [("intermittent_contact", log.t[cluster[0].start], Note("bench.dropouts", count=len(cluster)))]
        usual = float(np.median([_length(log, dip.start, dip.stop) for dip in cluster]))
        spells = [spell for spell in spells if _length(log, *spell) > max(1.5, 3.5 * log.step_min, 4 * usual)]
        return events + _breaks(log, spells)
    return _breaks(log, spells) + ([] if spells else _voltage_dropouts(log))


def _real_dips(log, dips):
    """Dips that go below what the run had shown before the first of them; noise on a raised level does not."""
    if not dips:
        return []
    before = log.x[log.settled : dips[0].start + 1]
    usual = float(min(np.median(before), np.median(before[-_LATELY:])))
    return [dip for dip in dips if log.x[dip.start : dip.stop].min() < usual - _BEYOND_USUAL * _LEAST_DIP]


def _cluster(t, dips):
    """The dips from the first that has enough followers near by."""
    for i in range(len(dips) - _COUNT + 1):
        if t[dips[i + _COUNT - 1].start] - t[dips[i].start] <= _CLUSTER_MIN:
            return dips[i:]
    return []


def _plain_dips(log, dips):
    """Fewer dips, but deep ones that cannot be noise nor the supply: current falls far, not to nothing."""
    deep = [dip for dip in dips if dip.depth > _DEEP_DIP and log.x[dip.start : dip.stop].min() > _TRICKLE]
    deep = [dip for dip in deep if log.v is None or _rise(log.v, dip) > -0.1]
    long = [dip for dip in deep if dip.stop - dip.start >= 2 and _length(log, dip.start, dip.stop) > 8 / 60]
    slow = deep if log.step_min > 9 / 60 and len(deep) >= 2 else []
    return slow or long


def _is_flicker(log, cluster):
    """Whether the supply, not a contact, went off each time."""
    dead = [dip for dip in cluster if log.x[dip.start : dip.stop].min() < _DEAD]
    if len(dead) < len(cluster):
        return False
    if log.v is not None:
        return all(np.median(log.v[dip.start : dip.stop]) < _VOLTAGE_OFF for dip in dead)
    lengths = [_length(log, dip.start, dip.stop) for dip in dead]
    return len(dead) == _COUNT and float(np.median(lengths)) > max(_BRIEF_MIN, 2.5 * log.step_min)


def _breaks(log, spells):
    if not spells:
        return []
    alive = log.v is not None and np.median([np.median(log.v[a:b]) for a, b in spells]) > _VOLTAGE_OFF
    if alive:
        start, stop = spells[0]
        seen = Note("bench.no_current_with_voltage", minutes=_length(log, start, stop))
        return [("intermittent_contact", log.t[start], seen)]
    return [("power_break", log.t[a], Note("bench.no_current", minutes=_length(log, a, b))) for a, b in spells]


def _voltage_dropouts(log):
    """At constant current a contact that comes and goes shows as voltage that leaps up and falls back."""
    if log.v is None:
        return []
    sags = find_dips(log, -log.v, np.clip(6 * noise_of(log.v), _LEAST_SAG, _MOST_SAG))
    cluster = _cluster(log.t, sags)
    if not cluster:
        return []
    first = cluster[0].start
    before, after = log.v[log.settled : first], log.v[first:]
    if before.size and np.median(after) < np.median(before[-_LATELY:]) - 0.1:
        return []  # a voltage that gives way and staggers is no contact
    _mask(log, [(sag.start, sag.stop) for sag in sags])
    return [("intermittent_contact", log.t[first], Note("bench.voltage_leaps", count=len(cluster)))]


def find_surges(log: RunLog) -> list[tuple]:
    """Return brief shorts as (kind, time_min, because): current that leaps up, or voltage that collapses, and back."""
    leaps = find_dips(log, -log.x, max(_LEAST_SURGE, 8 * noise_of(log.x)), _SURGE_MIN)
    usual = _usual(log.x, log.settled)
    leaps = [dip for dip in leaps if log.x[dip.start : dip.stop].max() > usual(dip) + _BEYOND_USUAL * _LEAST_SURGE]
    leaps = [dip for dip in leaps if log.v is None or _rise(log.v, dip) < 0.05]
    if log.v is not None:
        falls = find_dips(log, log.v, max(_COLLAPSE, 8 * noise_of(log.v)), _SURGE_MIN)
        leaps += [dip for dip in falls if _rise(log.x, dip) > -0.3]
    leaps = [dip for dip in leaps if _lasts(log, dip) and not log.masked[dip.start]]
    if not leaps:
        return []
    _mask(log, [(dip.start, dip.stop) for dip in leaps])
    first = min(leaps, key=lambda dip: dip.start)
    return [("short", log.t[first.start], Note("bench.brief_leap", factor=float(np.exp(first.depth))))]


def _usual(values, settled):
    """Level before a dip, by the whole run so far and by the last while, whichever is higher."""

    def level(dip):
        before = values[settled : dip.start + 1]
        return float(max(np.median(before), np.median(before[-_LATELY:])))

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

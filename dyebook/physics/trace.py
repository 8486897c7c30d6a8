"""What a run's log tells: charge, film, gaps and events."""

from dataclasses import dataclass

import numpy as np

from dyebook.errors import RecordError
from dyebook.physics.answer import Answer, check_figure
from dyebook.physics.cautions import cautions_for
from dyebook.physics.rates import growth_rate
from dyebook.physics.trace_events import find_events
from dyebook.physics.trace_read import make_trace
from dyebook.record import check_value

__all__ = ["TraceReport", "charge_ah", "find_gaps", "read_frame", "report_trace"]

_GAP_STEPS = 5.0
_GAP_MIN = 0.5
_WORK_TEMP_C = (18.0, 23.0)  # inside it the plain rule is used whatever the log's thermometer says
_GAP_SD = 0.3  # doubt of the charge that flowed where nothing was logged
_CHARGE_SD = 0.01

_CONSTANT_CURRENT_NOTE = (
    "at constant current one lost contact among n parts does not show in the total: the others get n/(n - m) of the "
    "film; measure every part"
)


@dataclass(frozen=True, kw_only=True)
class TraceReport(Answer):
    """What a run's log tells.

    Attributes
    ----------
    charge_ah, minutes : float
        Charge, and how long current flowed.
    film_um, film_um_sd : float or None
        None without an area.
    events : tuple of Event
    gaps : tuple of dict
        Where nothing was logged: start_min, end_min.
    charge_in_gaps_ah : float
        Charge read across the gaps by straight lines.
    columns : dict
        Header that each quantity was read from.
    """

    charge_ah: float
    minutes: float
    film_um: float | None
    film_um_sd: float | None
    events: tuple
    gaps: tuple
    charge_in_gaps_ah: float
    columns: dict


def charge_ah(time_min, current_a):
    """Charge under a log by the trapezoid rule, A·h."""
    return float(np.trapezoid(np.maximum(current_a, 0.0), time_min) / 60)


def find_gaps(time_min):
    """Stretches without a row, much longer than the logger's own step: list of (start_min, end_min)."""
    steps = np.diff(time_min)
    if steps.size < 3:
        return []
    wide = np.flatnonzero(steps > max(_GAP_MIN, _GAP_STEPS * float(np.median(steps))))
    return [(float(time_min[i]), float(time_min[i + 1])) for i in wide]


def report_trace(trace, *, area_dm2=None, supply_max_a=None, alloy=None, electrolyte_temp_c=None, own_rate=None):
    """Charge, film and events of a log.

    Parameters
    ----------
    trace : Trace
    area_dm2 : float, optional
        Wetted area; no film without it.
    supply_max_a : float, optional
        The supply's limit; `supply_limit` is only reported against it.
    alloy : str, optional
    electrolyte_temp_c : float, optional
        Of the run; a logged temperature outside 18 to 23 °C takes its place.
    own_rate : GrowthRate, optional
        What the shop's gauge has taught.

    Returns
    -------
    TraceReport
    """
    limit = None if supply_max_a is None else check_figure("the supply's limit", supply_max_a, "A", 0, 1e5)
    charge = charge_ah(trace.time_min, trace.current_a)
    gaps = [] if trace.by_hand else find_gaps(trace.time_min)
    missing = sum(_charge_between(trace, *gap) for gap in gaps)
    minutes = _minutes_on(trace)
    events = () if trace.by_hand else _events(trace, limit)
    film, film_sd, basis = _film(trace, charge, missing, minutes, area_dm2, alloy, electrolyte_temp_c, own_rate)
    return TraceReport(
        charge_ah=charge,
        minutes=minutes,
        film_um=film,
        film_um_sd=film_sd,
        events=events,
        gaps=tuple({"start_min": start, "end_min": end} for start, end in gaps),
        charge_in_gaps_ah=missing,
        columns=dict(trace.columns or {}),
        basis=f"charge by the trapezoid rule; {basis}",
        cautions=_trace_cautions(events),
        notes=(*trace.notes, *_gap_notes(gaps), _CONSTANT_CURRENT_NOTE),
    )


def _events(trace, limit):
    return find_events(trace.time_min, trace.current_a, trace.voltage_v, trace.electrolyte_temp_c, limit)


def _charge_between(trace, start, end):
    inside = (trace.time_min >= start) & (trace.time_min <= end)
    return charge_ah(trace.time_min[inside], trace.current_a[inside])


def _minutes_on(trace):
    """Time during which current flowed, hand notes from first to last."""
    if trace.by_hand:
        return float(trace.time_min[-1] - trace.time_min[0])
    flowing = trace.current_a > 0.06 * np.quantile(trace.current_a, 0.95)
    both = flowing[1:] | flowing[:-1]
    return float(np.diff(trace.time_min)[both].sum())


def _film(trace, charge, missing, minutes, area_dm2, alloy, temp_c, own_rate):
    if area_dm2 is None:
        return None, None, "no film without an area"
    area = check_figure("the area", check_value("area_dm2", area_dm2), "dm²", 0, 1000)
    if minutes <= 0:
        return 0.0, 0.0, "no current flowed"
    density = charge * 60 / minutes / area
    rate = own_rate or growth_rate(density, _run_temp(trace, temp_c), alloy=alloy)
    film = float(rate.film_um(density, minutes))
    doubt = np.sqrt(rate.sd_fraction**2 + _CHARGE_SD**2 + (_GAP_SD * missing / max(charge, 1e-12)) ** 2)
    return film, float(film * doubt), rate.basis


def _run_temp(trace, given):
    """Temperature to reckon with: the log's where it leaves the working window, else what was given."""
    if trace.electrolyte_temp_c is None or not np.isfinite(trace.electrolyte_temp_c).any():
        return given
    logged = float(np.clip(np.nanmean(trace.electrolyte_temp_c), -10, 60))
    low, high = _WORK_TEMP_C
    return given if low <= logged <= high else logged


def _trace_cautions(events):
    kinds = {event.kind for event in events}
    hot = ("hot_electrolyte",) if kinds & {"runaway", "hot_electrolyte"} else ()
    return cautions_for("supply_off", "hydrogen", *hot)


def _gap_notes(gaps):
    return tuple(f"nothing logged from {start:.1f} to {end:.1f} min: charge by a straight line" for start, end in gaps)


def read_frame(frame):
    """Turn a table with our column names into a `Trace`.

    Parameters
    ----------
    frame : DataFrame
        time_min, current_a, optional voltage_v, electrolyte_temp_c.

    Returns
    -------
    Trace
    """
    missing = [name for name in ("time_min", "current_a") if name not in frame]
    if missing:
        raise RecordError(f"the trace lacks {', '.join(missing)}; columns time_min and current_a are needed")
    extras = [frame.get(name, None) for name in ("voltage_v", "electrolyte_temp_c")]
    return make_trace(frame["time_min"], frame["current_a"], *extras)

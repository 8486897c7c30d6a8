"""What a batch shows, as states of the table of causes, each with how likely what was seen is under it."""

import numpy as np

from dyebook.advice.causes import STATES
from dyebook.advice.flaw_evidence import flaw_evidence
from dyebook.advice.part_evidence import part_evidence
from dyebook.advice.photo_parts import parts_of_photo
from dyebook.advice.seen import Seen, sure
from dyebook.errors import RecordError
from dyebook.lab import delta_e_00, describe_difference
from dyebook.record import FIELDS, check_value, is_empty

__all__ = ["Seen", "checked_record", "gather", "kinds_of"]

# film against plan: edges of the states, and how far the outer ones reach; an ordinary run keeps within 8 %
_FILM_EDGES = (0.2, 0.8, 0.91, 1.12, 1.7)
_GAUGE_SD, _CHARGE_SD = 0.05, 0.10
_READING_U = (0.8, 0.8, 0.8)
_DOUBT_LIMITS = (0.6, 3.0)
_WET_U = 3.0  # water on the surface deepens a reading; by how much has no source
_RINSE_EDGES_C = (35.0, 50.0)  # D-16: keep the rinse below 30 °C; pores close when hot
_WAIT_EDGES_MIN = (15.0, 60.0)  # D-10, D-14: dye at once; where "at once" ends is common practice, no source
_PH_OFF = 0.6
_TEMP_OFF_C = 6.0
_UNEVEN_EDGES_DELTA_E00 = (2.0, 3.5)
_DIFFICULT_FACTOR = 0.95  # families whose films fall short of a reference alloy's by more: copper, zinc, casting alloys

# explanations of a colour that are named: at most so many, and nearly as good as the best
_MOST_NAMED, _NEARLY = 3, 0.5
_CHANGE_WORDS = {
    "thinner film": "a thinner film", "weaker bath": "a weaker bath", "colder bath": "a colder bath",
    "shorter dip": "a shorter dip", "less taken up": "less dye taken up", "a little bled": "some dye bled out",
    "more dye": "more dye", "pH moved": "another pH", "hue shifted": "a shifted hue",
    "foreign dye": "a foreign dye in the bath", "another dye": "another dye", "greyed": "a grey metal",
    "other metal": "another metal", "veiled": "a white veil", "bare in places": "bare places",
}  # fmt: skip

_EVENTS = {
    "contact_lost": "contact", "intermittent_contact": "contact", "runaway": "surge", "short": "surge",
    "power_break": "break", "supply_limit": "break", "hot_electrolyte": "hot",
}  # fmt: skip
_EVENT_ORDER = ("surge", "contact", "break", "hot")


def gather(record, model=None, measurement=None, trace=None, before=None):
    """Return all that is at hand, as a list of `Seen`.

    Parameters
    ----------
    record : dict or Series
    model : BathModel, optional
    measurement : Measurement or dict, optional
    trace : DataFrame, optional
    before : Seen, optional
        How the bath's dips just before this one came out: see `dyebook.advice.before`.

    Returns
    -------
    list of Seen

    Raises
    ------
    RecordError
        If a figure of the record is impossible.
    """
    record = checked_record(record)
    parts = parts_of_photo(measurement)
    seen = _colour(record, model, parts) + _gauge(record) + flaw_evidence(parts) + _evenness(parts)
    seen += part_evidence(parts) + _trace(record, trace) + _settings(record, model)
    return seen + ([] if before is None else [before])


def kinds_of(record, seen):
    """Return the kinds of evidence at hand, and what else makes a question idle: ``sealed`` film, a bath noted cold.

    Parameters
    ----------
    record : dict
        Checked.
    seen : list of Seen

    Returns
    -------
    set of str
    """
    cold = any(item.kind == "temp" and item.chances[STATES["temp"].index("colder")] == 1 for item in seen)
    idle = {"sealed": bool(record.get("sealed")), "noted cold": cold}
    return {item.kind for item in seen} | {name for name, so in idle.items() if so}


def checked_record(record):
    """Return the fields of a record, checked, as a dict: of a mapping, a Series, or a DataFrame of one row."""
    if getattr(record, "ndim", 1) == 2:
        if len(record) != 1:
            raise RecordError(f"the record is a table of {len(record)} rows; give the row of one dip, as table.iloc[0]")
        record = record.iloc[0]
    if not hasattr(record, "items"):
        raise RecordError(f"the record is a {type(record).__name__}; a dict, or a row of a DataFrame, is needed")
    return {name: check_value(name, value) for name, value in record.items() if name in FIELDS}


def _known(record, *names):
    return not any(is_empty(record.get(name)) for name in names)


def _colour(record, model, parts):
    """How likely the reading is after each change of the colour that the settings should give."""
    lab, u = _reading(record, parts, _READING_U if model is None else _usual_doubt(model))
    if model is None or lab is None or not _known(record, "dye_g_per_l", "bath_temp_c", "dwell_min"):
        return []
    from dyebook.advice.changes import change_likelihoods, play_changes

    usual = _as_usual(record, model)
    moved = _known(record, "ph") and usual["ph"] != record["ph"]
    plays = play_changes(model, usual, noted_ph=record["ph"] if moved else None)
    chances = change_likelihoods(plays, lab, u)
    middle = np.median(plays["as set"], axis=0)
    words = f"against what the bath should give the reading is {describe_difference(middle, lab)}"
    words += f" (ΔE00 {float(delta_e_00(middle, lab)):.1f}), {_explained(chances)}"
    return [Seen("colour", tuple(chances / chances.max()), words)]


def _as_usual(record, model):
    """The record with settings that the bath never has put back to its usual: then they are the change."""
    usual = model.training.settings
    low, high = np.quantile(usual.bath_temp_c, [0.05, 0.95])
    temp = float(np.clip(record["bath_temp_c"], low - _TEMP_OFF_C, high + _TEMP_OFF_C))
    back = {"bath_temp_c": temp}
    middle = float(np.median(usual.ph))
    if _known(record, "ph") and abs(record["ph"] - middle) > _PH_OFF:
        back["ph"] = middle
    return record | back


def _explained(chances):
    """The changes that explain a reading best, in words."""
    order = np.argsort(-chances)[:_MOST_NAMED]
    best = [STATES["colour"][i] for i in order if chances[i] > _NEARLY * chances.max()]
    names = [_CHANGE_WORDS[name] for name in best if name != "as set"]
    listed = ", ".join(names[:-1]) + " or " * (len(names) > 1) + "".join(names[-1:])
    pieces = ["as expected"] * ("as set" in best) + [f"as from {listed}"] * bool(names)
    return ", or ".join(pieces)


def _usual_doubt(model):
    """Doubt of a reading whose own nobody noted: as the bath's readings scatter about its fit, within reason."""
    parts = [(part.hyper.reading_scale, len(part.departures)) for part in model.draws]
    scale = np.average([one for one, _ in parts], weights=[count for _, count in parts])
    return np.clip(scale * np.median(model.training.lab_sd, axis=0), *_DOUBT_LIMITS)


def _reading(record, parts, usual_u=_READING_U):
    """Colour and its standard uncertainty, from the record, else from the photo; `usual_u` where nobody noted it."""
    wet = _WET_U if record.get("wet") else 0.0
    if _known(record, "L", "a", "b"):
        u = [record[f"{n}_sd"] if _known(record, f"{n}_sd") else d for n, d in zip("Lab", usual_u, strict=True)]
        return np.array([record["L"], record["a"], record["b"]]), np.hypot(u, wet)
    labs = [part["lab"] for part in parts if part["lab"]]
    if labs:
        u = [part["lab_u"] or _READING_U for part in parts if part["lab"]]
        return np.median(labs, axis=0), np.hypot(np.median(u, axis=0), wet)
    return None, None


def _ratio(kind, ratio, sd, words):
    """How likely a measured film (against plan) is for each state, films within a state being equally likely."""
    from scipy.stats import norm

    edges = np.log(_FILM_EDGES)
    share = np.diff(norm.cdf((edges - np.log(np.clip(ratio, *_FILM_EDGES[::4]))) / sd))
    return Seen(kind, tuple(np.maximum(share, 1e-6) / np.diff(edges)), words)


def _gauge(record):
    if not _known(record, "film_um", "film_measured_um"):
        return []
    film, plan = record["film_measured_um"], record["film_um"]
    return [_ratio("film", film / plan, _GAUGE_SD, f"the gauge reads {film:.1f} µm where {plan:.1f} µm was planned")]


def _evenness(parts):
    spread = [part["uniformity"] for part in parts if part.get("uniformity") is not None]
    spread = [value for value in spread if value == value]
    if not spread:
        return []
    state = STATES["even"][int(np.digitize(max(spread), _UNEVEN_EDGES_DELTA_E00))]
    return [sure("even", state, f"the surface is {state} (ΔE00 {max(spread):.1f})")]


def _trace(record, trace):
    """Events of the log, and the film that its charge gives."""
    if trace is None:
        return []
    from dyebook.physics.trace import read_frame, report_trace

    area = record["area_dm2"] if _known(record, "area_dm2") else None
    alloy = record.get("alloy")
    report = report_trace(read_frame(trace), area_dm2=area, alloy=alloy)
    kinds = {_EVENTS[event.kind]: event for event in reversed(report.events)}
    first = next((kind for kind in _EVENT_ORDER if kind in kinds), "none")
    if first == "none":
        seen = [sure("event", "none", "the run's log shows nothing unusual")]
    else:
        event = kinds[first]
        seen = [sure("event", first, f"the run's log shows {event.kind.replace('_', ' ')} at {event.time_min:.0f} min")]
    if area is not None and report.film_um and _known(record, "film_um"):
        plan = record["film_um"]
        words = f"the charge gives {report.film_um:.1f} µm where {plan:.1f} µm was planned"
        seen.append(_ratio("charge", report.film_um / plan, _CHARGE_SD, words))
    return seen


def _settings(record, model):
    seen = []
    if _known(record, "rinse_temp_c"):
        temp = record["rinse_temp_c"]
        state = STATES["rinse"][int(np.digitize(temp, _RINSE_EDGES_C))]
        seen.append(sure("rinse", state, f"the rinse before the dye was {temp:.0f} °C ({state})"))
    if _known(record, "wait_min"):
        wait = record["wait_min"]
        state = STATES["wait"][int(np.digitize(wait, _WAIT_EDGES_MIN))]
        seen.append(sure("wait", state, f"it waited {wait:.0f} min between rinse and dye ({state})"))
    usual = None if model is None else getattr(model, "training", None)
    if usual is not None:
        seen += _against_usual(record, usual.settings)
    return seen + _alloy(record, usual)


def _against_usual(record, usual):
    """Settings as noted against those that the bath's dips had."""
    seen = []
    if _known(record, "ph"):
        step = record["ph"] - float(np.median(usual.ph))
        state = "off" if abs(step) > _PH_OFF else "usual"
        seen.append(sure("ph", state, f"the pH was {record['ph']:.1f}, {step:+.1f} from the bath's usual"))
    if _known(record, "bath_temp_c"):
        low, high = np.quantile(usual.bath_temp_c, [0.05, 0.95])
        temp = record["bath_temp_c"]
        state = "colder" if temp < low - _TEMP_OFF_C else "warmer" if temp > high + _TEMP_OFF_C else "usual"
        words = f"the bath was {temp:.0f} °C, {state}" + (" than it ever is" if state != "usual" else " for it")
        seen.append(sure("temp", state, words))
    if _known(record, "dwell_min"):
        low, high = np.quantile(usual.dwell_min, [0.05, 0.95])
        state = "short" if record["dwell_min"] < low else "long" if record["dwell_min"] > high else "usual"
        seen.append(sure("dwell", state, f"the dwell was {record['dwell_min']:.1f} min, {state} for this bath"))
    return seen


def _alloy(record, usual):
    """Whether the alloy is the bath's usual one, or one that is known to be difficult."""
    from dyebook.physics.rates import alloy_factor

    alloy = record.get("alloy")
    if not alloy:
        return []
    if alloy_factor(alloy).factor < _DIFFICULT_FACTOR:
        return [sure("alloy", "difficult", f"{alloy} is a difficult alloy for dye work")]
    habit = None if usual is None else usual.circumstances.usual.get("alloy")
    if habit is None:
        return []
    state = "usual" if habit == alloy else "other"
    return [sure("alloy", state, f"the alloy is {alloy}, {'as usual' if state == 'usual' else f'usually {habit}'}")]

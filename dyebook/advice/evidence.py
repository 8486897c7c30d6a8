"""What a batch shows, as states of the table of causes, each with how likely it is that it truly is so."""

from dataclasses import dataclass

import numpy as np

from dyebook.advice.causes import FLAW_KINDS, STATES
from dyebook.lab import delta_e_00, describe_difference
from dyebook.record import Measurement, check_value

__all__ = ["Seen", "gather"]

# CIELAB steps along the line of depth, and beside it
_DEPTH_EDGES = (-12.0, -3.5, 3.5, 12.0)
_BESIDE_EDGES = (3.5, 9.0, 20.0)
# film against plan; an ordinary run keeps within 8 %
_FILM_EDGES = (0.8, 0.91, 1.12)
_GAUGE_SD, _CHARGE_SD = 0.05, 0.10
_READING_U = (0.8, 0.8, 0.8)
# how well a batch repeats, beyond reading and model: strength, temperature and time are only nearly as noted
_REPEAT_SD = 1.0
_RINSE_EDGES_C = (35.0, 50.0)  # D-16: keep the rinse below 30 °C; pores close when hot
_PH_OFF = 0.6
_UNEVEN_DELTA_E00 = 2.0
_CLEAR_DELTA_E00 = 4.0  # a fainter flaw is the likelier mistaken
_PARTS_DELTA_E00 = 3.0
_DIFFICULT_FACTOR = 0.95  # families whose films fall short of a reference alloy's by more: copper, zinc, casting alloys


_EVENTS = {
    "contact_lost": "contact", "intermittent_contact": "contact", "runaway": "surge", "short": "surge",
    "power_break": "break", "supply_limit": "break", "hot_electrolyte": "hot",
}  # fmt: skip
_EVENT_ORDER = ("surge", "contact", "break", "hot")


@dataclass(frozen=True)
class Seen:
    """One kind of evidence.

    Attributes
    ----------
    kind : str
        Key of the table of causes.
    chances : tuple of float
        How likely each state is, in the table's order; for a kind of flaw, how clear it is (0 = none seen) and on how
        many parts it was looked for.
    words : str
        What was seen.
    """

    kind: str
    chances: tuple
    words: str


def gather(record, model=None, measurement=None, trace=None):
    """Return all that is at hand, as a list of `Seen`.

    Parameters
    ----------
    record : dict or Series
    model : BathModel, optional
    measurement : Measurement or dict, optional
    trace : DataFrame, optional

    Returns
    -------
    list of Seen

    Raises
    ------
    RecordError
        If a figure of the record is impossible.
    """
    record = _checked(record)
    photo = measurement.to_dict() if isinstance(measurement, Measurement) else measurement
    parts = [] if photo is None else photo["parts"]
    seen = _colour(record, model, parts) + _gauge(record) + _flaws(parts) + _part_to_part(parts)
    seen += _trace(record, trace) + _settings(record, model)
    return seen


def _checked(record):
    from dyebook.record import FIELDS

    return {name: check_value(name, value) for name, value in dict(record).items() if name in FIELDS}


def _known(record, *names):
    values = [record.get(name) for name in names]
    return all(value is not None and not (isinstance(value, float) and np.isnan(value)) for value in values)


def _sure(kind, state, words):
    return Seen(kind, tuple(float(name == state) for name in STATES[kind]), words)


def _colour(record, model, parts):
    """How far along the bath's own line of depth the reading lies, and how far beside it."""
    lab, u = _reading(record, parts)
    if model is None or lab is None or not _known(record, "dye_g_per_l", "bath_temp_c", "dwell_min"):
        return []
    from dyebook.advice.depth import depth_line, expected_draws

    expected = expected_draws(model, record)
    line, sides = depth_line(model, record)
    rng = np.random.default_rng(0)
    away = lab - expected + rng.normal(0, u, expected.shape)
    middle = expected.mean(axis=0)
    along, beside = _place(middle + away, middle, line, sides)
    depth = np.bincount(np.digitize(along, _DEPTH_EDGES), minlength=5) / along.size
    other = np.bincount(_beside_state(beside), minlength=6) / along.size
    gap = float(np.median(np.linalg.norm(beside[:, :3], axis=1)))
    return [
        Seen("depth", tuple(depth), f"against what the bath should give the reading is "
             f"{describe_difference(middle, lab)} (ΔE00 {float(delta_e_00(middle, lab)):.1f}), "
             f"{_depth_words(float(np.median(along)))}"),
        Seen("beside", tuple(other), f"it lies {gap:.1f} beside the bath's own line of depth"),
    ]  # fmt: skip


def _depth_words(step):
    way = "deeper" if step > 0 else "paler"
    return "on its depth" if abs(step) < _DEPTH_EDGES[2] else f"{abs(step):.0f} {way} along its line"


def _reading(record, parts):
    """Colour and its standard uncertainty (with how well batches repeat), from the record, else from the photo."""
    repeat = _REPEAT_SD / np.sqrt(3)
    if _known(record, "L", "a", "b"):
        u = [record[f"{n}_sd"] if _known(record, f"{n}_sd") else d for n, d in zip("Lab", _READING_U, strict=True)]
        return np.array([record["L"], record["a"], record["b"]]), np.hypot(u, repeat)
    if parts:
        u = [[0.8 if v is None else v for v in part.get("lab_u") or _READING_U] for part in parts]
        return np.median([part["lab"] for part in parts], axis=0), np.hypot(np.median(u, axis=0), repeat)
    return None, None


def _place(colours, middle, line, sides):
    """Signed way (n,) along the line from its middle, and what is left beside it: ΔL, ΔC, ΔH (n, 3)."""
    from dyebook.advice.verdict import split_difference

    near = np.argmin(np.sum((colours[:, None] - line) ** 2, axis=-1), axis=1)
    steps = np.linalg.norm(line - middle, axis=1)
    return sides[near] * steps[near], split_difference(line[near], colours)


def _beside_state(beside):
    """Index into STATES["beside"]."""
    lighter, stronger, turned = beside.T
    size = np.linalg.norm(beside, axis=1)
    hue = np.abs(turned) >= np.maximum(np.maximum(-stronger, 0), np.abs(lighter))
    step = np.digitize(size, _BESIDE_EDGES)
    state = np.where(hue | (stronger > np.abs(lighter)), step, np.where(lighter > 0, 5, 4))
    return np.where(step == 0, 0, state)


def _ratio(kind, ratio, sd, words):
    """State of a film against plan, with the doubt of the figure."""
    from scipy.stats import norm

    edges = norm.cdf((np.log(_FILM_EDGES) - np.log(max(ratio, 1e-3))) / sd)
    return Seen(kind, tuple(np.diff([0.0, *edges, 1.0])), words)


def _gauge(record):
    if not _known(record, "film_um", "film_measured_um"):
        return []
    film, plan = record["film_measured_um"], record["film_um"]
    return [_ratio("film", film / plan, _GAUGE_SD, f"the gauge reads {film:.1f} µm where {plan:.1f} µm was planned")]


def _flaws(parts):
    """Each kind of flaw: on any part or on none."""
    if not parts:
        return []
    found = [flaw for part in parts for flaw in part.get("flaws", ())]
    seen = []
    for kind in FLAW_KINDS:
        sizes, name = [_size(flaw) for flaw in found if flaw["kind"] == kind], kind.replace("_", " ")
        words = f"{len(sizes)} × {name} on the photo, up to ΔE00 {max(sizes):.0f}" if sizes else f"no {name}"
        weight = float(np.clip(max(sizes) / _CLEAR_DELTA_E00, 0.3, 1.0)) if sizes else 0.0
        seen.append(Seen(kind, (weight, len(parts)), words))
    spread = [part["uniformity"] for part in parts if part.get("uniformity") is not None]
    if spread:
        state = "uneven" if max(spread) > _UNEVEN_DELTA_E00 else "even"
        seen.append(_sure("even", state, f"the surface is {state} (ΔE00 {max(spread):.1f})"))
    return seen


def _size(flaw):
    """ΔE00 of a flaw; one whose size nobody gave is taken as clear."""
    size = flaw.get("delta_e00")
    return _CLEAR_DELTA_E00 if size is None else size


def _part_to_part(parts):
    if len(parts) < 2:
        return []
    lab = np.array([part["lab"] for part in parts])
    apart = delta_e_00(np.broadcast_to(np.median(lab, axis=0), lab.shape), lab)
    off = np.flatnonzero(apart > _PARTS_DELTA_E00)
    if not off.size:
        return [_sure("parts", "alike", f"the {len(parts)} parts are alike (within ΔE00 {apart.max():.1f})")]
    pale = off.size == 1 and lab[off[0], 0] > np.median(lab[:, 0]) + 2
    state = "one pale" if pale else "spread"
    words = f"part {off[0] + 1} is paler than its neighbours" if pale else "the parts differ among themselves"
    return [_sure("parts", state, f"{words} (ΔE00 {apart.max():.1f})")]


def _trace(record, trace):
    """Events of the log, and the film that its charge gives."""
    if trace is None:
        return []
    from dyebook.physics.trace import read_frame, report_trace

    log = read_frame(trace)
    area = record["area_dm2"] if _known(record, "area_dm2") else None
    report = report_trace(log, area_dm2=area, alloy=record.get("alloy") or None)
    kinds = {_EVENTS[event.kind]: event for event in reversed(report.events)}
    first = next((state for state in _EVENT_ORDER if state in kinds), "none")
    words = "the log shows nothing out of the way" if first == "none" else f"the log: {kinds[first].because}"
    seen = [] if log.by_hand else [_sure("event", first, words)]
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
        seen.append(_sure("rinse", state, f"the rinse before the dye was {temp:.0f} °C ({state})"))
    usual = None if model is None else getattr(model, "training", None)
    if usual is not None and _known(record, "ph"):
        step = record["ph"] - float(np.median(usual.settings.ph))
        state = "off" if abs(step) > _PH_OFF else "usual"
        seen.append(_sure("ph", state, f"the pH was {record['ph']:.1f}, {step:+.1f} from the bath's usual"))
    if usual is not None and _known(record, "dwell_min"):
        low, high = np.quantile(usual.settings.dwell_min, [0.05, 0.95])
        state = "short" if record["dwell_min"] < low else "long" if record["dwell_min"] > high else "usual"
        seen.append(_sure("dwell", state, f"the dwell was {record['dwell_min']:.1f} min, {state} for this bath"))
    return seen + _alloy(record, usual)


def _alloy(record, usual):
    """Whether the alloy is the bath's usual one, or one that is known to be difficult."""
    from dyebook.physics.rates import alloy_factor

    alloy = record.get("alloy")
    if not alloy:
        return []
    if alloy_factor(alloy).factor < _DIFFICULT_FACTOR:
        return [_sure("alloy", "difficult", f"{alloy} is a difficult alloy for dye work")]
    habit = None if usual is None else usual.circumstances.usual.get("alloy")
    if habit is None:
        return []
    state = "usual" if habit == alloy else "other"
    return [_sure("alloy", state, f"the alloy is {alloy}, {'as usual' if state == 'usual' else f'usually {habit}'}")]

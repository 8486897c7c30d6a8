"""What a batch shows, as states of the table of causes, each with how likely what was seen is under it.

`gather` asks each source in turn: the reading against what the bath should give, the gauge, the photo (flaws, evenness,
how its parts differ), the run's log, and the settings as noted against the bath's usual ones. A source that is not at
hand says nothing.
"""

import math
from collections.abc import Mapping

import numpy as np

from dyebook.advice.causes import FLAW_KINDS, STATES, Seen, sure
from dyebook.advice.judge import ERROR_PARTS
from dyebook.errors import RecordError
from dyebook.lab import delta_e_00, describe_difference
from dyebook.notebook import Note
from dyebook.record import FIELDS, Measurement, Reading, check_value, is_empty

__all__ = ["Seen", "checked_record", "flaw_evidence", "gather", "kinds_of", "part_evidence", "parts_of_photo"]


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
_UNEVEN_EDGES_DELTA_E00 = (2.0, 3.5, 6.0)
_DIFFICULT_FACTOR = 0.95  # families whose films fall short of a reference alloy's by more: copper, zinc, casting alloys

# explanations of a colour that are named: at most so many, and nearly as good as the best
_MOST_NAMED, _NEARLY = 3, 0.5

_EVENTS = {
    "contact_lost": "contact", "intermittent_contact": "contact", "runaway": "surge", "short": "surge",
    "power_break": "break", "supply_limit": "break", "hot_electrolyte": "hot",
}  # fmt: skip
_EVENT_ORDER = ("surge", "contact", "break", "hot")


def gather(
    record, model=None, measurement: Measurement | dict | None = None, trace=None, before: Seen | None = None
) -> list[Seen]:
    """Return all that is at hand, as a list of `Seen`.

    `record`: dict or Series. `before`: how the bath's dips just before this one came out: see `dyebook.advice.drift`.
    """
    record = checked_record(record)
    parts = parts_of_photo(measurement)
    seen = _colour(record, model, parts) + _gauge(record) + flaw_evidence(parts) + _evenness(parts)
    seen += part_evidence(parts) + _trace(record, trace) + _settings(record, model)
    return seen + ([] if before is None else [before])


def kinds_of(record: dict, seen: list[Seen]) -> set[str]:
    """Return the kinds of evidence at hand, and what else makes a question idle: ``sealed`` film, a bath noted cold."""
    cold = any(item.kind == "temp" and item.likelihoods[STATES["temp"].index("colder")] == 1 for item in seen)
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
    known = {name: check_value(name, value) for name, value in record.items() if name in FIELDS}
    return known | {name: record[name] for name in _BESIDE if not is_empty(record.get(name))}


# columns of a bath's records beside the fields: the set-up, and the total uncertainty of a reading
_BESIDE = ("setup", "L_u", "a_u", "b_u")


def _known(record, *names):
    return not any(is_empty(record.get(name)) for name in names)


def _colour(record, model, parts):
    """How likely the reading is after each change of the colour that the settings should give."""
    lab, error = _reading(record, parts, model)
    if model is None or lab is None or not _known(record, "dye_g_per_l", "bath_temp_c", "dwell_min"):
        return []
    from dyebook.advice.changes import change_likelihoods, simulate_changes

    usual = _as_usual(record, model)
    moved = _known(record, "ph") and usual["ph"] != record["ph"]
    simulated = simulate_changes(model, usual, noted_ph=record["ph"] if moved else None)
    chances = change_likelihoods(simulated, lab, error)
    middle = np.median(simulated["as set"], axis=0)
    best = [int(i) for i in np.argsort(-chances)[:_MOST_NAMED] if chances[i] > _NEARLY * chances.max()]
    note = Note(
        "trouble.colour",
        difference=describe_difference(middle, lab),
        delta_e00=float(delta_e_00(middle, lab)),
        changes=tuple(STATES["colour"][i] for i in best),
    )
    return [Seen("colour", tuple(chances / chances.max()), note)]


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


def _usual_doubt(model):
    """Doubt of a reading without one of its own: as the bath's readings scatter about its fit, within reason."""
    if model is None:
        return np.array(_READING_U)
    return np.clip(model.reading_scale * np.median(model.training.lab_sd, axis=0), *_DOUBT_LIMITS)


def _reading(record, parts, model):
    """Colour (3,), and the covariance (3, 3) of its error beside the bath's other readings; None, None without one.

    By the photo where that tells the parts of its error or is all there is, else by the record, else as is usual.
    """
    read, named = [part for part in parts if part["lab"]], _known(record, "L", "a", "b")
    if not read and not named:
        return None, None
    lab = [record[axis] for axis in "Lab"] if named else np.median([part["lab"] for part in read], axis=0)
    # what a set-up gets wrong in all readings alike counts for a reading of another one
    kind = "u" if _known(record, *_BESIDE) and not _is_of_bath(record["setup"], model) else "sd"
    names = zip((f"{axis}_{kind}" for axis in "Lab"), _usual_doubt(model), strict=True)
    error = np.diag(np.square([float(record[name]) if _known(record, name) else usual for name, usual in names]))
    if not named or not _known(record, "L_sd") or any(part["lab_cov_parts"] for part in read):
        told = [_error(part, model) for part in read if part["lab_u"]]
        error = np.median(told, axis=0) if told else error
    return np.asarray(lab, float), error + (_WET_U**2 * np.eye(3) if record.get("wet") else 0.0)


def _is_of_bath(setup, model):
    """Whether a set-up is the one that a bath's colours are learned in."""
    return setup is not None and model is not None and model.training.seen.setup == setup


def _error(part, model):
    """Covariance (3, 3) of a part's error, without what the bath's own set-up gets wrong in all readings alike."""
    told = part["lab_cov_parts"]
    if not told:
        return np.diag(np.square(part["lab_u"]))
    here = _is_of_bath((part.get("setup") or {}).get("key"), model)
    names = [name for name in ERROR_PARTS if name in told and not (here and name == "camera")]
    return sum(np.asarray(told[name], float) for name in names)


def _film_against_plan(kind, film_um, plan_um, sd):
    """How likely a film (against plan) is for each state, films within a state being equally likely."""
    from scipy.stats import norm

    edges = np.log(_FILM_EDGES)
    share = np.diff(norm.cdf((edges - np.log(np.clip(film_um / plan_um, *_FILM_EDGES[::4]))) / sd))
    note = Note(f"trouble.{kind}", film_um=film_um, plan_um=plan_um)
    return Seen(kind, tuple(np.maximum(share, 1e-6) / np.diff(edges)), note)


def _gauge(record):
    if not _known(record, "film_um", "film_measured_um"):
        return []
    return [_film_against_plan("film", record["film_measured_um"], record["film_um"], _GAUGE_SD)]


def _evenness(parts):
    spread = [part.get("uniformity") for part in parts if not _SHADING & set(part["flags"])]
    spread = [value for value in spread if value is not None and value == value]
    if not spread:
        return []
    state = STATES["even"][int(np.digitize(max(spread), _UNEVEN_EDGES_DELTA_E00))]
    return [sure("even", state, Note("trouble.evenness", state=state, delta_e00=max(spread)))]


def _trace(record, trace):
    """Events of the log, and the film that its charge gives."""
    if trace is None:
        return []
    from dyebook.physics.trace.events import read_frame, report_trace

    area = record["area_dm2"] if _known(record, "area_dm2") else None
    alloy = record.get("alloy")
    report = report_trace(read_frame(trace), area_dm2=area, alloy=alloy)
    kinds = {_EVENTS[event.kind]: event for event in reversed(report.events)}
    first = next((kind for kind in _EVENT_ORDER if kind in kinds), "none")
    if first == "none":
        seen = [sure("event", "none", Note("trouble.no_event"))]
    else:
        event = kinds[first]
        seen = [sure("event", first, Note("trouble.event", kind=event.kind, time_min=event.time_min))]
    if area is not None and report.film_um and _known(record, "film_um"):
        seen.append(_film_against_plan("charge", report.film_um, record["film_um"], _CHARGE_SD))
    return seen


def _settings(record, model):
    seen = []
    if _known(record, "rinse_temp_c"):
        temp = record["rinse_temp_c"]
        state = STATES["rinse"][int(np.digitize(temp, _RINSE_EDGES_C))]
        seen.append(sure("rinse", state, Note("trouble.rinse", temp_c=temp, state=state)))
    if _known(record, "wait_min"):
        wait = record["wait_min"]
        state = STATES["wait"][int(np.digitize(wait, _WAIT_EDGES_MIN))]
        seen.append(sure("wait", state, Note("trouble.wait", minutes=wait, state=state)))
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
        seen.append(sure("ph", state, Note("trouble.ph", ph=record["ph"], step=step)))
    if _known(record, "bath_temp_c"):
        low, high = np.quantile(usual.bath_temp_c, [0.05, 0.95])
        temp = record["bath_temp_c"]
        state = "colder" if temp < low - _TEMP_OFF_C else "warmer" if temp > high + _TEMP_OFF_C else "usual"
        seen.append(sure("temp", state, Note("trouble.bath_temp", temp_c=temp, state=state)))
    if _known(record, "dwell_min"):
        low, high = np.quantile(usual.dwell_min, [0.05, 0.95])
        state = "short" if record["dwell_min"] < low else "long" if record["dwell_min"] > high else "usual"
        seen.append(sure("dwell", state, Note("trouble.dwell", minutes=record["dwell_min"], state=state)))
    return seen


def _alloy(record, usual):
    """Whether the alloy is the bath's usual one, or one that is known to be difficult."""
    from dyebook.physics.rates import alloy_factor

    alloy = record.get("alloy")
    if not alloy:
        return []
    if alloy_factor(alloy).factor < _DIFFICULT_FACTOR:
        return [sure("alloy", "difficult", Note("trouble.difficult_alloy", alloy=alloy))]
    habit = None if usual is None else usual.circumstances.usual.get("alloy")
    if habit is None:
        return []
    state = "usual" if habit == alloy else "other"
    return [sure("alloy", state, Note("trouble.alloy", alloy=alloy, usual=habit))]


def parts_of_photo(measurement) -> list[dict]:
    """Return the parts of a photo as plain dicts.

    ``lab`` is three numbers or None; ``flaws`` are of known kinds, None where not looked for, as the ``flags`` of each
    part say too. `measurement` (Measurement, dict or None): what `measure` returned, or its `to_dict`; any entry may
    lack.
    """
    if measurement is None:
        return []
    photo = measurement.to_dict() if isinstance(measurement, Measurement) else measurement
    if not isinstance(photo, Mapping):
        raise RecordError(
            f"the measurement is a {type(photo).__name__}; what `measure` returned, or its dict, is needed"
        )
    flags = [NOT_SOUGHT] if NOT_SOUGHT in (photo.get("flags") or ()) else []
    return [_plain(part, flags) for part in photo.get("parts") or ()]


def _plain(part, flags):
    part = part.to_dict() if isinstance(part, Reading) else part
    if not isinstance(part, Mapping):
        raise RecordError(f"a part of the photo is a {type(part).__name__}; a dict as `measure` gives is needed")
    flaws = part.get("flaws")
    if flaws is not None:
        flaws = [_sized(flaw) for flaw in flaws if isinstance(flaw, Mapping) and flaw.get("kind") in FLAW_KINDS]
    labs = {name: _three(part.get(name)) for name in ("lab", "lab_u")}
    known = {"lab_cov_parts": part.get("lab_cov_parts") or {}, "flags": [*(part.get("flags") or ()), *flags]}
    return {**part, **labs, **known, "flaws": flaws}


def _sized(flaw):
    return {**flaw, **{name: _number(flaw.get(name)) for name in ("delta_e00", "area_fraction")}}


def _number(value):
    """A finite number, else None."""
    try:
        number = float(value)
    except (TypeError, ValueError):
        return None
    return number if math.isfinite(number) else None


def _three(values):
    """Three finite numbers as a list, else None."""
    if values is None or isinstance(values, str) or len(values) != 3:
        return None
    numbers = [_number(value) for value in values]
    return None if None in numbers else numbers


# median ΔE00 by which the furthest part of an ordinary batch, and of one with a fault, lies off, and their spread in
# the logarithm; judged, no source
_ORDINARY, _FAULTY = (1.3, 0.5), (7.0, 0.6)
_MOST_ALIKE = 20.0
_APART_DELTA_E00 = 3.0
_PALER = 2.0  # in L*
_GRADED = 0.9  # rank correlation of lightness with the place on the jig
# two steps of a row of three count as a slope when the smaller is at least this share of the larger; judged, no source
_EVEN_STEPS = 0.25
# how well three parts show what they are: three at random lie in order of lightness one time in three
_BY_CHANCE, _HARDLY = 1 / 3, 0.08
# and how often a slope or a random spread leaves just one part off, and that one pale
_ONE_BY_CHANCE = 0.1


def part_evidence(parts: list[dict]) -> list[Seen]:
    """Return evidence of how the parts of a photo differ among themselves.

    It is empty with fewer than two colours. `parts`: the `parts` of a measurement.
    """
    read = [(place, part) for place, part in enumerate(parts, start=1) if part.get("lab")]
    if len(read) < 2:
        return []
    lab = np.array([part["lab"] for _, part in read])
    middle = np.median(lab, axis=0)
    apart = delta_e_00(np.broadcast_to(middle, lab.shape), lab)
    # two parts lie at equal distance from their middle, so what counts is how far one is from the other
    far = float(delta_e_00(*lab)) if len(lab) == 2 else float(apart.max())
    alike, size = _chance_alike(far), {"delta_e00": far}
    if far <= _APART_DELTA_E00:
        return [_seen((alike, 1, 1, 1), Note("trouble.parts_alike", count=len(lab), **size))]
    if len(lab) == 2:
        return [_seen((alike, 1, 1, 1), Note("trouble.two_parts_differ", **size))]
    off = np.flatnonzero(apart > _APART_DELTA_E00)
    pale = off.size == 1 and lab[off[0], 0] > middle[0] + _PALER
    light = _lightness_along([part for _, part in read], lab[:, 0])
    chances = _unplaced(pale) if light is None else _of_three(light, pale) if len(lab) == 3 else _of_row(light, pale)
    if chances[1] == max(chances):
        note = Note("trouble.parts_graded", **size)
    elif pale:
        note = Note("trouble.one_part_pale", number=read[off[0]][0], **size)
    else:
        note = Note("trouble.parts_differ", **size)
    return [_seen((alike, *chances), note)]


def _chance_alike(far):
    """How much likelier parts so far apart are in an ordinary batch than in one whose parts differ by a fault."""
    far = max(far, 0.3)
    usual, fault = (np.exp(-0.5 * (np.log(far / at) / wide) ** 2) / wide for at, wide in (_ORDINARY, _FAULTY))
    return min(usual / fault, _MOST_ALIKE)


def _seen(chances, note):
    return Seen("parts", tuple(map(float, chances)), note)


def _unplaced(pale):
    """How likely what is seen is where one is pale, on a slope, at random; of parts whose places are unknown."""
    return (1, _ONE_BY_CHANCE, _ONE_BY_CHANCE) if pale else (_HARDLY, 0.99, 1)


def _of_three(light, pale):
    """The same of a row of three."""
    steps = np.diff(light)
    in_order = steps[0] * steps[1] > 0
    slope = in_order and min(abs(steps)) > _EVEN_STEPS * max(abs(steps))
    return (1 if pale and not slope else _HARDLY), (1 if slope else _HARDLY), (_BY_CHANCE if in_order else 1)


def _of_row(light, pale):
    """The same of a row of four or more."""
    from scipy.stats import spearmanr

    if abs(spearmanr(np.arange(len(light)), light).statistic) >= _GRADED:
        return 0, 1, 0
    return (1, 0, 0) if pale else (0, 0, 1)


def _lightness_along(parts, light):
    """Lightness in the order of the parts' places; None where a place is unknown."""
    boxes = [part.get("box") for part in parts]
    if any(box is None or len(box) != 4 for box in boxes):
        return None
    middles = np.array([[(x0 + x1) / 2, (y0 + y1) / 2] for x0, y0, x1, y1 in boxes])
    way = middles[:, int(np.argmax(np.ptp(middles, axis=0)))]
    return light[np.argsort(way)] if np.ptp(way) > 0 else None


# the flag of a photo, or of a kept reading, without a look for flaws: then an empty list says nothing
NOT_SOUGHT = "flaws_not_sought"
_LOCAL = ("spot", "streak", "pale_zone", "pit")
# a flaw without a size is taken as a plain one
_USUAL_DELTA_E00 = 6.0
_CLEAR_DELTA_E00 = 2.5
# doubts about the light of a part, those that draw light and shade, and what a size then counts for; judged, no source
_BY_LIGHT, _SHADING, _UNDER_DOUBT = {"glare", "uneven_light", "clipped"}, {"uneven_light", "directed_light"}, 0.25
_SHADES = ("gradient", "pale_zone", "two_tone")
_COUNT_EDGES = (1.5, 4.5)
_EXTENT_EDGES = (0.01, 0.08)
# within this share of the part's length (or width) a flaw lies at its end (or edge)
_NEAR = 0.08
_LONG_TO_WIDE = 3.0
_CRESCENT_SOLIDITY, _MOST_CRESCENT = 0.8, 5.0
_LEAST_CORNERS = 6  # a box drawn as an outline says nothing of the form


def flaw_evidence(parts: list[dict]) -> list[Seen]:
    """Return evidence of the flaws of parts.

    `parts`: the `parts` of a measurement; those without a ``flaws`` entry, or flagged `NOT_SOUGHT` and without a flaw,
    were not looked at.
    """
    looked = [part for part in parts if _was_looked_at(part)]
    if not looked:
        return []
    looked = [part | {"flaws": [_as_trusted(part, flaw) for flaw in part["flaws"]]} for part in looked]
    seen = [_kind_seen(kind, looked) for kind in FLAW_KINDS]
    local = [(part, flaw) for part in looked for flaw in part["flaws"] if flaw["kind"] in _LOCAL]
    clear = [pair for pair in local if _size(pair[1]) >= _CLEAR_DELTA_E00]
    return seen + (_details(clear) if clear else [])


def _was_looked_at(part):
    flaws = part.get("flaws")
    return bool(flaws) or (flaws is not None and NOT_SOUGHT not in (part.get("flags") or ()))


def _as_trusted(part, flaw):
    """A flaw as large as it may be believed: light can draw one where there is none."""
    flags = set(part.get("flags") or ())
    doubtful = _BY_LIGHT & flags or (flaw["kind"] in _SHADES and _SHADING & flags)
    return flaw | {"delta_e00": _size(flaw) * _UNDER_DOUBT} if doubtful else flaw


def _size(flaw):
    size = flaw.get("delta_e00")
    return _USUAL_DELTA_E00 if size is None or size != size else float(size)


def _kind_seen(kind, parts):
    sizes = [[_size(flaw) for flaw in part["flaws"] if flaw["kind"] == kind] for part in parts]
    every = [size for own in sizes for size in own]
    if every:
        note = Note("trouble.flaws", kind=kind, count=len(every), delta_e00=max(every))
    elif any(part["flaws"] for part in parts):
        note = Note("trouble.none_of_kind", kind=kind)
    else:
        note = Note("trouble.no_flaws")
    return Seen(kind, (sum(bool(own) for own in sizes), len(parts), max(every, default=0.0)), note)


def _details(clear):
    """Number, extent, place and form of local flaws, led by the clearest."""
    part, lead = max(clear, key=lambda pair: _size(pair[1]) * np.sqrt(pair[1].get("area_fraction") or 0.01))
    alike = [flaw for _, flaw in clear if flaw["kind"] == lead["kind"]]
    seen, kind = [], lead["kind"]  # each stands alone, so each names what it speaks of
    if kind != "pit" or len(alike) > 1:  # pits may come as one flaw, however many
        state = STATES["count"][int(np.digitize(len(alike), _COUNT_EDGES))]
        seen.append(sure("count", state, Note("trouble.flaw_count", state=state, kind=kind)))
    area = lead.get("area_fraction")
    if area is not None and area == area:
        state = STATES["extent"][int(np.digitize(area, _EXTENT_EDGES))]
        seen.append(sure("extent", state, Note("trouble.flaw_extent", kind=kind, area_fraction=area)))
    place = _place(part, lead)
    if place:
        seen.append(sure("place", place, Note("trouble.flaw_place", kind=kind, place=place)))
    form = _form(lead)
    seen += [sure("form", form, Note("trouble.flaw_form", kind=kind, form=form))] if form else []
    return seen + _leading_kind([flaw for _, flaw in clear])


def _leading_kind(clear):
    """Which kind there is most of, where there are several; of as many, the clearest."""
    sizes = {kind: [_size(flaw) for flaw in clear if flaw["kind"] == kind] for kind in _LOCAL}
    if sum(bool(own) for own in sizes.values()) < 2:
        return []
    lead = max(sizes, key=lambda kind: (len(sizes[kind]), max(sizes[kind], default=0.0)))
    return [sure("leads", lead, Note("trouble.leading_flaw", kind=lead))]


def _points(thing):
    """Corners (n, 2) of an outline, else of a box; None without either."""
    outline = thing.get("outline")
    if outline is not None and len(outline) >= 3:
        return np.asarray(outline, float)
    box = thing.get("box")
    if box is None or len(box) != 4:
        return None
    x0, y0, x1, y1 = box
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], float)


def _place(part, flaw):
    """At an end of the part, at an edge, or inside; None where it cannot be told."""
    outline, spot = _points(part), _points(flaw)
    if outline is None or spot is None or np.ptp(outline, axis=0).min() <= 0:
        return None
    axes = _axes(outline)
    whole, own = outline @ axes, spot @ axes
    low, span = whole.min(axis=0), np.ptp(whole, axis=0)
    start, stop = (own.min(axis=0) - low) / span, (own.max(axis=0) - low) / span
    middle = (start + stop) / 2
    if middle.min() < -0.1 or middle.max() > 1.1:
        return None
    near = (start < _NEAR) | (stop > 1 - _NEAR)
    return "end" if near[0] else "edge" if near[1] else "inside"


def _axes(outline):
    """Directions along and across a part, from its smallest rectangle; columns of a (2, 2) array."""
    import cv2

    corners = cv2.boxPoints(cv2.minAreaRect(outline.astype(np.float32))).astype(float)
    one, two = corners[1] - corners[0], corners[2] - corners[1]
    along, across = sorted((one, two), key=np.linalg.norm, reverse=True)
    return np.stack([along / np.linalg.norm(along), across / np.linalg.norm(across)], axis=1)


def _form(flaw):
    """Round, long, or hollowed out like a crescent; None where only a box is known."""
    import cv2

    outline = flaw.get("outline")
    if flaw["kind"] == "pit" or outline is None or len(outline) < _LEAST_CORNERS:
        return None
    points = np.asarray(outline, np.float32)
    wide, high = sorted(cv2.minAreaRect(points)[1])
    hull = cv2.contourArea(cv2.convexHull(points))
    if hull <= 0 or wide <= 0:
        return None
    if cv2.contourArea(points) / hull < _CRESCENT_SOLIDITY and high / wide < _MOST_CRESCENT:
        return "crescent"
    return "long" if high / wide > _LONG_TO_WIDE else "round"

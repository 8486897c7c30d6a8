"""Bench answers in words: one line per figure, in our unit and the other one, with basis, notes and cautions."""

import math
from datetime import datetime

__all__ = ["answer_lines", "answer_page", "answer_rows", "detail_lines", "figure_text", "steps_page"]

# what each figure is called; figures without a row here are not shown to people
_LABELS = {
    "acid_ml": "acid",
    "water_ml": "water",
    "volume_l": "bath at 20 °C",
    "g_per_l": "strength",
    "wt_percent": "strength by weight",
    "acid_wt_percent": "acid at hand",
    "sg": "hydrometer should read (20/20 °C)",
    "contraction_ml": "shrinks by",
    "rise_c": "warms by",
    "portions": "portions",
    "portion_acid_ml": "acid per portion",
    "portion_rise_c": "each portion warms by",
    "ah_per_l": "used so far",
    "aluminium_g_per_l": "dissolved aluminium, reckoned",
    "discard_ah_per_l": "discard at",
    "left_ah": "left in the bath",
    "worn_out": "worn out",
    "planned_film_um": "film wanted",
    "planned_minutes": "time planned",
    "film_um": "film",
    "film_measured_um": "film by gauge",
    "minutes": "time",
    "elapsed_min": "since the start",
    "left_min": "still to go",
    "ends_at": "ends at",
    "current_density_a_per_dm2": "current density",
    "current_a": "current",
    "charge_ah": "charge",
    "area_dm2": "area",
    "film_class": "film class (ISO 7599, by the average)",
    "rule_film_um": "720 rule alone: film",
    "rule_minutes": "720 rule alone: time",
    "diameter_growth_um": "outside diameter grows by",
    "pitch_diameter_growth_um": "pitch diameter of a 60° thread grows by",
    "metal_lost_um": "metal lost per face when stripped",
    "end_temp_c": "electrolyte at the end",
    "heat_kj": "heat",
    "growth_at_end": "growth rate at the end, start = 1",
    "largest_current_a": "largest current without more cooling",
    "cooling_w": "cooling needed",
    "ice_kg": "or ice in closed bottles",
    "um_per_a_min_dm2": "growth rate",
    "film_sd_fraction": "uncertainty of the next film",
    "readings": "gauge readings",
    "factor": "your films over the published ones",
    "dye_g": "dye",
    "dye_g_per_l": "wanted strength",
    "second_dye_g": "second dye",
    "second_dye_g_per_l": "its wanted strength",
    "bath_volume_l": "bath",
    "present_volume_l": "bath now",
    "strength_g_per_l": "strength now",
    "water_l": "water",
    "dilute_l": "take out and replace by water",
    "minutes_low": "at least",
    "minutes_high": "at most",
    "temp_c": "bath between",
    "ph": "pH between",
    "charge_in_gaps_ah": "charge across gaps",
    "wanted_a": "current wanted",
    "largest_area_dm2": "largest load that takes it",
    "depth_mm": "depth of the dye",
    "covers": "covers the part",
    "missing_l": "fill up by",
    "rise_mm": "the part lifts the level by",
    "prepared": "ticked before",
    "not_prepared": "not ticked",
    "batch": "batch",
    "uptake_mg_per_dm2": "dye taken up by a film",
    "lost_per_day": "lost on its own, a day",
    "dm2_per_l": "dyed so far",
    "days": "age",
}
_UNITS = (
    ("sg", "", 1, None),
    ("dm2_per_l", "dm²/L", 0.407461, "ft²/gal"),
    ("days", "days", 1, None),
    ("mg_per_dm2", "mg/dm²", 1, None),
    ("lost_per_day", "of its dye", 1, None),
    ("_min", "min", 1, None),
    ("_mm", "mm", 1 / 25.4, "in"),
    ("_um_per_a_min_dm2", "µm per A·min/dm²", 1, None),
    ("um_per_a_min_dm2", "µm per A·min/dm²", 1, None),
    ("_a_per_dm2", "A/dm²", 9.290304, "A/ft²"),
    ("ah_per_l", "A·h/L", 3.785412, "A·h/gal"),
    ("g_per_l", "g/L", 0.1335265, "oz/gal"),
    ("_percent", "wt %", 1, None),
    ("_ml", "mL", 0.0338140, "fl oz"),
    ("_um", "µm", 1 / 25.4, "mil"),
    ("_dm2", "dm²", 15.500031, "in²", 0.1076391, "ft²"),
    ("_ah", "A·h", 1, None),
    ("_kj", "kJ", 1, None),
    ("_kg", "kg", 2.204623, "lb"),
    ("minutes", "min", 1, None),
    ("minutes_low", "min", 1, None),
    ("minutes_high", "min", 1, None),
    ("_l", "L", 0.2641721, "gal"),
    ("_a", "A", 1, None),
    ("_w", "W", 1, None),
    ("_g", "g", 0.0352740, "oz"),
)
_RISES = ("rise_c", "portion_rise_c")


def answer_rows(answer, names=None):
    """Figures of a bench answer as (label, text) pairs.

    Parameters
    ----------
    answer : dict
        `to_dict()` of a bench result.
    names : sequence of str, optional
        Only these figures, in this order; all of them in the usual order without.

    Returns
    -------
    list of (str, str)
    """
    rows = []
    for name in names or _LABELS:
        label = _LABELS[name]
        value = answer.get(name)
        if (
            value is None
            or (name.startswith("portion") and answer["portions"] == 1)
            or (name == "charge_in_gaps_ah" and not value)
            or value == []
        ):
            continue
        rows.append((label, _figure(name, value, answer.get(f"{name}_sd"))))
    return rows


def figure_text(name, value, sd=None):
    """Return one figure in our unit and the other one, such as "12.7 ± 1.5 µm (0.500 mil)", by its name's ending."""
    return _figure(name, value, sd)


def answer_lines(answer):
    """A bench answer as lines of text: figures, basis, notes, cautions."""
    rows = answer_rows(answer)
    width = max((len(label) for label, _ in rows), default=0)
    lines = [f"{label:<{width}}  {text}" for label, text in rows]
    lines += ["", f"Basis: {answer['basis']}."]
    lines += [f"Note: {note}." for note in answer.get("notes", ())]
    return lines + [f"Caution: {text}" for text in answer["cautions"]]


def answer_page(title, answer, paper="a4"):
    """A bench answer as one printed page.

    Parameters
    ----------
    title : str
    answer : dict
        `to_dict()` of a bench result.
    paper : {"a4", "letter"}

    Returns
    -------
    bytes
        PDF.
    """
    from dyebook.report_pdf import pdf_bytes
    from dyebook.report_sheet import Pairs, Prose, Row, Sheet

    tail = [line for line in answer_lines(answer) if line.startswith(("Basis:", "Note:", "Caution:"))]
    parts = [[Pairs("", tuple(answer_rows(answer)))], [Prose(tuple(tail), size="small")]]
    details = detail_lines(answer)
    if details:
        parts.insert(1, [Prose(tuple(details))])
    return pdf_bytes(Sheet(title, "", "", tuple(Row(((1.0, part),)) for part in parts)), paper)


# as many as leave room for the rest of the page
_MOST_LINES = 24


def detail_lines(answer):
    """What an answer holds besides its figures, a line each: the shapes of a load, events of a log, strengths."""
    lines = [
        f"{line['count']} × {line['label']}: {figure_text('area_dm2', line['area_dm2'])}"
        for line in answer.get("lines", ())
    ]
    lines += [
        f"{event['time_min']:.1f} min: {event['kind'].replace('_', ' ')} ({event['because']}). {event['remedy']}"
        for event in answer.get("events", ())[:8]
    ]
    lines += [
        f"{point['at'][:10]}: {figure_text('g_per_l', point['dye_g_per_l'], point['dye_g_per_l_sd'])}, "
        + point["kind"].replace("_", " ")
        for point in answer.get("points", ())[-16:]
    ]
    left = len(lines) - _MOST_LINES
    return lines if left <= 0 else [*lines[:_MOST_LINES], f"and {left} more"]


def steps_page(title, steps, cautions, paper="a4", pairs=()):
    """Steps to tick as one printed page, with what was planned above them.

    Parameters
    ----------
    title : str
    steps : sequence of Step
        As in `dyebook.physics.sealing`.
    cautions : sequence of str
    paper : {"a4", "letter"}
    pairs : sequence of (str, str)
        Label and text.

    Returns
    -------
    bytes
        PDF.
    """
    from dyebook.report_pdf import pdf_bytes
    from dyebook.report_sheet import Pairs, Prose, Row, Sheet

    ticks = [(f"[   ]  {step.name}", f"{_for_minutes(step)}{step.what} ({step.source})") for step in steps]
    tail = [f"Caution: {text}" for text in cautions]
    parts = [[Pairs("", tuple(rows))] for rows in (pairs, ticks) if rows] + [[Prose(tuple(tail), size="small")]]
    return pdf_bytes(Sheet(title, "", "", tuple(Row(((1.0, part),)) for part in parts)), paper)


def _for_minutes(step):
    return "" if step.minutes is None else f"{figure_text('minutes', step.minutes)}: "


def _figure(name, value, sd):
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return f"{datetime.fromisoformat(value).astimezone():%H:%M}" if name == "ends_at" else value
    if name == "temp_c":
        low, high = value
        return f"{low:g} to {high:g} °C ({low * 1.8 + 32:.0f} to {high * 1.8 + 32:.0f} °F)"
    if name == "ph":
        return " to ".join(f"{item:g}" for item in value)
    if isinstance(value, (list, tuple)):
        return ", ".join(item.replace("_", " ") if isinstance(item, str) else _one(name, item, None) for item in value)
    return _one(name, value, sd)


def _one(name, value, sd):
    if name.endswith("_c"):
        return _degrees(name, value, sd)
    for ending, unit, *others in _UNITS:
        if name.endswith(ending):
            pairs = zip(others[::2], others[1::2], strict=True)
            told = ", ".join(f"{_short(value * factor)} {other}" for factor, other in pairs if other)
            second = f" ({told})" if told else ""
            figure = f"{value:.4f}" if name == "sg" else _with_doubt(value, sd)
            return f"{figure} {unit}{second}".strip()
    return f"{100 * value:.0f} %" if name.endswith("fraction") else _short(value)


def _degrees(name, value, sd):
    fahrenheit = value * 1.8 if name in _RISES else value * 1.8 + 32
    figure = _with_doubt(value, sd) if sd else f"{value:.1f}"
    return f"{figure} °C ({fahrenheit:.0f} °F)"


def _with_doubt(value, sd):
    """A figure with as many decimals as its uncertainty bears: two digits of it below 3, one from there on."""
    if not sd:
        return _short(value)
    exponent = math.floor(math.log10(sd))
    digits = max(0, (1 if sd / 10**exponent < 2.95 else 0) - exponent)
    return f"{value:.{digits}f} ± {sd:.{digits}f}"


def _short(value):
    if isinstance(value, int):
        return str(value)
    if value == 0:
        return "0"
    digits = max(0, 3 - len(str(int(abs(value))))) if abs(value) >= 1 else 3
    return f"{value:.{digits}f}" if abs(value) >= 0.01 else f"{value:.2g}"

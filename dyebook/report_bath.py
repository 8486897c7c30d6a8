"""Dye baths and electrolytes in the words and figures of screens and shell."""

from dyebook.report_bench import figure_text
from dyebook.report_screen import moment_text

__all__ = [
    "bath_event_text",
    "bath_line",
    "bath_words",
    "rule_lines",
    "strength_table",
    "strength_words",
    "tank_line",
]


def strength_words(point):
    """Return one point of a bath's strength: "2.8 ± 0.1 g/L (0.37 oz/gal), reckoned after a dip, 3 Mar 2026"."""
    kind = _KIND_WORDS.get(point.kind, point.kind.replace("_", " "))
    text = figure_text("dye_g_per_l", point.dye_g_per_l, point.dye_g_per_l_sd)
    return f"{text}, {kind}, {moment_text(point.at)}"


def bath_line(state):
    """Return a dye bath in one line for the shell.

    Parameters
    ----------
    state : dict
        As `BathState.to_dict`.
    """
    strength = "strength not noted"
    if state["strength_g_per_l"] is not None:
        strength = figure_text("g_per_l", state["strength_g_per_l"], state["strength_g_per_l_sd"])
    figures = [figure_text(name, state[name]) for name in ("dm2_per_l", "days") if state[name] is not None]
    return f"{state['bath']:<24} {', '.join([strength, *figures, *state['notes']])}"


def bath_words(state):
    """Return a dye bath's strength now and its age as one line of Markdown, of `BathState.to_dict`."""
    strength = "strength not noted"
    if state["strength_g_per_l"] is not None:
        strength = f"**{figure_text('g_per_l', state['strength_g_per_l'], state['strength_g_per_l_sd'])}** now"
    figures = [figure_text(name, state[name]) for name in ("dm2_per_l", "days") if state[name] is not None]
    return ", ".join([strength, *figures])


def bath_event_text(event):
    """Return what happened to a dye bath as "28 Mar 2026, 14:30: made up, 3.00 g/L, pH 5.5"."""
    figures = [figure_text(name, event[name]) for name in ("dye_g_per_l", "bath_volume_l") if event[name] is not None]
    figures += [] if event["ph"] is None else [f"pH {event['ph']:g}"]
    figures += [] if event["bath_temp_c"] is None else [figure_text("bath_temp_c", event["bath_temp_c"])]
    kind = _KIND_WORDS.get(event["kind"], event["kind"].replace("_", " "))
    tail = f" – {event['note']}" if event["note"] else ""
    return f"{moment_text(event['at'])}: {', '.join([kind, *figures])}{tail}"


_BAR = 30


def strength_table(points):
    """Return a bath's strength over time as lines: when, g/L with its uncertainty, a bar, what happened."""
    top = max((point.dye_g_per_l for point in points), default=0.0) or 1.0
    lines = []
    for point in points:
        bar = "█" * round(_BAR * point.dye_g_per_l / top)
        kind = _KIND_WORDS.get(point.kind, point.kind.replace("_", " "))
        figure = f"{point.dye_g_per_l:5.2f} ± {point.dye_g_per_l_sd:4.2f} g/L"
        lines.append(f"{moment_text(point.at):<19} {figure}  {bar:<{_BAR}}  {kind}")
    return lines


_KIND_WORDS = {"dip": "reckoned after a dip", "now": "reckoned for now", "ph_moved": "pH moved"}
_RULE_WORDS = {
    "ph": ("pH from", ""),
    "bath_temp_c": ("bath from", "°C"),
    "uptake_mg_per_dm2": ("dye taken up", "mg/dm²"),
    "limit_dm2_per_l": ("spent after", "dm²/L"),
    "limit_days": ("or after", "days"),
    "evaporation_l_per_day": ("water lost to the air", "L a day"),
    "tank_area_dm2": ("tank from above", "dm²"),
}


def rule_lines(rules):
    """Return the shop's rules for a dye as lines."""
    lines = []
    for name, (label, unit) in _RULE_WORDS.items():
        if name in rules:
            value = rules[name]
            text = " to ".join(f"{part:g}" for part in value) if isinstance(value, (list, tuple)) else f"{value:g}"
            lines.append(f"{label} {text} {unit}".rstrip())
    return lines or ["none yet"]


def tank_line(row, life):
    """Return an electrolyte in one line for the shell: name, charge carried, what is left."""
    if life is None:
        return f"{row['name']:<24} volume not known"
    worn = ", worn out" if life["worn_out"] else ""
    used, left = figure_text("ah_per_l", life["ah_per_l"]), figure_text("left_ah", life["left_ah"])
    return f"{row['name']:<24} {used} used, {left} left{worn}"

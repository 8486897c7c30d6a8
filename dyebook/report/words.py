"""How values are written: colours, differences, fields, bench figures in both units, days and durations.

Every other module of this folder builds on these; a figure's unit follows from the ending of its name.
"""

import math
import re
from contextvars import ContextVar
from datetime import datetime
from html import escape

from dyebook.lab import delta_e_00, describe_difference
from dyebook.record import FIELDS, is_empty
from dyebook.units import moment_of

__all__ = [
    "COVERAGE", "DIFFERENCE", "OTHER_UNITS", "PLUS_MINUS", "capital", "clock_text", "day_text", "difference_text",
    "distance_text", "due_text", "dwell_text", "figure_text", "hint_text", "lab_text", "minutes_text", "miss_text",
    "moment_day", "moment_text", "pairs_html", "plain", "seen_text", "sentence_text", "setting_text", "value_text",
]  # fmt: skip

# what stands after ± is so many standard uncertainties, for colours, film, strength and heat alike
COVERAGE = 2.0
PLUS_MINUS = "± covers about 95 in 100."
# whether figures are said in °F, mil, gallons too; the pages go by the shop's setting
OTHER_UNITS = ContextVar("other units", default=True)


# what Markdown, and the pages' own additions to it, take for more than a sign
_MARKDOWN = re.compile(
    r"[\\`*~\[\]<>$]"
    r"|(?<![^\W_])_|_(?![^\W_])"  # not inside a word
    r"|:(?=[A-Za-z/+])"  # colours, icons, addresses
    r"|(?<=www)\."
    r"|^\s*(?:[#+=|-]|\d+(?=[.)](?:\s|$)))",
    re.MULTILINE,
)


def plain(text: str) -> str:
    """Return free text so that Markdown shows it as it was typed.

    Examples
    --------
    >>> plain("5~6 min")
    '5\\\\~6 min'
    """
    return _MARKDOWN.sub(_escaped, str(text)).replace("\n", " ")


def _escaped(found):
    sign = found[0]
    return sign + "\\" if sign.strip().isdigit() else sign[:-1] + "\\" + sign[-1]


def capital(text):
    """Return text with its first letter as a capital."""
    return text[:1].upper() + text[1:]


def sentence_text(text) -> str:
    """Return words as a sentence."""
    return capital(text) + ("" if text.endswith((".", "!", "?")) else ".")


def lab_text(lab, u=None, signed="") -> str:
    """Return "L* 41.2  a* 3.0  b* −38.4", with ± where the uncertainty is known.

    `lab`: sequence of 3 floats. `u` (sequence of 3 floats, optional): standard uncertainties. `signed`: "+" for a step.
    """
    pieces = []
    for index, name in enumerate(("L*", "a*", "b*")):
        text = f"{name} {lab[index]:{signed}.1f}".replace("-", "−")
        if u is not None and math.isfinite(u[index]):
            text += f" ± {COVERAGE * u[index]:.1f}"
        pieces.append(text)
    return "  ".join(pieces)


def distance_text(delta_e00) -> str:
    """Return a CIEDE2000 difference as "ΔE00 1.8, seen side by side"."""
    return f"ΔE00 {delta_e00:.1f}, {seen_text(delta_e00)}"


# CIEDE2000 from which a difference is seen so; common practice, no source
_SEEN = ((1.0, "not seen"), (3.0, "seen side by side"), (10.0, "seen at a glance"), (math.inf, "another colour"))
DIFFERENCE = (
    "ΔE00 is how far two colours lie apart: below 1 not seen, to 3 seen side by side, to 10 at a glance, beyond that "
    "another colour."
)


def seen_text(delta_e00) -> str:
    """Return how a CIEDE2000 difference is seen: "not seen", "seen side by side", "seen at a glance" or the like."""
    return next(words for limit, words in _SEEN if not delta_e00 > limit)


def miss_text(delta_e00, words) -> str:
    """Return a difference, words first: "a little greener, seen side by side (ΔE00 1.8)".

    `words`: as of `dyebook.lab.describe_difference`.
    """
    how = "no difference to speak of" if words == "the same" else f"{words}, {seen_text(delta_e00)}"
    return f"{how} (ΔE00 {delta_e00:.1f})"


def difference_text(target, sample) -> str:
    """Return how a sample differs from its target, as of `miss_text`."""
    return miss_text(float(delta_e_00(target, sample)), describe_difference(target, sample))


def value_text(name, value) -> str:
    """Return one field's value with its unit, such as "12 µm"; empty where nothing was measured."""
    row = FIELDS[name]
    if is_empty(value):
        return ""
    if row.kind is bool:
        return "yes" if value else "no"
    if row.unit == "min" and value % 1:
        return minutes_text(value)
    text = f"{value:.4g}".replace("-", "−") if row.kind is float else str(value)
    return f"{text} {row.unit}".rstrip()


_UNITS = (
    ("sg", "", 1, None),
    ("dm2_per_l", "dm²/L", 0.407461, "ft²/gal"),
    ("days", "days", 1, None),
    ("mg_per_dm2", "mg/dm²", 1, None),
    ("lost_per_day", "of its dye", 1, None),
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
    ("_l", "L", 0.2641721, "gal"),
    ("_a", "A", 1, None),
    ("_w", "W", 1, None),
    ("_g", "g", 0.0352740, "oz"),
)
_RISES = ("rise_c", "portion_rise_c")
_DECIMALS = {"µm": 1, "L": 2, "dm²": 2, "A·h": 2, "days": 0}  # where a bench reads otherwise than to one decimal


def figure_text(name, value, sd=None) -> str:
    """Return one figure in our unit and the other one, such as "12.7 ± 3.0 µm (0.500 mil)", by its name's ending.

    `sd`: its standard uncertainty; twice that is shown.
    """
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return clock_text(value) if name == "ends_at" else value
    if name == "temp_c":
        low, high = value
        other = f" ({low * 1.8 + 32:.0f}–{high * 1.8 + 32:.0f} °F)" if OTHER_UNITS.get() else ""
        return f"{low:g}–{high:g} °C{other}"
    if name == "ph":
        return "–".join(f"{item:g}" for item in value)
    if isinstance(value, (list, tuple)):
        return ", ".join(item.replace("_", " ") if isinstance(item, str) else _one(name, item, None) for item in value)
    return _one(name, value, sd)


def _one(name, value, sd):
    if name.endswith("_c"):
        return _degrees(name, value, sd)
    if name.endswith(("minutes", "minutes_low", "minutes_high", "_min")):
        return minutes_text(value)
    if name == "growth_at_end":
        return f"{100 * abs(value - 1):.0f} % {'slower' if value < 1 else 'faster'} than at the start"
    if name.endswith("_l") and not name.endswith("per_l") and abs(value) < 1:
        return _one("_ml", 1000 * value, sd and 1000 * sd)
    if name.endswith("_ml") and abs(value) >= 1000:
        return _one("volume_l", value / 1000, sd and sd / 1000)
    for ending, unit, *others in _UNITS:
        if name.endswith(ending):
            pairs = zip(others[::2], others[1::2], strict=True)
            in_others = ", ".join(f"{_short(value * factor)} {other}" for factor, other in pairs if other)
            second = f" ({in_others})" if in_others and OTHER_UNITS.get() else ""
            exact = f"{value:.4f}" if name == "sg" else f"{value:.2f}" if name.endswith("_a") and value < 10 else None
            if unit in _DECIMALS and not sd:
                digits = _DECIMALS[unit] - (_DECIMALS[unit] == 2 and (value >= 10) + (value >= 100))
                exact = _trimmed(f"{value:.{digits}f}")
            figure = exact or _with_doubt(value, sd)
            return f"{figure} {unit}{second}".strip()
    return f"{100 * value:.0f} %" if name.endswith("fraction") else _short(value)


def _degrees(name, value, sd):
    fahrenheit = value * 1.8 if name in _RISES else value * 1.8 + 32
    figure = _with_doubt(value, sd) if sd else f"{value:.1f}"
    return f"{figure} °C" + (f" ({fahrenheit:.0f} °F)" if OTHER_UNITS.get() else "")


def _with_doubt(value, sd):
    """A figure with as many decimals as the one digit of its ± bears, below 10 with one at least."""
    if not sd:
        return _short(value)
    u = COVERAGE * sd
    digits = max(int(abs(value) < 10), -math.floor(math.log10(u)))
    return f"{value:.{digits}f} ± {u:.{digits}f}"


def _short(value):
    if isinstance(value, int):
        return str(value)
    if value == 0:
        return "0"
    return f"{value:.0f}" if abs(value) >= 100 else _trimmed(f"{value:.1f}") if abs(value) >= 1 else f"{value:.2g}"


def _trimmed(text):
    return text.rstrip("0").rstrip(".") if "." in text else text


_OTHER_HINT = re.compile(r",? or [^,]*(?:°F|mil|gal|in²|in|asf)$")


def hint_text(hint) -> str:
    """Return how a figure may be typed, without the other unit where the shop does not want those."""
    return hint if OTHER_UNITS.get() else _OTHER_HINT.sub("", hint)


def setting_text(value) -> str:
    """Return a setting of the shop as it is typed; empty for one that is not set."""
    if isinstance(value, list | tuple):
        return ", ".join(f"{number:g}" for number in value)
    return f"{value:g}" if isinstance(value, float) else str(value or "")


def moment_text(iso) -> str:
    """Return a moment of the book, ISO text, as "28 Mar 2026, 14:30", or the day alone where no time is known."""
    if not iso:
        return ""
    return moment_day(iso) if len(iso) <= 10 else f"{moment_day(iso)}, {clock_text(iso)}"


def moment_day(iso) -> str:
    """Return the day of a moment of the book, on the shop's clock, as "28 Mar 2026"."""
    return day_text(moment_of(iso))


_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def day_text(day) -> str:
    """Return a date as "28 Mar 2026", the same in every locale."""
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def due_text(iso, now) -> str:
    """Return when something is due against now, such as "due 2 Dec 2026, in 7 days"."""
    day = datetime.fromisoformat(iso)
    left = (day.date() - now.date()).days
    how = "today" if left == 0 else "tomorrow" if left == 1 else f"in {left} days" if left > 0 else f"{-left} days late"
    return f"due {day_text(day)}, {how}"


def pairs_html(pairs, name="") -> str:
    """Return (label, text) pairs as a definition list, escaped."""
    lines = "".join(f"<dt>{escape(label)}</dt><dd>{escape(text)}</dd>" for label, text in pairs)
    return f'<dl class="{escape(name)}">{lines}</dl>'


def minutes_text(minutes) -> str:
    """Return a time as "25 min", "9:15 min" or "1 h 05 min"."""
    if round(minutes * 60) < 3600:
        return dwell_text(minutes).replace(":00", "")
    hours, rest = divmod(round(minutes), 60)
    return f"{hours} h {rest:02d} min"


def dwell_text(minutes) -> str:
    """Return a dwell as minutes and seconds, such as "5:30 min"."""
    whole, seconds = divmod(round(minutes * 60), 60)
    return f"{whole}:{seconds:02d} min"


def clock_text(moment) -> str:
    """Return the clock time of a moment or of its ISO text as "14:32", on the shop's clock."""
    return f"{moment_of(moment):%H:%M}"

"""Batches, colours and changes in the words and figures of the screens."""

from datetime import datetime
from html import escape

from dyebook.lab import delta_e_00, describe_difference
from dyebook.record import FIELDS, is_empty

__all__ = [
    "change_text",
    "day_text",
    "difference_text",
    "distance_text",
    "due_text",
    "dye_text",
    "flaw_text",
    "moment_text",
    "pairs_html",
    "settings_lines",
    "value_text",
    "verdict_text",
]


def value_text(name, value):
    """Return one field's value with its unit, such as "12 µm"; empty where nothing was measured."""
    row = FIELDS[name]
    if is_empty(value):
        return ""
    if row.kind is bool:
        return "yes" if value else "no"
    text = f"{value:.4g}".replace("-", "−") if row.kind is float else str(value)
    return f"{text} {row.unit}".rstrip()


def settings_lines(row):
    """Return a batch's settings as two short lines: film and bath strength, then temperature, time and pH."""
    first = [("film", "film_um"), ("", "dye_g_per_l")]
    second = [("", "bath_temp_c"), ("", "dwell_min"), ("pH", "ph")]
    return [text for text in (_joined(row, first), _joined(row, second)) if text]


def _joined(row, names):
    values = [(word, value_text(name, getattr(row, name))) for word, name in names]
    return " · ".join(f"{word} {text}".strip() for word, text in values if text)


def dye_text(row):
    """Return dye and bath of a batch, such as "Ember, bath E2"."""
    return ", ".join(name for name in (row.dye, row.bath and f"bath {row.bath}") if name) or "no dye noted"


def moment_text(iso):
    """Return a moment of the book, ISO text, as "28 Mar 2026, 14:30", or the day alone where no time is known."""
    if not iso:
        return ""
    moment = datetime.fromisoformat(iso)
    if len(iso) <= 10:
        return day_text(moment)
    local = moment.astimezone() if moment.tzinfo else moment
    return f"{day_text(local)}, {local:%H:%M}"


_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def day_text(day):
    """Return a date as "28 Mar 2026", the same in every locale."""
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def due_text(iso, now):
    """Return when something is due against now, such as "due 2 Dec 2026, in 7 days"."""
    day = datetime.fromisoformat(iso)
    left = (day.date() - now.date()).days
    how = "today" if left == 0 else "tomorrow" if left == 1 else f"in {left} days" if left > 0 else f"{-left} days late"
    return f"due {day_text(day)}, {how}"


def distance_text(delta_e00):
    """Return a CIEDE2000 difference as "ΔE00 1.8"."""
    return f"ΔE00 {delta_e00:.1f}"


def difference_text(target, sample):
    """Return how a sample differs from its target, as "ΔE00 1.8: a little lighter and redder"."""
    return f"{distance_text(float(delta_e_00(target, sample)))}: {describe_difference(target, sample)}"


def flaw_text(flaw):
    """Return a flaw in a few words, such as "pale zone, ΔE00 3.1 against the rest, 4 % of the part"."""
    share = f"{flaw.area_fraction:.0%}".replace("%", " %")
    return f"{flaw.kind.replace('_', ' ')}, {distance_text(flaw.delta_e00)} against the rest, {share} of the part"


def pairs_html(pairs, name=""):
    """Return (label, text) pairs as a definition list, escaped."""
    lines = "".join(f"<dt>{escape(label)}</dt><dd>{escape(text)}</dd>" for label, text in pairs)
    return f'<dl class="{escape(name)}">{lines}</dl>'


def change_text(change):
    """Return one line of the book's history in words, such as "28 Mar 2026, 14:30, Ada: film 12 µm → 10 µm"."""
    head = f"{moment_text(change['at'])}, {change['who']}: "
    if change["action"] in ("delete", "undelete"):
        return head + {"delete": "marked as deleted", "undelete": "brought back"}[change["action"]]
    new = change["new"] or {}
    steps = [_step_text(name, (change["old"] or {}).get(name), new[name]) for name in new]
    undone = "taken back: " if change["action"] == "undo" else ""
    return head + undone + ("; ".join(steps) or "nothing changed")


def _step_text(name, old, new):
    """One value before and after; of what is no plain value only that it changed."""
    if isinstance(new, (dict, list)) or isinstance(old, (dict, list)):
        return f"{_label(name)} noted" if old is None else f"{_label(name)} changed"
    return f"{_label(name)} {_told(name, old)} → {_told(name, new)}"


_PLAIN_NAMES = {
    "trace": "course of the run",
    "started_at": "start",
    "anodise_min": "time of the run, min",
    "charge_ah": "charge, A·h",
    "current_a": "current, A",
    "film_from_charge_um": "film from charge, µm",
}


def _label(name):
    return FIELDS[name].label if name in FIELDS else _PLAIN_NAMES.get(name, name.removesuffix("_id").replace("_", " "))


def _told(name, value):
    text = value_text(name, value) if name in FIELDS else _plain_text(name, value)
    return text or "nothing"


def _plain_text(name, value):
    if value is None:
        return ""
    if name.endswith("_at"):
        return moment_text(value)
    return f"{value:.4g}" if isinstance(value, float) else str(value)


_VERDICTS = {
    "pass": "Passed",
    "fail": "Failed",
    "redo": "To be done again",
    "redip": "To go back into the dye",
    "accepted_as_is": "Accepted as it is",
}


def verdict_text(verdict, target=None):
    """Return a verdict of the book in words, such as "Passed: ΔE00 1.2 to Lamp knobs, as the sample"."""
    far = "" if verdict["delta_e00"] is None else f": {distance_text(verdict['delta_e00'])}"
    return _VERDICTS[verdict["verdict"]] + far + (f" to {target}" if target else "")

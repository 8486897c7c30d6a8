"""How colours, differences, values, days, batches and their history are written, and the help on photos.

The functions every other module of this folder builds on come first.
"""

import math
from datetime import datetime
from html import escape

from dyebook.flags import FLAGS
from dyebook.lab import delta_e_00, describe_difference
from dyebook.record import FIELDS, is_empty

__all__ = [
    "PHOTO_TIPS",
    "PHOTO_TITLE",
    "batches_text",
    "capital",
    "change_text",
    "day_text",
    "difference_text",
    "distance_text",
    "due_text",
    "dye_text",
    "flag_lines",
    "flaw_text",
    "history_text",
    "import_text",
    "lab_text",
    "measurement_text",
    "moment_text",
    "pairs_html",
    "sentence_text",
    "setting_text",
    "settings_lines",
    "value_text",
    "verdict_text",
]


def setting_text(value) -> str:
    """Return a setting of the shop as it is typed; empty for one that is not set."""
    if isinstance(value, list | tuple):
        return ", ".join(f"{number:g}" for number in value)
    return f"{value:g}" if isinstance(value, float) else str(value or "")


def capital(text):
    """Return text with its first letter as a capital."""
    return text[:1].upper() + text[1:]


def sentence_text(text) -> str:
    """Return words as a sentence."""
    return capital(text) + ("" if text.endswith((".", "!", "?")) else ".")


def lab_text(lab, u=None) -> str:
    """Return "L* 41.2  a* 3.0  b* −38.4", with ± where the uncertainty is known.

    Parameters
    ----------
    lab : sequence of 3 floats
    u : sequence of 3 floats, optional
        Standard uncertainties.
    """
    pieces = []
    for index, name in enumerate(("L*", "a*", "b*")):
        text = f"{name} {lab[index]:.1f}".replace("-", "−")
        if u is not None and math.isfinite(u[index]):
            text += f" ± {2 * u[index]:.1f}"
        pieces.append(text)
    return "  ".join(pieces)


def flag_lines(names) -> list[str]:
    """Return one line per doubt: what was seen, and what to do."""
    return [f"{FLAGS[name].meaning}: {FLAGS[name].remedy}" for name in names]


def measurement_text(measurement) -> str:
    """Return a measurement as lines for the shell.

    Parameters
    ----------
    measurement : Measurement
    """
    width, height = measurement.size
    lines = [f"{measurement.photo}  ({width} × {height})", f"card: {measurement.card_kind}"]
    lines += [f"  ! {line}" for line in flag_lines(measurement.flags)]
    for number, part in enumerate(measurement.parts, start=1):
        lines.append(f"part {number}: {lab_text(part.lab, part.lab_u)}")
        lines += [f"  ! {line}" for line in flag_lines(part.flags)]
        lines += [f"  flaw: {flaw.kind.replace('_', ' ')}, ΔE00 {flaw.delta_e00:.1f}" for flaw in part.flaws]
    lines += [f"note: {warning}" for warning in measurement.warnings]
    return "\n".join(lines)


def batches_text(rows, differences=None) -> str:
    """Return batches as lines for the shell, with their difference to what was looked for where it is known.

    Parameters
    ----------
    rows : sequence of BatchRow
    differences : sequence of float or None, optional
        CIEDE2000, one a row.
    """
    if not rows:
        return "no batch matches"
    lines = []
    for row, difference in zip(rows, differences or [None] * len(rows), strict=True):
        seen = "not read" if row.lab is None else lab_text(row.lab)
        near = "" if difference is None else f"ΔE00 {difference:.2f}  "
        settings = f"film {row.film_um:g} µm, {row.dye_g_per_l:g} g/L, {row.bath_temp_c:g} °C, {row.dwell_min:g} min"
        lines.append(f"batch {row.batch}  {near}{seen}  {row.dye}: {settings}")
    return "\n".join(lines)


def import_text(done) -> str:
    """Return what an import did, or would do, as lines for the shell.

    Parameters
    ----------
    done : Imported
    """
    verb = "would be imported" if done.dry_run else "were imported"
    counts = {"batches": done.batches, "readings": done.readings, "samples": done.samples}
    lines = [", ".join(f"{count} {what}" for what, count in counts.items() if count) + f" {verb} from {done.file}"]
    lines += [f"  {header} → {name}" for header, name in (done.columns or {}).items() if header != name]
    if done.ignored:
        lines.append(f"  not taken: {', '.join(done.ignored)}")
    if done.skipped:
        lines.append(f"  {done.skipped} rows were there already")
    return "\n".join(lines)


def history_text(lines: list[dict]) -> str:
    """Return changes as lines for the shell.

    Parameters
    ----------
    lines
        As `Book.batch_history` gives them.
    """
    if not lines:
        return "nothing was changed"
    texts = []
    for line in lines:
        old, new = line["old"] or {}, line["new"] or {}
        steps = ", ".join(f"{name}: {old.get(name)} → {value}" for name, value in new.items())
        texts.append(f"{line['at']}  {line['who']}  {line['action']} {line['table']} {line['row_id']}  {steps}")
    return "\n".join(texts)


def value_text(name, value) -> str:
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


def moment_text(iso) -> str:
    """Return a moment of the book, ISO text, as "28 Mar 2026, 14:30", or the day alone where no time is known."""
    if not iso:
        return ""
    moment = datetime.fromisoformat(iso)
    if len(iso) <= 10:
        return day_text(moment)
    local = moment.astimezone() if moment.tzinfo else moment
    return f"{day_text(local)}, {local:%H:%M}"


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


def distance_text(delta_e00) -> str:
    """Return a CIEDE2000 difference as "ΔE00 1.8"."""
    return f"ΔE00 {delta_e00:.1f}"


def difference_text(target, sample) -> str:
    """Return how a sample differs from its target, as "ΔE00 1.8: a little lighter and redder"."""
    return f"{distance_text(float(delta_e_00(target, sample)))}: {describe_difference(target, sample)}"


def flaw_text(flaw) -> str:
    """Return a flaw in a few words, such as "pale zone, ΔE00 3.1 against the rest, 4 % of the part"."""
    share = f"{flaw.area_fraction:.0%}".replace("%", " %")
    return f"{flaw.kind.replace('_', ' ')}, {distance_text(flaw.delta_e00)} against the rest, {share} of the part"


def pairs_html(pairs, name="") -> str:
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


def verdict_text(verdict, target=None) -> str:
    """Return a verdict of the book in words, such as "Passed: ΔE00 1.2 to Lamp knobs, as the sample"."""
    far = "" if verdict["delta_e00"] is None else f": {distance_text(verdict['delta_e00'])}"
    return _VERDICTS[verdict["verdict"]] + far + (f" to {target}" if target else "")


PHOTO_TITLE = "How to photograph shiny parts"
PHOTO_TIPS = (
    "Lay a plain matt grey card in the same plane and the same light as the part; 3 to 15 % of the picture is enough. "
    "Tell dyebook the card's own Lab if it is not an 18 % grey.",
    "Soft light: a light tent, or a large white surface beside the lamp. Turn shiny parts so that they mirror "
    "something plain.",
    "Expose so that nothing is blown out. If in doubt, darker.",
    "No crossed polarisers for colour: they take away the metal's reflection, and with it the colour.",
    "Sample and part in one photo are compared best: most of the camera's error cancels.",
    'Flash, filters, HDR and "scenes" off.',
)

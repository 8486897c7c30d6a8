"""Batches and their history in words: settings, changes, imports, and the verdicts kept in the book."""

from dyebook.record import FIELDS
from dyebook.report.words import distance_text, lab_text, moment_text, value_text

__all__ = [
    "batches_text", "change_text", "dye_text", "history_text", "import_text", "job_text", "settings_lines",
    "verdict_text",
]  # fmt: skip


def batches_text(rows, differences=None) -> str:
    """Return batches as lines for the shell, with their difference to what was looked for where it is known.

    `rows`: sequence of BatchRow. `differences` (sequence of float or None, optional): CIEDE2000, one a row.
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


def job_text(row) -> list[str]:
    """Return the job that a batch was dyed for, with its customer, as one text; none without an order."""
    return [", ".join(filter(None, (row.job, row.customer)))] if row.job else []


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
    return f"{_label(name)} {_shown(name, old)} → {_shown(name, new)}"


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


def _shown(name, value):
    text = value_text(name, value) if name in FIELDS else _plain_text(name, value)
    return text or "nothing"


def _plain_text(name, value):
    if value is None:
        return ""
    if name.endswith("_at"):
        return moment_text(value)
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def history_text(lines: list[dict]) -> str:
    """Return changes, as `Book.batch_history` gives them, as lines for the shell."""
    return "\n".join(map(change_text, lines)) or "nothing was changed"


def import_text(done) -> str:
    """Return what an import did, or would do, as lines for the shell."""
    verb = "would be imported" if done.dry_run else "were imported"
    counts = {"batches": done.batches, "readings": done.readings, "samples": done.samples}
    lines = [", ".join(f"{count} {what}" for what, count in counts.items() if count) + f" {verb} from {done.file}"]
    lines += [f"  {header} → {name}" for header, name in (done.columns or {}).items() if header != name]
    if done.ignored:
        lines.append(f"  not taken: {', '.join(done.ignored)}")
    if done.skipped:
        lines.append(f"  {done.skipped} rows were there already")
    return "\n".join(lines)


_VERDICTS = {
    "pass": "Passed",
    "fail": "Failed",
    "redo": "To be done again",
    "redip": "To go back into the dye",
    "accepted_as_is": "Accepted as it is",
}


def verdict_text(verdict, target=None) -> str:
    """Return a verdict of the book in words, such as "Passed: ΔE00 1.2, seen side by side, against Lamp knobs"."""
    far = "" if verdict["delta_e00"] is None else f": {distance_text(verdict['delta_e00'])},"
    return (_VERDICTS[verdict["verdict"]] + far + (f" against {target}" if target else "")).removesuffix(",")

"""Result objects to text; the only place that formats numbers for people."""

import math

from dyebook.flags import FLAGS

__all__ = ["batches_text", "flag_lines", "history_text", "import_text", "lab_text", "measurement_text"]


def lab_text(lab, u=None):
    """Return "L* 41.2  a* 3.0  b* −38.4", with ± where the uncertainty is known.

    Parameters
    ----------
    lab : sequence of 3 floats
    u : sequence of 3 floats, optional
        Standard uncertainties.

    Returns
    -------
    str
    """
    pieces = []
    for index, name in enumerate(("L*", "a*", "b*")):
        text = f"{name} {lab[index]:.1f}".replace("-", "−")
        if u is not None and math.isfinite(u[index]):
            text += f" ± {2 * u[index]:.1f}"
        pieces.append(text)
    return "  ".join(pieces)


def flag_lines(names):
    """Return one line per doubt: what was seen, and what to do."""
    return [f"{FLAGS[name].meaning}: {FLAGS[name].remedy}" for name in names]


def measurement_text(measurement):
    """Return a measurement as lines for the shell.

    Parameters
    ----------
    measurement : Measurement

    Returns
    -------
    str
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


def batches_text(rows, differences=None):
    """Return batches as lines for the shell, with their difference to what was looked for where it is known.

    Parameters
    ----------
    rows : sequence of BatchRow
    differences : sequence of float or None, optional
        CIEDE2000, one a row.

    Returns
    -------
    str
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


def import_text(told):
    """Return what an import did, or would do, as lines for the shell.

    Parameters
    ----------
    told : Imported

    Returns
    -------
    str
    """
    verb = "would be imported" if told.dry_run else "were imported"
    counts = {"batches": told.batches, "readings": told.readings, "samples": told.samples}
    lines = [", ".join(f"{count} {what}" for what, count in counts.items() if count) + f" {verb} from {told.file}"]
    lines += [f"  {header} → {name}" for header, name in (told.columns or {}).items() if header != name]
    if told.ignored:
        lines.append(f"  not taken: {', '.join(told.ignored)}")
    if told.skipped:
        lines.append(f"  {told.skipped} rows were there already")
    return "\n".join(lines)


def history_text(lines):
    """Return changes as lines for the shell.

    Parameters
    ----------
    lines : list of dict
        As `Book.batch_history` gives them.

    Returns
    -------
    str
    """
    if not lines:
        return "nothing was changed"
    told = []
    for line in lines:
        old, new = line["old"] or {}, line["new"] or {}
        steps = ", ".join(f"{name}: {old.get(name)} → {value}" for name, value in new.items())
        told.append(f"{line['at']}  {line['who']}  {line['action']} {line['table']} {line['row_id']}  {steps}")
    return "\n".join(told)

"""Results as rich HTML for notebooks: colours as swatches, figures with their doubt, words for what to do."""

import math

from dyebook.flags import FLAGS
from dyebook.lab import Lab, describe_colour
from dyebook.record import FIELDS
from dyebook.report.paper.html import html_fragment
from dyebook.report.paper.sheet import Pairs, Prose, Ribbon, Row, Shown, Swatches, Table, ink_of
from dyebook.report.photo import flag_lines, flaw_text, gloss_text
from dyebook.report.shade import (
    AWAY,
    NEAR,
    footing_text,
    forgiving_text,
    lamp_text,
    outlook_text,
    reach_word,
    setting_rows,
)
from dyebook.report.trouble import verdict_text
from dyebook.report.words import distance_text, lab_text, sentence_text, value_text

__all__ = ["draw"]

_SETTINGS = ("film_um", "dye_g_per_l", "bath_temp_c", "dwell_min", "ph")


def draw(result) -> str | None:
    """Return a result as HTML that stands alone, all text escaped; None for a kind that is not drawn.

    `result`: Reading, Measurement, BathModel, Suggestion, Cause or Verdict.
    """
    for kind in type(result).__mro__:
        if kind.__name__ in _KINDS:
            return _KINDS[kind.__name__](result)
    return None


def _reading(reading):
    lines = [describe_colour(reading.lab), lab_text(reading.lab, reading.lab_u), *gloss_text(reading)]
    if math.isfinite(reading.uniformity):
        lines.append(f"spread over the part: {distance_text(reading.uniformity)}")
    if math.isfinite(reading.area_mm2):
        lines.append(f"{reading.area_mm2:.0f} mm² seen")
    swatch = Swatches((Shown("Reading", reading.lab, tuple(lines)),))
    return html_fragment([Row(((1.0, [swatch]), (1.0, _doubts(reading.flags, reading.flaws))))])


def _doubts(flags, flaws=()):
    lines = [sentence_text(line) for line in flag_lines([name for name in flags if name in FLAGS])]
    lines += [sentence_text(f"flaw: {flaw_text(flaw)}") for flaw in flaws]
    return [Prose(tuple(lines) or ("None.",), "Doubts")]


def _measurement(measurement):
    width, height = measurement.size
    head = f"{measurement.photo}, {width} × {height}; card: {measurement.card_kind}"
    rows = [
        (str(number), part.lab, describe_colour(part.lab), lab_text(part.lab, part.lab_u), _short_doubts(part))
        for number, part in enumerate(measurement.parts, start=1)
    ]
    table = Table("", ("part", "", "", "reading", "doubts"), tuple(rows), (1, 1, 2, 4, 4))
    notes = [f"Note: {sentence_text(warning)}" for warning in measurement.warnings]
    doubts = _doubts(measurement.flags) if measurement.flags else []
    blocks = [Prose((head,)), *([table] if rows else []), *doubts, *([Prose(tuple(notes))] if notes else [])]
    return html_fragment([Row(((1.0, blocks),))], before=_plan(measurement))


def _short_doubts(part):
    words = [FLAGS[name].meaning for name in part.flags if name in FLAGS]
    return "; ".join(words + [flaw.kind.replace("_", " ") for flaw in part.flaws])


def _plan(measurement):
    """The photo's frame with card and parts in their colours, as SVG."""
    width, height = measurement.size
    shapes = [(measurement.card_quad, measurement.card_lab)] if measurement.card_quad is not None else []
    shapes += [(part.outline, part.lab) for part in measurement.parts if part.outline]
    drawn = ""
    for outline, lab in shapes:
        (red, green, blue), _ = ink_of(lab)
        points = " ".join(f"{x:.0f},{y:.0f}" for x, y in outline)
        drawn += f'<polygon points="{points}" fill="rgb({red},{green},{blue})" stroke="#1c1d1f"/>'
    line = max(width, height) / 400
    return (
        f'<svg viewBox="0 0 {width} {height}" role="img" aria-label="where card and parts lie in the photo" '
        f'style="max-width:22rem;max-height:16rem" stroke-width="{line:.1f}">'
        f'<rect width="{width}" height="{height}" fill="#b9b9b9"/>{drawn}</svg>'
    )


def _bath_model(model):
    training = model.training
    labs = tuple(Lab(*map(float, lab)) for lab in training.lab)
    order = sorted(range(len(labs)), key=lambda place: -labs[place].L)
    ribbon = Ribbon("Its dips, light to dark", tuple(labs[place] for place in order))
    pairs = [("dips", str(len(training)))]
    for name in _SETTINGS:
        column = getattr(training.settings, name)
        pairs.append((FIELDS[name].label, _range_text(name, float(column.min()), float(column.max()))))
    pairs.append(("taken where none is given", f"film {model.usual.film_um:.3g} µm, pH {model.usual.ph:.2g}"))
    notes = [Prose(tuple(sentence_text(note) for note in training.notes), "Notes")] if training.notes else []
    return html_fragment([Row(((1.0, [ribbon, Pairs("A learned bath", tuple(pairs)), *notes]),))])


def _range_text(name, low, high):
    first, last = value_text(name, low), value_text(name, high)
    return first if first == last else f"{first} to {last}"


def _suggestion(one):
    title = "Nearest this bath gets" if reach_word(one) in (NEAR, AWAY) else "Expected"
    swatch = Swatches((Shown(title, one.lab, (describe_colour(one.lab), lab_text(one.lab))),))
    words = Prose((outlook_text(one), footing_text(one), forgiving_text(one), lamp_text(one)))
    return html_fragment(
        [Row(((1.0, [swatch]), (1.0, [Pairs("Set", tuple(setting_rows(one.settings)))]))), _row(words)]
    )


def _cause(cause):
    pairs = [("because", cause.because), ("what to do", cause.remedy), ("caution", cause.caution)]
    pairs += [("test next", cause.next_test)] if cause.next_test else []
    heading = f"{100 * cause.probability:.0f} %  {cause.id.replace('_', ' ')}"
    return html_fragment([_row(Pairs(heading, tuple(pair for pair in pairs if pair[1])))])


def _verdict(verdict):
    first, *rest = verdict_text(verdict).split("\n")
    return html_fragment([_row(Prose(tuple(map(sentence_text, rest)), sentence_text(first)))])


def _row(block):
    return Row(((1.0, [block]),))


_KINDS = {
    "Reading": _reading,
    "Measurement": _measurement,
    "BathModel": _bath_model,
    "Suggestion": _suggestion,
    "Cause": _cause,
    "Verdict": _verdict,
}

"""The batch card for the bench, and the shade note for the customer: the colour against what was wanted, no recipe."""

from dyebook.flags import FLAGS
from dyebook.lab import Lab, describe_colour
from dyebook.record import FIELDS
from dyebook.report.batches import dye_text, verdict_text
from dyebook.report.paper.sheet import Code, Pairs, Picture, Prose, Row, Sheet, Shown, Swatches, plain_text
from dyebook.report.photo import flag_lines
from dyebook.report.plots import trace_png
from dyebook.report.shade import sentence_text
from dyebook.report.trouble import verdict_figures
from dyebook.report.words import (
    PLUS_MINUS,
    day_text,
    distance_text,
    figure_text,
    lab_text,
    minutes_text,
    moment_text,
    value_text,
)

__all__ = ["SEALS", "card_sheet", "code_text", "note_sheet", "state_words"]

# what one page holds at a size that can be read
_MOST_NOTE, _MOST_NAME, _MOST_DOUBTS, _MOST_VERDICTS, _MOST_DIPS = 420, 60, 3, 2, 4
_LEAST_LOG = 3
APPROXIMATE = "Printed and shown swatches are approximate: judge the part itself."
SEALS = {
    "hot_water": "hot water",
    "nickel_acetate": "nickel acetate",
    "cold": "cold",
    "mid_temperature": "mid temperature",
    "steam": "steam",
    "other": "sealed",
}


def card_sheet(facts) -> Sheet:
    """Return the card of a batch, one page."""
    row = facts.row
    when = row.dyed_at or row.added_at
    colour = [_swatch(facts), *_doubts(facts)]
    columns = ((1.0, colour),) if facts.picture is None else ((1.25, [_photo(facts, 92.0)]), (1.0, colour))
    settings = ((1.0, [Pairs("Set", tuple(_settings(facts)))]), (1.0, [Pairs("Run", tuple(_run(facts)))]))
    decided = (
        (1.0, [_verdicts(facts), Prose(tuple(_notes(facts)), "Notes")]),
        (1.0, [Code(code_text(facts), _code_words(facts))]),
    )
    return Sheet(
        title=f"Batch {row.batch}",
        lead=f"{_cut(dye_text(row), _MOST_NAME)}, {moment_text(when)}",
        corner="\n".join(_cut(line, _MOST_NAME) for line in (facts.shop, _order_words(facts.order)) if line),
        rows=(Row(columns), Row(settings), *_log(facts), Row(decided)),
        foot=f"{APPROXIMATE} L*a*b* under D65, 2°; {PLUS_MINUS}",
        one_page=True,
    )


def state_words(reading) -> str:
    """Return the state of the surface when it was read, such as "dry, sealed"; empty where it was not noted."""
    wet = {None: "", True: "wet", False: "dry"}[None if reading["wet"] is None else bool(reading["wet"])]
    sealed = {None: "", True: "sealed", False: "not sealed"}
    words = (wet, sealed[None if reading["sealed"] is None else bool(reading["sealed"])])
    return ", ".join(word for word in words if word)


def shown_batch(row, title):
    """Return a batch's colour as a swatch shows it."""
    if row.lab is None:
        return Shown(title, None, ("not read yet",))
    return Shown(title, row.lab, (describe_colour(row.lab), figures_text(row.lab, row.lab_u)))


def figures_text(lab, lab_u=None) -> str:
    """Return L*, a* and b*, none of them broken over two lines."""
    return "  ".join(piece.replace(" ", "\u00a0") for piece in lab_text(lab, lab_u).split("  "))


def code_text(facts):
    """Return what the code of a batch says: its address in the app, or what was set where no address is known."""
    row = facts.row
    if facts.link:
        return facts.link
    settings = [f"film {value_text('film_um', row.film_um)}"]
    settings += [value_text(name, getattr(row, name)) for name in ("dye_g_per_l", "bath_temp_c", "dwell_min")]
    seen = [] if row.lab is None else [lab_text(row.lab)]
    return "\n".join(
        [f"Batch {row.batch}", plain_text(dye_text(row))[:_MOST_NAME], ", ".join(filter(None, settings)), *seen]
    )


def _code_words(facts):
    if facts.link:
        return f"Opens batch {facts.row.batch} in the shop's book:\n{facts.link}"
    return f"Batch {facts.row.batch} in short, readable without a network."


def _order_words(order):
    return "" if order is None else ", ".join(filter(None, [order["name"], order["customer"]]))


def _swatch(facts):
    row = facts.row
    shown = shown_batch(row, "Read" if row.readings < 2 else f"Mean of {row.readings} readings")
    state = state_words({"wet": row.wet, "sealed": row.sealed})
    source = facts.readings[0]["source"] if facts.readings else None
    by = {"photo": "from a photo", "instrument": "by an instrument", "typed": "as typed", None: ""}[source]
    words = ", ".join(filter(None, (by, state)))
    height_mm = 60.0 if facts.picture is None else 44.0
    return Swatches((Shown(shown.title, shown.lab, (*shown.lines, *([words] if words else []))),), height_mm)


def _photo(facts, height_mm):
    """The batch's photo as a sheet shows it; rendered ones are marked as such."""
    words = "Rendered, not photographed." if facts.rendered else f"Batch {facts.row.batch} as photographed."
    return Picture(facts.picture[1], words, height_mm)


def _doubts(facts):
    newest = facts.readings[0] if facts.readings else {}
    flags = [name for name in newest.get("flags") or () if name in FLAGS][:_MOST_DOUBTS]
    lines = [sentence_text(line) for line in flag_lines(flags)]
    lines += [_flaw_words(flaw) for flaw in (newest.get("flaws") or ())[:_MOST_DOUBTS]]
    if facts.problem:
        lines.append(f"The photo kept with it cannot be shown: {facts.problem}")
    return [Prose(tuple(lines), "Doubts", "small")] if lines else []


def _flaw_words(flaw):
    far = flaw.get("delta_e00")
    return f"Flaw: {flaw['kind'].replace('_', ' ')}" + ("" if far is None else f", {distance_text(far)}")


def _settings(facts):
    row = facts.row
    yield "dye", _cut(dye_text(row), _MOST_NAME)
    yield from field_rows(row, ("dye_g_per_l", "bath_temp_c", "dwell_min", "ph"))
    for number, dip in enumerate(facts.dips[1:_MOST_DIPS], start=2):
        yield f"dip {number}", _cut(_dip_words(dip), 2 * _MOST_NAME)
    if len(facts.dips) > _MOST_DIPS:
        yield "more dips", f"{len(facts.dips) - _MOST_DIPS}, in the book"
    if row.rinse_temp_c == row.rinse_temp_c:
        yield "rinse", value_text("rinse_temp_c", row.rinse_temp_c)
    yield from field_rows(row, ("wait_min", "dye_lot"))
    for seal in facts.seals:
        yield "seal", _seal_words(seal)
    yield from field_rows(row, ("seal_stain", "jig_place", "contact_marks"))


def field_rows(row, names):
    """Yield (label, text) of the fields that were noted; `row` is a batch or a dict."""
    for name in names:
        text = value_text(name, row[name] if isinstance(row, dict) else getattr(row, name))
        if text:
            yield FIELDS[name].label, _cut(text, _MOST_NAME)


def _dip_words(dip):
    names = ", ".join(filter(None, (dip["dye"], dip["bath"] and f"bath {dip['bath']}")))
    figures = [value_text(name, dip[name]) for name in ("dye_g_per_l", "bath_temp_c", "dwell_min")]
    masked = dip["masked"] and f"masked: {dip['masked']}"
    return "; ".join(filter(None, (names, ", ".join(filter(None, figures)), masked)))


def _seal_words(seal):
    kind = SEALS.get(seal["kind"], "")
    temp = "" if seal["seal_temp_c"] is None else f"{seal['seal_temp_c']:g} °C"
    time = "" if seal["dwell_min"] is None else minutes_text(seal["dwell_min"])
    return ", ".join(filter(None, (kind, temp, time))) or "done"


_RUN_FIELDS = ("area_dm2", "current_density_a_per_dm2", "electrolyte_temp_c", "alloy", "finish")


def _run(facts):
    yield from film_rows(facts)
    yield from field_rows(facts.row, _RUN_FIELDS)
    run = facts.run or {}
    if run.get("charge_ah") is not None:
        yield "charge", f"{run['charge_ah']:.3g} A·h"
    if run.get("anodise_min") is not None:
        yield "time", minutes_text(run["anodise_min"])
    if facts.preparations:
        yield "prepared", _cut(", ".join(map(_step_words, facts.preparations)), 2 * _MOST_NAME)
    happened = [event["kind"].replace("_", " ") for event in (run.get("trace") or {}).get("events", ())]
    if happened:
        yield "what happened", _cut(", ".join(happened), _MOST_NAME)


def film_rows(facts):
    """Yield (label, text) of the film: by its gauge, and as planned or worked out from charge."""
    row, run = facts.row, facts.run or {}
    if row.film_measured_um == row.film_measured_um:
        yield "film by gauge", figure_text("film_um", row.film_measured_um)
    if row.film_um == row.film_um:
        sd = row.film_sd_um if row.film_sd_um == row.film_sd_um else None
        from_charge = run.get("film_from_charge_um") is not None
        yield "film from charge" if from_charge else "film planned", figure_text("film_um", row.film_um, sd)


def _step_words(step):
    time = "" if step["dwell_min"] is None else minutes_text(step["dwell_min"])
    passed = {None: "", True: "passed", False: "failed"}[None if step["passed"] is None else bool(step["passed"])]
    return " ".join(filter(None, (step["kind"].replace("_", " "), time, passed)))


def _log(facts):
    """The run's current over time as a row of its own, where enough of it was noted."""
    trace = (facts.run or {}).get("trace") or {}
    if len(trace.get("time_min", ())) < _LEAST_LOG:
        return []
    how = "as noted by hand" if trace.get("by_hand") else "as logged"
    drawn = trace_png(trace["time_min"], trace["current_a"], by_hand=bool(trace.get("by_hand")))
    return [Row(((1.0, [Picture(drawn, f"Current of the run in A over minutes, {how}.", 34.0)]),))]


def _verdicts(facts):
    lines = []
    for verdict, target in facts.verdicts[:_MOST_VERDICTS]:
        lines.append(verdict_text(verdict, target and target["name"]))
        if verdict["note"]:
            lines.append(_cut(verdict["note"], _MOST_NOTE // 2))
    return Prose(tuple(lines) or ("None yet.",), "Verdict")


def _notes(facts):
    if facts.row.note:
        yield _cut(facts.row.note, _MOST_NOTE)
    if facts.row.replaces:
        yield f"Done again after stripping batch {facts.row.replaces}."
    for number in facts.replaced_by:
        yield f"Stripped; done again as batch {number}."
    if not (facts.row.note or facts.row.replaces or facts.replaced_by):
        yield "None."


def _cut(text, most):
    """Text in one piece, and short enough for the one page."""
    text = " ".join(text.split())
    return text if len(text) <= most else f"{text[:most].rstrip()} … (more in the book)"


def note_sheet(facts, today) -> Sheet:
    """Return the shade note of a batch, for the customer: the colour against what was wanted, and no recipe."""
    batch, order = facts.batch, facts.order
    shown = [] if facts.target is None else [_shown_target(facts.target)]
    shown.append(shown_batch(batch.row, "Made" if facts.target else "The colour"))
    answer = [Prose(tuple(_answer(facts)), "Result", "large")]
    finish = Pairs("The finish", tuple(_finish(batch)))
    second = ((1.0, [finish]),) if batch.picture is None else ((1.0, [_photo(batch, 70.0)]), (1.0, [finish]))
    return Sheet(
        title="Shade note",
        lead=", ".join([order["name"], *filter(None, [order["customer"]])]) if order else f"Batch {batch.row.batch}",
        corner="\n".join(line for line in (batch.shop, day_text(today), f"batch {batch.row.batch}") if line),
        rows=(
            Row(((1.0, [Swatches(tuple(shown), 46.0)]),)),
            Row(((1.0, answer),)),
            Row(second),
            Row(((1.0, [Prose(_HOW_TO_JUDGE, "How to judge it", "small")]),)),
            Row(((1.0, [Prose(("Seen and agreed:  ______________________________    Date:  ________________",))]),)),
        ),
        foot=f"{APPROXIMATE} {PLUS_MINUS}",
        one_page=True,
    )


_HOW_TO_JUDGE = (
    "Lay the part beside the sample, in the same plane, in daylight from a north window or under a daylight lamp, and "
    "look from the side on which no lamp mirrors in the metal. Two pieces that match in daylight may differ under "
    "other lamps.",
    "The colour was read from a photo beside a grey card or typed from an instrument, as CIE 1976 L*a*b* under D65 "
    "and the 2° observer, without mirror reflections. ΔE00 is the CIEDE2000 difference: about 1 is hard to see side "
    "by side. Dyes differ in how well they stand sunlight; ask before a part is used outdoors.",
)


def _shown_target(target):
    lab = Lab(target["L"], target["a"], target["b"])
    return Shown("Wanted", lab, (describe_colour(lab), figures_text(lab), target["name"]))


_ANSWERS = {
    "in": "Within the agreed tolerance.",
    "out": "Outside the agreed tolerance.",
    "cannot_tell": "The photo does not settle it: judge it by eye, beside the sample.",
}


def _answer(facts):
    verdict = facts.verdict
    if verdict is None:
        yield "Not read yet." if facts.batch.row.lab is None else "No shade was agreed to compare it with."
        return
    answer = _ANSWERS[verdict.verdict]
    yield answer.replace("the agreed tolerance", "the agreed light and dark limit") if verdict.between else answer
    how = "no difference to speak of" if verdict.words == "the same" else f"{verdict.words} than wanted"
    yield f"{verdict_figures(verdict, 'tolerance')}: {how}."


def _finish(batch):
    row = batch.row
    yield from list(film_rows(batch))[:1]
    yield from field_rows(row, ("alloy", "finish"))
    for seal in batch.seals:
        yield "sealed", SEALS.get(seal["kind"], "yes")
    if not batch.seals and row.sealed is not None:
        yield "sealed", value_text("sealed", row.sealed)
    if batch.pieces:
        yield "pieces", str(batch.pieces)
    if row.dyed_at:
        yield "dyed", moment_text(row.dyed_at)

"""The shade note for the customer: the colour against what was wanted, and no recipe."""

from dyebook.flags import FLAGS
from dyebook.lab import Lab, describe_colour
from dyebook.report_card import (
    APPROXIMATE,
    SEALS,
    field_rows,
    figures_text,
    film_rows,
    newest_flags,
    photo_block,
    shown_batch,
)
from dyebook.report_screen import day_text, distance_text, moment_text, value_text
from dyebook.report_shade import sentence_text
from dyebook.report_sheet import Pairs, Prose, Row, Sheet, Shown, Swatches

__all__ = ["note_sheet"]


def note_sheet(facts, today):
    """Return the shade note of a batch, for the customer: the colour against what was wanted, and no recipe.

    Parameters
    ----------
    facts : ShadeFacts
    today : date

    Returns
    -------
    Sheet
    """
    batch, order = facts.batch, facts.order
    shown = [] if facts.target is None else [_shown_target(facts.target)]
    shown.append(shown_batch(batch.row, "Made" if facts.target else "The colour"))
    answer = [Prose(tuple(_answer(facts)), "Result", "large"), Prose(tuple(_notes_of(facts)), size="small")]
    finish = Pairs("The finish", tuple(_finish(batch)))
    second = ((1.0, [finish]),) if batch.picture is None else ((1.0, [photo_block(batch, 70.0)]), (1.0, [finish]))
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
        foot=APPROXIMATE,
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
    "cannot_tell": "Too near the limit of the tolerance to tell by this reading.",
}


def _answer(facts):
    verdict = facts.verdict
    if verdict is None:
        yield "Not read yet." if facts.batch.row.lab is None else "No shade was agreed to compare it with."
        return
    yield _ANSWERS[verdict.verdict]
    how = "no difference to speak of" if verdict.words == "the same" else f"{verdict.words} than wanted"
    yield f"{distance_text(verdict.delta_e)}, tolerance {verdict.tolerance:g}: {how}."


def _notes_of(facts):
    if facts.verdict is not None:
        yield sentence_text(facts.verdict.why)
        yield from (f"Note: {note}." for note in facts.verdict.notes)
    doubts = [FLAGS[name].meaning for name in newest_flags(facts.batch)]
    if doubts:
        yield f"The reading has doubts: {'; '.join(doubts)}."


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

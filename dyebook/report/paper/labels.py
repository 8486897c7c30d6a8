"""Labels for bags on sheets of A4 or Letter: a swatch, the batch's number in large, its words, and its code."""

from dataclasses import dataclass

from dyebook.report.batches import dye_text
from dyebook.report.paper.card import code_text, state_words
from dyebook.report.paper.pdf import draw_code, new_pdf, printable
from dyebook.report.paper.sheet import PAPERS_MM, ink_of
from dyebook.report.words import moment_day, value_text

__all__ = ["GRIDS", "USUAL_GRIDS", "Grid", "labels_pdf", "places"]

_INK, _GREY = 28, 95
_LINE_MM = 25.4 / 72 * 1.2  # of a line, per point


@dataclass(frozen=True)
class Grid:
    """Labels on a sheet: `columns` × `rows` of `width_mm` × `height_mm`, `gap_mm` between columns, centred.

    `top_mm` is the margin above the first row; the sheet's sides are shared out evenly.
    """

    paper: str
    columns: int
    rows: int
    width_mm: float
    height_mm: float
    gap_mm: float
    top_mm: float


# sizes as label sheets are commonly cut; common practice, no source
GRIDS = {
    "a4-3x7": Grid("a4", 3, 7, 63.5, 38.1, 2.5, 15.15),
    "a4-3x8": Grid("a4", 3, 8, 70.0, 36.0, 0.0, 4.5),
    "a4-2x7": Grid("a4", 2, 7, 99.1, 38.1, 2.5, 15.15),
    "letter-3x10": Grid("letter", 3, 10, 66.675, 25.4, 3.175, 12.7),
    "letter-2x5": Grid("letter", 2, 5, 101.6, 50.8, 4.775, 12.7),
}

USUAL_GRIDS = {"a4": "a4-3x7", "letter": "letter-3x10"}  # by the paper of the shop


def places(grid):
    """Return the top left corner of each label of a sheet in mm, row by row."""
    across = grid.columns * grid.width_mm + (grid.columns - 1) * grid.gap_mm
    left = (PAPERS_MM[grid.paper][0] - across) / 2
    return [
        (left + column * (grid.width_mm + grid.gap_mm), grid.top_mm + row * grid.height_mm)
        for row in range(grid.rows)
        for column in range(grid.columns)
    ]


def labels_pdf(batches, grid: Grid, first: int = 1, outlines: bool = False) -> bytes:
    """Return sheets of labels as PDF, one for each batch given.

    Parameters
    ----------
    batches : sequence of BatchFacts
    first
        The first free label of the first sheet, from 1, row by row.
    outlines
        Whether to draw the edges, for plain paper and scissors.
    """
    corners = places(grid)
    if not 1 <= first <= len(corners):
        raise ValueError(f"first is {first}; a sheet has labels 1 to {len(corners)}")
    pdf = new_pdf(PAPERS_MM[grid.paper], "dyebook labels")
    for number, facts in enumerate(batches, start=first - 1):
        if number % len(corners) == 0 or not pdf.page:
            pdf.add_page()
        x, y = corners[number % len(corners)]
        if outlines:
            pdf.set_draw_color(_GREY)
            pdf.set_line_width(0.1)
            pdf.rect(x, y, grid.width_mm, grid.height_mm, style="D")
        _label(pdf, facts, x, y, grid)
    return bytes(pdf.output())


def _label(pdf, facts, x, y, grid):
    edge = 2.0
    height = grid.height_mm - 2 * edge
    side = min(height, 22.0, grid.width_mm * 0.3)
    patch = 7.0
    _patch(pdf, facts.row.lab, x + edge, y + edge, patch, height)
    draw_code(pdf, code_text(facts), x + grid.width_mm - edge - side, y + edge, side)
    left, width = x + edge + patch + 2, grid.width_mm - 2 * edge - patch - side - 5
    small = min(max(7.2, 0.21 * height), 10.0)
    below = y + grid.height_mm - edge
    y = _line(pdf, str(facts.row.batch), left, y + edge - 0.6, width, 2 * small, bold=True)
    for line in _lines(pdf, facts, width, small):
        if y + small * _LINE_MM <= below:
            y = _line(pdf, line, left, y, width, small)


def _patch(pdf, lab, x, y, width, height):
    """A strip of the colour; struck through where it is not known."""
    pdf.set_draw_color(_GREY)
    pdf.set_line_width(0.15)
    if lab is None:
        pdf.rect(x, y, width, height, style="D")
        pdf.line(x, y + height, x + width, y)
    else:
        pdf.set_fill_color(*ink_of(lab)[0])
        pdf.rect(x, y, width, height, style="DF")


def _lines(pdf, facts, width, points):
    row = facts.row
    pdf.set_font("sheet", "", points)
    names = [dye_text(row)]
    if pdf.get_string_width(printable(names[0])) > width:
        names = names[0].split(", ")
    pieces = f"{facts.pieces} pieces" if facts.pieces else ""
    order = facts.order["name"] if facts.order else ""
    state = state_words({"wet": row.wet, "sealed": row.sealed})
    figures = " · ".join(filter(None, (value_text("film_um", row.film_um), value_text("dwell_min", row.dwell_min))))
    when = moment_day(row.dyed_at or row.added_at)
    note = "" if (row.note or "").casefold() == order.casefold() else row.note
    return [line for line in (order, *names, figures, when, pieces, note, state) if line]


def _line(pdf, text, x, y, width, points, bold=False):
    """Write one line, cut where it is too long, and return where the next begins."""
    pdf.set_font("sheet", "B" if bold else "", points)
    pdf.set_text_color(_INK)
    text = printable(text).replace("\n", " ")
    if pdf.get_string_width(text) > width:
        while text and pdf.get_string_width(text + "…") > width:
            text = text[:-1]
        text = text.rstrip() + "…"
    height = points * _LINE_MM
    pdf.set_xy(x, y)
    pdf.cell(width, height, text)
    return y + height

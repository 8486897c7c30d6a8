"""A sheet as a PDF: blocks drawn down columns, tables over as many pages as they need, any name that was typed.

A block draws itself at its place and returns where it ends. Where a sheet must be one page, pictures shrink, then type.
"""

from functools import cache
from pathlib import Path

from dyebook.lab import Lab
from dyebook.report.paper.sheet import (
    OUTSIDE,
    PAPERS_MM,
    Code,
    Pairs,
    Picture,
    Prose,
    Ribbon,
    Swatches,
    Table,
    ink_of,
    plain_text,
)

__all__ = ["draw_code", "draw_fields", "new_pdf", "pdf_bytes", "printable"]

GAP_MM = 5.5
_SURROUND = 185  # neutral, so that a swatch is judged beside grey
_MARGIN, _GUTTER = 15.0, 8.0
_SIZES = {"normal": 10.0, "small": 8.0, "large": 13.0}
_INK, _GREY, _PALE = 28, 95, 205
_MM_PER_PT, _LEADING = 25.4 / 72, 1.32
# how pictures, then type too, shrink until a sheet fits its one page
_SHRINK = ((1.0, 1.0), (0.85, 1.0), (0.7, 1.0), (0.55, 1.0), (0.45, 0.9), (0.35, 0.8), (0.25, 0.7))


def pdf_bytes(sheet, paper="a4") -> bytes:
    """Return a sheet as PDF.

    `paper` is "a4" or "letter".
    """
    pages = _Pages(new_pdf(PAPERS_MM[paper], sheet.title), sheet, PAPERS_MM[paper])
    if sheet.one_page:
        pages.fit()
    pages.draw()
    return bytes(pages.pdf.output())


def new_pdf(size_mm, title):
    """Return an empty document whose font shows Latin, Greek and Cyrillic letters; sizes in mm."""
    from fpdf import FPDF

    pdf = FPDF(unit="mm", format=size_mm)
    for style, file in _fonts().items():
        pdf.add_font("sheet", style, file)
    pdf.set_auto_page_break(False)
    pdf.set_margin(0)
    pdf.c_margin = 0
    pdf.set_title(plain_text(title))
    pdf.set_creator("dyebook")
    return pdf


@cache
def _fonts():
    """Files of the upright and the bold font: DejaVu Sans, which Matplotlib brings along, knows most alphabets."""
    import matplotlib

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    return {"": folder / "DejaVuSans.ttf", "B": folder / "DejaVuSans-Bold.ttf"}


@cache
def _known():
    """Code points that the font has a shape for."""
    from matplotlib.ft2font import FT2Font

    return frozenset(FT2Font(str(_fonts()[""])).get_charmap()) | {ord("\n")}


def printable(text) -> str:
    """Return text as it can be printed: a box stands for what the font has no shape for."""
    return "".join(character if ord(character) in _known() else "□" for character in plain_text(text))


class _Pages:
    """The pages of one sheet being drawn, y down in mm; without `ink`, things are only measured."""

    def __init__(self, pdf, sheet, size_mm):
        self.pdf, self.sheet = pdf, sheet
        self.width, self.height = size_mm
        self.bottom = self.height - _MARGIN - 7
        self.ink, self.scale, self.type = True, 1.0, 1.0

    def fit(self):
        """Shrink pictures, then type, until everything fits onto one page, as far as that goes."""
        self.pdf.add_page()
        self.ink = False
        for self.scale, self.type in _SHRINK:
            y = self._head()
            for row in self.sheet.rows:
                y = self._row(row, y) + GAP_MM
            if y - GAP_MM <= self.bottom:
                break
        self.ink = True

    def draw(self):
        """Draw everything."""
        if not self.pdf.page:
            self.pdf.add_page()
        y = self._head()
        self._foot()
        for row in self.sheet.rows:
            if not _has_table(row):
                y = self.room(y, self._measured(row))
            y = self._row(row, y) + GAP_MM

    def room(self, y, height):
        """Return where something of a height can go: at y, or at the top of a new page."""
        if not self.ink or y + height <= self.bottom or y <= _MARGIN:
            return y
        self.pdf.add_page()
        self._foot()
        return _MARGIN

    def words(self, text, x, y, width, size="normal", bold=False, grey=False, align="L"):
        """Write text into a column and return where it ends."""
        if not text:
            return y
        points = _SIZES.get(size, size) * self.type
        self.pdf.set_font("sheet", "B" if bold else "", points)
        self.pdf.set_text_color(_GREY if grey else _INK)
        self.pdf.set_xy(x, y)
        line = points * _MM_PER_PT * _LEADING
        text = printable(text) or " "  # nothing that can be shown: the line stays
        return y + self.pdf.multi_cell(
            width, line, text, align=align, dry_run=not self.ink, output="HEIGHT", new_x="LEFT", new_y="NEXT"
        )

    def box(self, x, y, width, height, grey=None, lab=None, style="F"):
        """Draw a box in a grey or in a colour; one struck through stands for an unknown colour."""
        if not self.ink:
            return
        self.pdf.set_draw_color(_GREY)
        self.pdf.set_line_width(0.15)
        if grey is not None or lab is not None:
            self.pdf.set_fill_color(*((grey,) if lab is None else ink_of(lab)[0]))
            self.pdf.rect(x, y, width, height, style=style)
        else:
            self.pdf.rect(x, y, width, height, style="D")
            self.pdf.line(x, y + height, x + width, y)

    def line(self, x, y, width, grey=_PALE, thick=0.2):
        """Draw a level line."""
        if self.ink:
            self.pdf.set_draw_color(grey)
            self.pdf.set_line_width(thick)
            self.pdf.line(x, y, x + width, y)

    def _head(self):
        wide = self.width - 2 * _MARGIN
        corner = self.words(self.sheet.corner, _MARGIN + 0.68 * wide, _MARGIN + 1.5, 0.32 * wide, grey=True, align="R")
        y = self.words(self.sheet.title, _MARGIN, _MARGIN, 0.66 * wide, 24, bold=True)
        y = max(self.words(self.sheet.lead, _MARGIN, y, 0.66 * wide, 12, grey=True), corner) + 2
        self.line(_MARGIN, y, wide, _INK, 0.5)
        return y + GAP_MM

    def _foot(self):
        wide, y = self.width - 2 * _MARGIN, self.height - _MARGIN - 3
        page = f"page {self.pdf.page}" if self.pdf.page > 1 else ""
        self.words(self.sheet.foot, _MARGIN, y, 0.85 * wide, 7, grey=True)
        self.words(page, _MARGIN + 0.85 * wide, y, 0.15 * wide, 7, grey=True, align="R")

    def _measured(self, row):
        self.ink = False
        height = self._row(row, 0.0)
        self.ink = True
        return height

    def _row(self, row, top):
        wide = self.width - 2 * _MARGIN - _GUTTER * (len(row.columns) - 1)
        whole = sum(share for share, _ in row.columns)
        x, lowest = _MARGIN, top
        for share, blocks in row.columns:
            width, y = wide * share / whole, top
            for number, block in enumerate(blocks):
                y = BLOCKS[type(block)](self, block, x, y + (GAP_MM if number else 0), width)
            x, lowest = x + width + _GUTTER, max(lowest, y)
        return lowest


def _has_table(row):
    return any(isinstance(block, Table) for _, blocks in row.columns for block in blocks)


def draw_code(pdf, text, x, y, side):
    """Draw a square code for a phone."""
    import segno

    draw_fields(pdf, segno.make(text, micro=False, error="m").matrix, x, y, side)


def draw_fields(pdf, rows, x, y, side):
    """Draw the black ones of square fields, row by row in one piece each, so that no hairline shows between them."""
    field = side / len(rows)
    pdf.set_fill_color(0)
    for row, cells in enumerate(rows):
        start = None
        for column, black in enumerate([*cells, 0]):
            if black and start is None:
                start = column
            elif not black and start is not None:
                pdf.rect(x + start * field, y + row * field, (column - start) * field, field, style="F")
                start = None


def _heading(pages, text, x, y, width):
    return pages.words(text, x, y, width, 11, bold=True) + 1 if text else y


def _swatches(pages, block, x, y, width):
    edge, height = 2.5, block.height_mm * pages.scale**0.5
    each = (width - 2 * edge) / len(block.items)
    pages.box(x, y, width, height, grey=_SURROUND)
    lowest = y
    for number, item in enumerate(block.items):
        pages.box(x + edge + number * each, y + edge, each, height - 2 * edge, lab=item.lab)
        left = x + number * (width / len(block.items))
        down = pages.words(item.title, left, y + height + 1.5, width / len(block.items) - 2, 12, bold=True)
        outside = item.lab is not None and ink_of(item.lab)[1]
        for line in (*item.lines, *([OUTSIDE] if outside else [])):
            down = pages.words(line, left, down + 0.4, width / len(block.items) - 2)
        lowest = max(lowest, down)
    return lowest


def _picture(pages, block, x, y, width):
    import io

    from PIL import Image

    with Image.open(io.BytesIO(block.data)) as image:
        across, down = image.size
    shrink = min(width / across, block.height_mm * pages.scale / down)
    if pages.ink:
        size = across * shrink, down * shrink
        pages.pdf.image(io.BytesIO(block.data), x, y, *size, alt_text=block.caption)
    return pages.words(block.caption, x, y + down * shrink + 1.2, width, "small", grey=True)


def _pairs(pages, block, x, y, width):
    y = _heading(pages, block.heading, x, y, width)
    first = 0.42 * width
    for label, text in block.rows:
        left = pages.words(label, x, y, first - 2, grey=True)
        y = max(left, pages.words(text, x + first, y, width - first)) + 0.5
    return y


def _table(pages, block, x, y, width):
    widths = [width * share / sum(block.shares) for share in block.shares]
    y = _heading(pages, block.heading, x, pages.room(y, 24), width)
    y = _table_row(pages, block, block.head, x, y, widths, bold=True)
    for row in block.rows:
        height = _row_height(pages, block, row, widths)
        fresh = pages.room(y, height)
        if fresh != y:
            fresh = _table_row(pages, block, block.head, x, fresh, widths, bold=True)
        y = _table_row(pages, block, row, x, fresh, widths)
    return y


def _row_height(pages, block, row, widths):
    ink, pages.ink = pages.ink, False
    height = _table_row(pages, block, row, 0.0, 0.0, widths)
    pages.ink = ink
    return height


def _table_row(pages, block, row, x, y, widths, bold=False):
    lowest = y + 4.4
    for place, (cell, width) in enumerate(zip(row, widths, strict=True)):
        if isinstance(cell, Lab):
            pages.box(x, y + 0.6, min(width - 2, 9), 3.6, lab=cell)
        else:
            align = "R" if place in block.right else "L"
            lowest = max(lowest, pages.words(cell, x, y + 0.5, width - 2, 8, bold, align=align) + 0.6)
        x += width
    pages.line(x - sum(widths), lowest, sum(widths))
    return lowest


def _prose(pages, block, x, y, width):
    y = _heading(pages, block.heading, x, y, width)
    for line in block.lines:
        y = pages.words(line, x, y, width, block.size) + 0.8
    return y


def _ribbon(pages, block, x, y, width):
    y = _heading(pages, block.heading, x, y, width)
    edge, height = 1.5, 9.0
    across = max(1, min(len(block.labs), int((width - 2 * edge) / 4)))
    lines = -(-len(block.labs) // across)
    each = min((width - 2 * edge) / across, 12.0)
    pages.box(x, y, across * each + 2 * edge, lines * height + 2 * edge, grey=_SURROUND)
    for number, lab in enumerate(block.labs):
        line, place = divmod(number, across)
        pages.box(x + edge + place * each, y + edge + line * height, each, height - 0.4, lab=lab)
    y += lines * height + 2 * edge + 0.8
    half = max((across * each + 2 * edge) / 2, 24.0)
    pages.words(block.ends[0], x, y, half, "small", grey=True)
    return pages.words(block.ends[1], x + half, y, half, "small", grey=True, align="R")


def _code(pages, block, x, y, width):
    side = min(24.0, width)
    if pages.ink:
        draw_code(pages.pdf, block.text, x, y, side)
    if width < 60:
        return pages.words(block.caption, x, y + side + 1.2, width, "small", grey=True)
    return max(y + side, pages.words(block.caption, x + side + 4, y, width - side - 4, "small", grey=True))


BLOCKS = {
    Swatches: _swatches,
    Picture: _picture,
    Pairs: _pairs,
    Table: _table,
    Prose: _prose,
    Ribbon: _ribbon,
    Code: _code,
}

"""The blocks of a sheet drawn on the pages of a PDF: each takes its place and returns where it ends."""

from dyebook.lab import Lab
from dyebook.report_sheet import OUTSIDE, Code, Pairs, Picture, Prose, Ribbon, Swatches, Table, ink_of

__all__ = ["BLOCKS", "GAP_MM", "draw_code"]

GAP_MM = 5.5
_SURROUND = 185  # neutral, so that a swatch is judged beside grey


def draw_code(pdf, text, x, y, side):
    """Draw a square code, row by row in one piece each, so that no hairline shows between its fields."""
    import segno

    fields = [list(row) for row in segno.make(text, micro=False, error="m").matrix]
    field = side / len(fields)
    pdf.set_fill_color(0)
    for row, cells in enumerate(fields):
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

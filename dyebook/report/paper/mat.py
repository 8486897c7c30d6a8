"""The photo mat as a PDF to print."""

from pathlib import Path

from dyebook.report.paper.pdf import draw_fields

__all__ = ["write_mat"]

_LINES = (
    "Print at 100 % (no fitting to page). Lay the sheet flat; lay your grey card and the parts on it, apart.",
    "Keep the four marks in the photo: two are enough, four are better. Light it evenly, camera straight above.",
)


def write_mat(path, paper: str, size_mm, marks, line_mm: float) -> Path:
    """Write the mat.

    Parameters
    ----------
    paper
        Name of the paper, printed on the sheet.
    size_mm : (width, height)
    marks : list of ((x, y), side, fields)
        Top left corner and side in mm, and the fields of a mark as rows of bool, True where it is black.
    line_mm
        Length of the ruler line.
    """
    from fpdf import FPDF

    sheet = FPDF(unit="mm", format=size_mm)
    sheet.set_auto_page_break(False)
    sheet.set_title("dyebook photo mat")
    sheet.add_page()
    for corner, side, fields in marks:
        draw_fields(sheet, fields, *corner, side)
    _draw_ruler(sheet, size_mm, line_mm, paper)
    path = Path(path)
    sheet.output(str(path))
    return path


def _draw_ruler(sheet, size_mm, line_mm, paper):
    """The line to check with calipers, and what to do with the sheet."""
    width, height = size_mm
    left, y = (width - line_mm) / 2, height - 22
    sheet.set_line_width(0.2)
    sheet.line(left, y, left + line_mm, y)
    for end in (left, left + line_mm):
        sheet.line(end, y - 2.5, end, y + 2.5)
    sheet.set_font("Helvetica", size=7)
    words = f"{paper.title()}: this line is {line_mm:g} mm from tick to tick. "
    words += "If calipers say otherwise, tell the book the length they say."
    for number, text in enumerate((words, *_LINES)):
        sheet.text((width - sheet.get_string_width(text)) / 2, y + 5 + 3.2 * number, text)

"""A sheet as a file: PDF or one HTML page, on A4 or Letter."""

from pathlib import Path

from dyebook.errors import DyebookError
from dyebook.report_html import html_page
from dyebook.report_pdf import pdf_bytes
from dyebook.safe_file import replacing

__all__ = ["KINDS", "kind_of", "save_paper", "sheet_bytes"]

KINDS = {".pdf": "application/pdf", ".html": "text/html"}


def kind_of(file, kinds=tuple(KINDS)):
    """Return the ending of a file to write, one of `kinds`; DyebookError for another."""
    kind = Path(file).suffix.lower()
    if kind not in kinds:
        raise DyebookError(f"{file} ends in {kind or 'nothing'}; name a file that ends in {' or '.join(kinds)}")
    return kind


def sheet_bytes(sheet, kind, paper="a4"):
    """Return the content of a file that holds a sheet.

    Parameters
    ----------
    sheet : dyebook.report_sheet.Sheet
    kind : {".pdf", ".html"}
    paper : {"a4", "letter"}

    Returns
    -------
    bytes
    """
    return pdf_bytes(sheet, paper) if kind == ".pdf" else html_page(sheet, paper).encode()


def save_paper(file, content):
    """Write a file and return its path; DyebookError where that is not allowed."""
    path = Path(file)
    try:
        with replacing(path) as part:
            part.write_bytes(content)
    except OSError as fault:
        raise DyebookError(f"{path} cannot be written ({fault.strerror}); name a folder that can be") from fault
    return path

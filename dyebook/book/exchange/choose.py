"""Which kind of file it is decides how it comes in."""

from pathlib import Path

from dyebook.book.exchange.instrument import import_readings, readings_of_sheet
from dyebook.book.exchange.iso17972 import read_colour_xml
from dyebook.book.exchange.iso28178 import looks_like_iso28178, read_colour_text
from dyebook.book.exchange.records import import_records, understand
from dyebook.errors import BookError

__all__ = ["import_any"]

_XML = {".xml", ".cxf"}
_TEXT = {".txt", ".cgats"}


def import_any(book, file, dry_run=False, duplicates="refuse", progress=None, batch=None, white=None, observer=None):
    """Import a table of records, or readings from an instrument.

    Parameters
    ----------
    book : dyebook.book.store.Book
    file : Path
        Records: CSV, XLSX, JSON Lines or Parquet with a column of dyes. Readings: such a table with L, a, b but no
        dye, the ISO 28178 text form, or an ISO 17972-1 colour file (XML).
    dry_run : bool
        True to say what would happen, and write nothing.
    duplicates : {"refuse", "skip", "keep"}
        For records, see `import_records`.
    progress : callable, optional
    batch : int, optional
        For readings: the batch they belong to; without it they become samples of their own.
    white, observer : str, optional
        For readings whose file does not state them: such as ``"D50"`` and ``"2"``.

    Returns
    -------
    Imported

    Raises
    ------
    BookError
        If the file cannot be taken as it is; nothing was imported then.
    """
    file = Path(file)
    if duplicates not in ("refuse", "skip", "keep"):
        raise ValueError(f"duplicates must be refuse, skip or keep, not {duplicates!r}")
    ending = file.suffix.lower()
    if ending in _XML or (ending in _TEXT and looks_like_iso28178(file)):
        readings = (read_colour_xml if ending in _XML else read_colour_text)(file)
    else:
        table = understand(file)
        if "dye" in table.values or "L" not in table.values:
            return import_records(book, table, dry_run, duplicates, progress)
        readings = readings_of_sheet(table)
    if not readings:
        raise BookError(f"{file.name} holds no Lab values and no spectra; nothing was imported")
    return import_readings(book, file.name, readings, dry_run, batch, white, observer)

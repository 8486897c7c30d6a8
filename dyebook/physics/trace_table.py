"""The table in a logger's file: its text, its rows of cells, its headers."""

import csv
import io
import re

from dyebook.errors import RecordError
from dyebook.physics.trace_clock import moment_min

__all__ = ["decode_log", "headers_above", "is_data", "log_headers", "log_table", "number_of", "table_rows"]


def log_table(text, name="log"):
    """Return the rows of cells of a log, and the index of the first row of numbers.

    Raises
    ------
    RecordError
        If it is empty or holds no row of numbers.
    """
    lines = [line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    if not lines:
        raise RecordError(f"{name} is empty; a log with time and current is needed")
    rows = table_rows(lines)
    start = next((i for i, row in enumerate(rows) if is_data(row)), None)
    if start is None:
        raise RecordError(f"{name} holds no row of numbers; a log with time and current is needed")
    return rows, start


def log_headers(text, name="log"):
    """Return the headers of a log's columns; their numbers from 1 where it names none."""
    rows, start = log_table(text, name)
    return headers_above(rows, start) or [str(number) for number in range(1, len(rows[start]) + 1)]


def decode_log(raw):
    """Return the text of a log's bytes: UTF-8 or UTF-16 by its mark, else the code page of Western desks."""
    for coding in ("utf-8-sig", "utf-16") if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252"):
        try:
            return raw.decode(coding)
        except UnicodeDecodeError:
            continue
    return raw.decode("latin-1")


def table_rows(lines):
    """Cells of each line, with the separator that gives the most even table."""
    if any(";" in line for line in lines[-3:]):
        separator = ";"
    elif any("\t" in line for line in lines[-3:]):
        separator = "\t"
    elif any("," in line for line in lines[-3:]):
        separator = ","
    else:
        return [line.split() for line in lines]
    return [[cell.strip() for cell in row] for row in csv.reader(io.StringIO("\n".join(lines)), delimiter=separator)]


def is_data(row):
    """A row of data holds at least two numbers or times and starts with none but such cells."""
    readable = [number_of(cell) is not None or moment_min(cell) is not None for cell in row]
    return len(row) >= 2 and sum(readable) >= 2


def headers_above(rows, start):
    """The last row of words above the data, as wide as it; else numbers."""
    width = len(rows[start])
    if start and len(rows[start - 1]) >= min(width, 2):
        above = rows[start - 1]
        units = start > 1 and len(rows[start - 2]) == len(above) and sum(len(cell) <= 4 for cell in above) == len(above)
        if units and any(rows[start - 2]):
            return [f"{word} [{unit.strip('[]()')}]" for word, unit in zip(rows[start - 2], above, strict=True)]
        return above
    return []


def number_of(cell):
    """A number with decimal point or comma; None if it is none."""
    text = cell.strip().strip('"').replace("\u2212", "-")
    text = re.sub(r"\s*(?:mA|A|V|°C|C|s|min)$", "", text)
    if re.fullmatch(r"[-+]?\d*[.,]?\d+(?:[eE][-+]?\d+)?|[-+]?\d+[.,]", text):
        return float(text.replace(",", "."))
    return None

"""Table files as they are: headers and cells in, headers and cells out; what cells mean is decided elsewhere."""

import csv
import io
import json
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path

from dyebook.errors import BookError
from dyebook.safe_file import replacing

__all__ = ["Sheet", "read_sheet", "write_sheet"]

LARGEST_BYTES = 400 * 2**20
_LARGEST_UNPACKED = 4 * 2**30
_SPARE_BYTES = 2**26
_MOST_LINES, _MOST_COLUMNS = 2**20, 1000  # a sheet has no more rows; every field there is comes to under a hundred
MOST_ROWS = 1_000_000
_DELIMITERS = (",", ";", "\t", "|")


@dataclass
class Sheet:
    """A table as read from a file."""

    name: str
    headers: list[str]
    columns: list[list]  # cells of each column, as text, number, bool, datetime or None
    rows: list[int]  # row number of each line of cells as a spreadsheet counts it: the headers are row 1
    notes: list[str]  # what had to be assumed to read it


def read_sheet(path):
    """Return the table in a CSV, XLSX, JSON Lines or Parquet file."""
    path = Path(path)
    readers = {".xlsx": _read_xlsx, ".jsonl": _read_json_lines, ".ndjson": _read_json_lines, ".parquet": _read_parquet}
    try:
        size = path.stat().st_size
        if size > LARGEST_BYTES:
            raise BookError(
                f"{path.name} has {size / 2**20:.0f} MB; split it into files below {LARGEST_BYTES >> 20} MB"
            )
        headers, lines, notes = readers.get(path.suffix.lower(), _read_csv)(path)
    except OSError as error:
        raise BookError(f"{path} cannot be read ({error.strerror or error}); check the path") from None
    return _as_sheet(path.name, headers, lines, notes)


def _as_sheet(name, headers, lines, notes):
    headers = ["" if header is None else str(header).strip() for header in headers]
    while headers and not headers[-1]:
        headers.pop()
    numbered = [(row, line) for row, line in enumerate(lines, start=2) if any(cell not in (None, "") for cell in line)]
    if not headers or not numbered:
        raise BookError(f"{name} has no rows below its headers; the first row must name the columns")
    if len(numbered) > MOST_ROWS:
        raise BookError(f"{name} has {len(numbered)} rows; split it into files of at most {MOST_ROWS}")
    width = len(headers)
    for row, line in numbered:
        if any(cell not in (None, "") for cell in line[width:]):
            raise BookError(
                f"{name}, row {row} has {len(line)} cells, but there are {width} headers; nothing was imported; "
                "a decimal comma in a comma-separated file does this: use semicolons between columns, or decimal points"
            )
    padded = [[*line[:width], *[None] * (width - len(line))] for _, line in numbered]
    return Sheet(
        name, headers, [list(column) for column in zip(*padded, strict=True)], [row for row, _ in numbered], notes
    )


def _read_csv(path):
    text, notes = _decoded(path)
    if "\0" in text[:10_000]:
        raise BookError(f"{path.name} is no table of text; give CSV, XLSX, JSON Lines or Parquet")
    first = text.split("\n", 1)[0]
    delimiter = max(_DELIMITERS, key=first.count)
    try:
        lines = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise BookError(f"{path.name} cannot be read as CSV ({error}); check its quotation marks") from None
    return (lines[0] if lines else []), lines[1:], notes


def _decoded(path):
    content = path.read_bytes()
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return content.decode("utf-16", errors="replace"), []
    try:
        return content.decode("utf-8-sig"), []
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace"), [f"{path.name} is not UTF-8; read by code page 1252"]


# openpyxl has no error of its own for a damaged part: it lets out whatever its reader stumbles over
_BROKEN_WORKBOOK = (
    *(zipfile.BadZipFile, zlib.error, SyntaxError, ValueError, TypeError, LookupError, AttributeError),
    *(ArithmeticError, AssertionError, EOFError, RuntimeError),
)


def _read_xlsx(path):
    from openpyxl import load_workbook
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        _refuse_bomb(path)
        workbook = load_workbook(path, read_only=True, data_only=True)
        notes = [] if len(workbook.sheetnames) == 1 else [f"only the first sheet, {workbook.sheetnames[0]!r}, was read"]
        lines = list(_lines_of(workbook.worksheets[0], path.name))
        workbook.close()
    except (InvalidFileException, *_BROKEN_WORKBOOK) as error:
        raise BookError(
            f"{path.name} is no XLSX workbook that can be read ({error}); save it again, or as CSV"
        ) from None
    return (lines[0] if lines else []), lines[1:], notes


def _refuse_bomb(path):
    most = min(_LARGEST_UNPACKED, _SPARE_BYTES + 200 * path.stat().st_size)
    with zipfile.ZipFile(path) as archive:
        if sum(info.file_size for info in archive.infolist()) > most:
            raise BookError(f"{path.name} unpacks to more than {most >> 20} MB; save it as CSV")


def _lines_of(sheet, name):
    """Yield a sheet's lines, within what a sheet can have."""
    # the size that a file claims would be filled up with empty cells
    sheet.reset_dimensions()
    for row, line in enumerate(sheet.iter_rows(values_only=True), start=1):
        if row > _MOST_LINES or len(line) > _MOST_COLUMNS:
            raise BookError(
                f"{name} has more than {_MOST_LINES:,} rows or {_MOST_COLUMNS:,} columns; delete what lies far off, "
                "or save it as CSV"
            )
        yield line


def _read_json_lines(path):
    text, notes = _decoded(path)
    records, headers = [], {}
    for row, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        try:
            record = json.loads(line)
        except ValueError as error:
            raise BookError(f"{path.name}, line {row} is no JSON ({error}); each line must hold one object") from None
        if not isinstance(record, dict):
            raise BookError(f"{path.name}, line {row} holds no object; each line must hold one, with names and values")
        records.append(record)
        headers.update(dict.fromkeys(record))
    return list(headers), [[record.get(name) for name in headers] for record in records], notes


def _read_parquet(path):
    import pyarrow
    from pyarrow import parquet

    try:
        table = parquet.read_table(path)
    except pyarrow.ArrowException as error:
        raise BookError(f"{path.name} cannot be read as Parquet ({str(error)[:80]}); save it again") from None
    return table.column_names, [list(line) for line in zip(*table.to_pydict().values(), strict=True)], []


def write_sheet(path, headers: list[str], rows):
    """Write a table; the ending of `path` says how: .csv, .xlsx, .jsonl or .parquet.

    `path` (Path): appears under its name only when it is complete. `rows` (list of tuple): text, numbers, bools or
    None.
    """
    path = Path(path)
    writers = {".csv": _write_csv, ".xlsx": _write_xlsx, ".jsonl": _write_json_lines, ".parquet": _write_parquet}
    if path.suffix.lower() not in writers:
        raise BookError(f"{path.name} must end in one of {', '.join(writers)} to say what to write")
    try:
        with replacing(path) as part:
            writers[path.suffix.lower()](part, headers, rows)
    except OSError as error:
        raise BookError(
            f"{path} cannot be written ({error.strerror or error}); check the folder and its space"
        ) from None


# a spreadsheet runs what begins like this; the apostrophe makes it plain text, and is taken off again on import
_RISKY = ("=", "+", "-", "@", "\t", "\r")


def harmless(cell):
    """Return a cell that no spreadsheet takes for a formula; numbers pass as they are."""
    return "'" + cell if isinstance(cell, str) and cell.startswith((*_RISKY, "'")) else cell


def plain(cell):
    """Return a text cell as it was before `harmless`."""
    return cell[1:] if cell.startswith("'") and cell[1:2] in (*_RISKY, "'") else cell


def _write_csv(path, headers, rows):
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(headers)
        writer.writerows([harmless(cell) for cell in row] for row in rows)


def _write_xlsx(path, headers, rows):
    from openpyxl import Workbook

    workbook = Workbook(write_only=True)
    sheet = workbook.create_sheet("batches")
    sheet.append(headers)
    for row in rows:
        sheet.append([harmless(cell) for cell in row])
    workbook.save(path)


def _write_json_lines(path, headers, rows):
    with path.open("w", encoding="utf-8") as file:
        for row in rows:
            file.write(json.dumps(dict(zip(headers, row, strict=True)), ensure_ascii=False, allow_nan=False) + "\n")


def _write_parquet(path, headers, rows):
    import pyarrow
    from pyarrow import parquet

    columns = list(zip(*rows, strict=True)) if rows else [[] for _ in headers]
    parquet.write_table(pyarrow.table(dict(zip(headers, map(list, columns), strict=True))), path)

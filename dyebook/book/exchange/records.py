"""A table of records into the book: understood, checked and grouped first, then written all or nothing."""

from dataclasses import asdict, dataclass

from dyebook.book.exchange.bulk import insert_groups
from dyebook.book.exchange.cells import read_column
from dyebook.book.exchange.export import known_keys, record_key
from dyebook.book.exchange.files import read_sheet
from dyebook.book.exchange.headers import match_header
from dyebook.errors import BookError, RecordError
from dyebook.record import FIELDS

__all__ = ["ImportRefusedError", "Imported", "import_records", "understand"]

_MOST_SHOWN = 20
_LAB = ("L", "a", "b")


class ImportRefusedError(BookError):
    """Nothing was imported; `problems` says why, with rows and columns."""

    def __init__(self, name, problems):
        self.problems = tuple(problems)
        shown = "; ".join(problems[:_MOST_SHOWN])
        more = f"; and {len(problems) - _MOST_SHOWN} more" if len(problems) > _MOST_SHOWN else ""
        super().__init__(f"{name}: nothing was imported, {len(problems)} to put right: {shown}{more}")


@dataclass(frozen=True)
class Imported:
    """What an import did, or would do.

    Attributes
    ----------
    file : str
    dry_run : bool
        True if nothing was written.
    batches, readings, samples, skipped : int
    columns : dict
        Header in the file to the name it was taken for.
    ignored : tuple of str
        Headers that are none of ours.
    notes : tuple of str
        What had to be assumed.
    """

    file: str
    dry_run: bool
    batches: int = 0
    readings: int = 0
    samples: int = 0
    skipped: int = 0
    columns: dict | None = None
    ignored: tuple = ()
    notes: tuple = ()

    def to_dict(self):
        """Return plain JSON values."""
        return asdict(self)


@dataclass
class Understood:
    """A sheet whose columns have names and whose cells have values."""

    name: str
    values: dict
    rows: list
    columns: dict
    ignored: tuple
    notes: list

    def record(self, index):
        """Values of one row by name."""
        return {name: column[index] for name, column in self.values.items()}


def understand(path):
    """Return the `Understood` table of a file.

    Raises
    ------
    BookError
        If it cannot be read.
    ImportRefusedError
        If headers or cells are wrong, each with its row and column.
    """
    sheet = read_sheet(path)
    columns, ignored, problems = {}, [], []
    for index, header in enumerate(sheet.headers):
        try:
            column = match_header(header) if header else None
        except RecordError as error:
            problems.append(str(error))
            continue
        if column is None:
            ignored += [header] if header else []
        elif column.name in columns:
            before = columns[column.name][1].header
            problems.append(f"columns {before!r} and {header!r} both mean {column.name}")
        else:
            columns[column.name] = (index, column)
    values = {}
    for name, (index, column) in columns.items():
        values[name], wrong = read_column(column, sheet.columns[index], sheet.rows)
        problems += wrong
    if problems:
        raise ImportRefusedError(sheet.name, problems)
    names = {column.header: name for name, (_, column) in columns.items()}
    return Understood(sheet.name, values, sheet.rows, names, tuple(ignored), sheet.notes)


def import_records(book, table, dry_run=False, duplicates="refuse", progress=None):
    """Import a table of records.

    Parameters
    ----------
    book : dyebook.book.store.Book
    table : Understood
        A file's records.
    dry_run : bool
        True to say what would happen, and write nothing.
    duplicates : {"refuse", "skip", "keep"}
        What to do with a row, read before, that equals one in the book or earlier in the file in everything.
    progress : callable, optional
        Called with the number of rows done and of all rows.

    Returns
    -------
    Imported

    Raises
    ------
    BookError
        If it cannot be read or written; ImportRefusedError, a BookError, when rows are wrong.
    """
    _refuse_incomplete(table)
    with book.reading() as connection:
        known = known_keys(connection) if duplicates != "keep" else set()
    keep, skipped = _without_duplicates(table, known, duplicates)
    groups = _grouped(table, keep)
    readings = sum(table.values["L"][index] == table.values["L"][index] for index in keep) if "L" in table.values else 0
    notes = list(table.notes)
    if not dry_run:
        with book.writing() as connection:
            notes += insert_groups(connection, book, table, groups, progress)
    told = {"columns": table.columns, "ignored": table.ignored, "notes": tuple(notes)}
    return Imported(table.name, dry_run, len(groups), readings, 0, skipped, **told)


def _refuse_incomplete(table):
    """Refuse missing columns, empty settings that a dip cannot be repeated without, and halves of a colour."""
    required = [name for name, row in FIELDS.items() if row.required]
    missing = [name for name in required if name not in table.values]
    if missing:
        there = ", ".join(table.columns) or "none that is known"
        raise ImportRefusedError(table.name, [f"there is no column {', '.join(missing)}; columns found: {there}"])
    problems = []
    for name in required:
        for row, value in zip(table.rows, table.values[name], strict=True):
            if value is None or value != value:
                problems.append(f"row {row}, {name}: empty; a dip cannot be repeated without")
    problems += _halves_of_a_colour(table)
    if problems:
        raise ImportRefusedError(table.name, problems)


def _halves_of_a_colour(table):
    axes = [table.values[axis] for axis in _LAB if axis in table.values]
    if not axes:
        return []
    if len(axes) < 3:
        return ["L, a and b are needed together; a column of them is missing"]
    counts = [sum(value == value for value in lab) for lab in zip(*axes, strict=True)]
    return [
        f"row {row}, L a b: {count} of 3 given; give all of them or none"
        for row, count in zip(table.rows, counts, strict=True)
        if count in (1, 2)
    ]


def _without_duplicates(table, known, duplicates):
    """Indices of rows to import, and how many were left out."""
    everything = range(len(table.rows))
    if duplicates == "keep" or "L" not in table.values:
        return list(everything), 0
    seen, keep, problems = {}, [], []
    for index in everything:
        record = table.record(index)
        key = record_key(record)
        mine = (key, record.get("batch"), record.get("dip"))
        read = record["L"] == record["L"]
        if read and (key in known or mine in seen):
            where = f"row {seen[mine]}" if mine in seen else "a batch that is in the book already"
            problems.append(f"row {table.rows[index]} equals {where} in everything")
        else:
            seen[mine] = table.rows[index]
            keep.append(index)
    if problems and duplicates == "refuse":
        raise ImportRefusedError(table.name, [f"{text} (skip or keep such rows to go on)" for text in problems])
    return keep, len(problems)


def _grouped(table, keep):
    """Lists of row indices, one a batch: rows that share a batch number go together."""
    if "batch" not in table.values:
        return [[index] for index in keep]
    groups = {}
    for index in keep:
        number = table.values["batch"][index]
        groups.setdefault(("row", index) if number is None else number, []).append(index)
    return list(groups.values())

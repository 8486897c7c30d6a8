"""A table of records into the book: understood, checked and grouped first, then written all or nothing.

Headers and cells become names and values of `FIELDS`; rows that share a batch number become one batch, bands that share
a coupon one run. The rows of all tables are numbered ahead and written in chunks, inside one transaction.
"""

from dataclasses import asdict, dataclass

from sqlalchemy import insert

from dyebook.book.batches import FIRST_ONLY, HOMES, Names
from dyebook.book.exchange.cells import match_header, read_column
from dyebook.book.exchange.export import known_keys, record_key
from dyebook.book.exchange.files import read_sheet
from dyebook.book.rows import free_numbers
from dyebook.book.schema import Batch, Dip, Photo, Reading, Run, now
from dyebook.errors import BookError, RecordError
from dyebook.record import FIELDS, READ, is_empty

__all__ = ["ImportRefusedError", "Imported", "Understood", "import_records", "understand"]

_RUNS, _BATCHES, _DIPS, _READINGS, _PHOTOS = (model.__table__ for model in (Run, Batch, Dip, Reading, Photo))
_ORDER = (_RUNS, _BATCHES, _DIPS, *FIRST_ONLY, _PHOTOS, _READINGS)
_CHUNK = 2000
_OF_BATCH = tuple(name for name, table in HOMES.items() if table in (_RUNS, _BATCHES, *FIRST_ONLY))
_OF_DIP = ("dye", "bath", *(name for name, table in HOMES.items() if table is _DIPS))


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
    """What an import did, or would do."""

    file: str
    dry_run: bool  # True if nothing was written
    batches: int = 0
    readings: int = 0
    samples: int = 0
    skipped: int = 0
    columns: dict | None = None  # header in the file to the name it was taken for
    ignored: tuple[str, ...] = ()  # headers that are none of ours
    notes: tuple[str, ...] = ()  # what had to be assumed

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

    BookError if it cannot be read; ImportRefusedError if headers or cells are wrong, each with its row and column.
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


def import_records(book, table, dry_run=False, duplicates="refuse", progress=None) -> Imported:
    """Import a table of records.

    BookError if it cannot be read or written; ImportRefusedError, a BookError, when rows are wrong.

    Parameters
    ----------
    table : Understood
        A file's records.
    dry_run : bool
        True to say what would happen, and write nothing.
    duplicates : {"refuse", "skip", "keep"}
        What to do with a row, read before, that equals one in the book or earlier in the file in everything.
    progress : callable, optional
        Called with the number of rows done and of all rows.
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
            notes += _Writer(connection, book, table, len(groups)).write(groups, progress)
    seen = {"columns": table.columns, "ignored": table.ignored, "notes": tuple(notes)}
    return Imported(table.name, dry_run, len(groups), readings, 0, skipped, **seen)


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
            if is_empty(value):
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


class _Writer:
    """Collects rows of every table and writes them in chunks, inside the caller's transaction."""

    def __init__(self, connection, book, table, count):
        self.connection, self.book, self.table = connection, book, table
        self.names = Names(connection, book.who)
        self.kept = {"version": 1, "added_at": now(), "added_by": book.who}
        rows = len(table.rows)
        # a run bears the number of its first batch
        own = [one for one in _ORDER if one is not _RUNS]
        self.numbers = {one: free_numbers(connection, one, count if one is _BATCHES else rows) for one in own}
        self.waiting = {one: [] for one in _ORDER}
        self.number_of, self.replaced, self.photos, self.strips = {}, [], {}, {}
        self.lost_photos = set()

    def _put(self, table, values, number=None):
        number = next(self.numbers[table]) if number is None else number
        plain = {name: None if value != value else value for name, value in values.items()}
        self.waiting[table].append({"id": number, **self.kept, **plain})
        return number

    def write(self, groups, progress=None):
        """Write groups of rows, each a batch with its dips and readings; return what could not be carried over."""
        for done, group in enumerate(groups, start=1):
            self._take(group)
            if done % _CHUNK == 0 or done == len(groups):
                self._flush()
                if progress is not None:
                    progress(done, len(groups))
        return self._finish()

    def _take(self, group):
        records = [self.table.record(index) for index in group]
        first = records[0]
        self._refuse_two_runs(group, records)
        batch_id = next(self.numbers[_BATCHES])
        run_id = self._run_of(group[0], first, batch_id)
        self._put(_BATCHES, {"run_id": run_id, "replaces_id": None, **_some(first, _BATCHES)}, batch_id)
        self.number_of[first.get("batch")] = batch_id
        if first.get("replaces") is not None:
            self.replaced.append((batch_id, first["replaces"]))
        for table in FIRST_ONLY:
            values = _some(first, table)
            if not all(map(is_empty, values.values())):
                self._put(table, {"batch_id": batch_id, "position": 1, **values})
        dips = self._take_dips(batch_id, records)
        several = len(set(dips.values())) > 1
        for record in records:
            says_its_dip = several and ("dip" not in record or record["dip"] is not None)
            self._take_reading(batch_id, dips[_dip_key(record)] if says_its_dip else None, record)

    def _run_of(self, index, record, number):
        """The run of a batch: a new one, or that of the other bands of its strip."""
        strip = record.get("coupon")
        if not strip:
            return self._put(_RUNS, _some(record, _RUNS), number)
        shared = {"dyed_at": record.get("dyed_at"), **_some(record, _RUNS)}
        if strip not in self.strips:
            self.strips[strip] = self._put(_RUNS, _some(record, _RUNS), number), shared, self.table.rows[index]
        run_id, before, row = self.strips[strip]
        for name, value in shared.items():
            if not _same(value, before[name]):
                here = f"{self.table.name}, row {self.table.rows[index]}"
                raise BookError(
                    f"{here}: coupon {strip} has another {name} than row {row}; nothing was imported; the bands of one "
                    "strip share film and moment"
                )
        return run_id

    def _refuse_two_runs(self, group, records):
        first = records[0]
        for index, record in zip(group[1:], records[1:], strict=True):
            for name in _OF_BATCH:
                if not _same(record.get(name), first.get(name)):
                    row, before = self.table.rows[index], self.table.rows[group[0]]
                    raise BookError(
                        f"{self.table.name}, row {row}: batch {first['batch']} has another {name} than row {before}; "
                        "nothing was imported; give each batch its own number"
                    )

    def _take_dips(self, batch_id, records):
        dips = {}
        # rows that do not say their dip come last, and belong to a numbered one of equal settings where there is one
        for record in sorted(records, key=lambda record: record.get("dip") is None):
            key = _dip_key(record)
            equal = [dip for (number, *settings), dip in dips.items() if key[0] is None and settings == [*key[1:]]]
            if equal:
                dips[key] = equal[0]
            elif key not in dips:
                dye_id, bath_id = self.names.dye_and_bath(record["dye"], record.get("bath"))
                taken = {number for number, *_ in dips}
                position = key[0] or next(place for place in range(1, len(taken) + 2) if place not in taken)
                place = {"batch_id": batch_id, "position": position, "dye_id": dye_id, "bath_id": bath_id}
                dips[(position, *key[1:])] = dips[key] = self._put(_DIPS, {**place, **_some(record, _DIPS)})
        return dips

    def _take_reading(self, batch_id, dip_id, record):
        photo_id = self._photo(batch_id, record.get("photo"))
        if is_empty(record.get("L")):
            return
        values = {name: record.get(name) for name in (*READ, "read_at")}
        source = record.get("source") or "typed"
        self._put(_READINGS, {"batch_id": batch_id, "dip_id": dip_id, "photo_id": photo_id, "source": source, **values})

    def _photo(self, batch_id, sha):
        """The row of a photo this book has already as a file; None where it has not."""
        if not sha or sha in self.lost_photos:
            return None
        if (sha, batch_id) not in self.photos:
            try:
                size = len(self.book.photos.read(sha))
            except BookError:
                self.lost_photos.add(sha)
                return None
            values = {"batch_id": batch_id, "sha256": sha, "size_bytes": size}
            self.photos[sha, batch_id] = self._put(_PHOTOS, values)
        return self.photos[sha, batch_id]

    def _flush(self):
        # a table stands after those it points to
        for table in _ORDER:
            if self.waiting[table]:
                self.connection.execute(insert(table), self.waiting[table])
                self.waiting[table] = []

    def _finish(self):
        """Link batches that were done again; say what could not be carried over."""
        notes = []
        for batch_id, old in self.replaced:
            if old in self.number_of:
                change = _BATCHES.update().where(_BATCHES.c.id == batch_id)
                self.connection.execute(change.values(replaces_id=self.number_of[old]))
            else:
                notes.append(f"a batch replaces batch {old}, which is not in the file; the link was left out")
        if self.lost_photos:
            count = len(self.lost_photos)
            notes.append(
                f"{count} photos named in the file are not in this book; a backup carries photos, a table cannot"
            )
        return notes


def _some(record, table):
    """The settings of a record that live in one table, all of them, so that every row has the same columns."""
    return {name: record.get(name) for name, home in HOMES.items() if home is table}


def _dip_key(record):
    return (record.get("dip"), *(None if is_empty(record.get(name)) else record.get(name) for name in _OF_DIP))


def _same(one, other):
    return one == other or (is_empty(one) and is_empty(other))

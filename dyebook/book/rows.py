"""One mechanism for every table: add, list, correct, delete, bring back, undo, and the history of it all.

Rows are checked from the table's own columns: names in `dyebook.record.FIELDS` by their ranges there, others by
the marks set in the schema. Deletion is a mark, a correction keeps the old value, and a correction made on an
outdated view of a row is refused.
"""

import getpass
import json
import math
import os

from sqlalchemy import Connection, Table, func, insert, select, update

from dyebook.book.schema import TABLES, Change, now
from dyebook.errors import BookError, RecordError
from dyebook.record import FIELDS, check_text, check_value, is_empty
from dyebook.units import parse_moment

__all__ = [
    "add_row", "both_values", "checked_values", "correct_row", "free_numbers", "history_of", "last_was_deletion",
    "list_rows", "mark_deleted", "note_change", "row_of", "table_named", "undo_last", "who_am_i",
]  # fmt: skip

# kept by the mechanism itself, never given by hand
_OWN = {"id", "version", "added_at", "added_by", "deleted_at"}


def who_am_i() -> str:
    """Return the name that goes into the history: ``DYEBOOK_WHO``, else the user of this machine."""
    return os.environ.get("DYEBOOK_WHO") or getpass.getuser()


def table_named(name: str) -> Table:
    """Return the table called `name`; ValueError with the names there are otherwise."""
    if name not in TABLES:
        raise ValueError(f"the book has no table {name!r}; it has {', '.join(sorted(TABLES))}")
    return TABLES[name]


def checked_values(table: Table, values: dict) -> dict:
    """Return values by column as the table wants them; nan and empty text mean "not measured".

    RecordError if a value is of the wrong kind or outside its range; ValueError if there is no such column.
    """
    return {name: _checked(table, name, value) for name, value in values.items()}


def _checked(table, name, value):
    if name not in table.c or name in _OWN:
        legal = ", ".join(column.name for column in table.c if column.name not in _OWN)
        raise ValueError(f"{table.name} has no column {name!r}; it has {legal}")
    column = table.c[name]
    # a column with bounds of its own, such as the minutes of a seal, goes by them
    if name in FIELDS and "between" not in column.info:
        value = check_value(name, value)
    if is_empty(value) or value == "":
        if not column.nullable and column.default is None:
            raise RecordError(f"{table.name} need {name}; it is empty")
        return None
    return _by_marks(table, column, value)


def _by_marks(table, column, value):
    """Check a value that is there by the marks its column carries in the schema."""
    where = column.info.get("label") or f"{column.name} of {table.name}"
    if "one_of" in column.info and value not in column.info["one_of"]:
        raise RecordError(f"{where} is {value!r}; it must be one of {', '.join(column.info['one_of'])}")
    if column.info.get("moment"):
        return parse_moment(column.name.replace("_", " "), value)
    if column.type.python_type in (float, int):
        return _number(column, where, value)
    return check_text(where, value) if isinstance(value, str) else value


def _number(column, where, value):
    kind = column.type.python_type
    try:
        number = kind(value)
    except (TypeError, ValueError):
        raise RecordError(f"{where} is {value!r}; a number is needed") from None
    lower, upper = column.info.get("between", (-math.inf, math.inf))
    if not lower <= number <= upper:
        raise RecordError(f"{where} is {number:g}; it must lie between {lower:g} and {upper:g}")
    return number


def add_row(
    connection: Connection, table: Table, values: dict, who: str | None = None, number: int | None = None
) -> int:
    """Insert one row and return its number; values as in `checked_values`.

    `number`: of the batch that a run belongs to; a batch bears that of its run. Another one where it is taken.
    """
    row = checked_values(table, values) | {"added_at": now(), "added_by": who or who_am_i()}
    if table.name in _ONE_NUMBER:
        number = number or row.get("run_id")
        taken = number is None or connection.execute(select(table.c.id).where(table.c.id == number)).first()
        row["id"] = next(free_numbers(connection, table)) if taken else number
    return connection.execute(insert(table), row).inserted_primary_key[0]


# a run and the batch that comes of it bear one number: neither table gives out one that the other has
_ONE_NUMBER = ("runs", "batches")


def free_numbers(connection: Connection, table: Table, count: int = 1):
    """Return an iterator of free numbers of a table that no other station will take.

    In SQLite no other transaction writes meanwhile; a server hands them out of the table's counter, or for runs and
    batches out of that of the runs.
    """
    names = _ONE_NUMBER if table.name in _ONE_NUMBER else (table.name,)
    newest = [select(func.max(TABLES[name].c.id)).scalar_subquery() for name in names]
    is_server = connection.dialect.name != "sqlite"
    if is_server and len(names) > 1:
        connection.execute(select(func.pg_advisory_xact_lock(7240)))
    last = max(number or 0 for number in connection.execute(select(*newest)).one())
    if not is_server:
        return iter(range(last + 1, last + 1 + count))
    counter = func.pg_get_serial_sequence(names[0], "id")
    draw = select(func.nextval(counter)).select_from(func.generate_series(1, count))
    numbers = connection.execute(draw).scalars().all()
    if len(names) > 1 and numbers and min(numbers) <= last:
        connection.execute(select(func.setval(counter, last)))
        numbers = connection.execute(draw).scalars().all()
    return iter(numbers)


def row_of(connection: Connection, table: Table, row_id: int, lock: bool = False) -> dict:
    """Return one row as a dict, deleted or not; BookError if it was never there."""
    query = select(table).where(table.c.id == row_id)
    row = connection.execute(query.with_for_update() if lock else query).mappings().first()
    if row is None:
        raise BookError(f"{table.name} have no number {row_id} in this book; look which there are")
    return dict(row)


def list_rows(connection: Connection, table: Table, deleted: bool = False, **where) -> list[dict]:
    """Return the standing rows whose columns have the given values, or those marked as deleted, oldest first."""
    mark = table.c.deleted_at
    query = select(table).where(mark.is_not(None) if deleted else mark.is_(None)).order_by(table.c.id)
    for name, value in where.items():
        if name not in table.c:
            raise ValueError(f"{table.name} has no column {name!r}")
        query = query.where(table.c[name] == value)
    return [dict(row) for row in connection.execute(query).mappings()]


def correct_row(
    connection: Connection, table: Table, row_id: int, changes: dict, version: int | None = None, who: str | None = None
) -> int:
    """Change columns of one row, keeping the old values in the history; return its new version.

    With `version`, the one that was looked at, the change is refused if the row has moved on since. BookError if there
    is no such row, or it was changed meanwhile; RecordError if a value is impossible.
    """
    row = row_of(connection, table, row_id, lock=True)
    _refuse_outdated(connection, table, row, version, changes)
    new = {name: value for name, value in checked_values(table, changes).items() if value != row[name]}
    if not new:
        return row["version"]
    _write(connection, table, row, new)
    note_change(connection, table.name, row_id, "correct", {name: row[name] for name in new}, new, who)
    return row["version"] + 1


def _refuse_outdated(connection, table, row, version, wanted=None):
    if version is None or version == row["version"]:
        return
    changes = history_of(connection, table.name, row["id"])
    who = f"by {changes[-1]['who']} at {changes[-1]['at']}" if changes else "by another person"
    raise BookError(
        f"{table.name} {row['id']} was changed {who} after you opened it; nothing was overwritten; "
        f"{both_values(row, wanted or {})}look at it again and repeat your change"
    )


def both_values(now: dict, wanted: dict, of: str = "") -> str:
    """Return in words what stands in the book, and what was to take its place, where the two differ."""
    words = ""
    for name, value in wanted.items():
        old = now.get(name)
        if isinstance(value, dict):
            words += both_values(old or {}, value, f"{name} ")
        elif value != old and not isinstance(value, list):
            old, value = ("empty" if is_empty(one) else one for one in (old, value))
            words += f"{of}{name} is {old} now, and you wrote {value}; ".replace("_", " ")
    return words


def _write(connection, table, row, new):
    query = update(table).where(table.c.id == row["id"], table.c.version == row["version"])
    if connection.execute(query.values(**new, version=row["version"] + 1)).rowcount != 1:
        raise BookError(f"{table.name} {row['id']} was changed by another person meanwhile; look at it again")


def mark_deleted(
    connection: Connection,
    table: Table,
    row_id: int,
    deleted: bool = True,
    version: int | None = None,
    who: str | None = None,
) -> int:
    """Mark a row as deleted, or bring it back, and return its new version; all that points to it stays in the book."""
    row = row_of(connection, table, row_id, lock=True)
    _refuse_outdated(connection, table, row, version)
    if (row["deleted_at"] is not None) == deleted:
        return row["version"]
    new = {"deleted_at": now() if deleted else None}
    _write(connection, table, row, new)
    action = "delete" if deleted else "undelete"
    note_change(connection, table.name, row_id, action, {"deleted_at": row["deleted_at"]}, new, who)
    return row["version"] + 1


def undo_last(connection: Connection, table: Table, row_id: int, who: str | None = None) -> int:
    """Take back the last change of a row that stands, and return the row's new version; BookError if there is none."""
    standing = _standing(connection, table, row_id)
    if not standing:
        raise BookError(f"{table.name} {row_id} has no change that could be taken back")
    row = row_of(connection, table, row_id, lock=True)
    old = standing[-1]["old"]
    _write(connection, table, row, old)
    note_change(connection, table.name, row_id, "undo", {name: row[name] for name in old}, old, who)
    return row["version"] + 1


def last_was_deletion(connection: Connection, table: Table, row_id: int) -> bool:
    """Whether `undo_last` would delete a row or bring it back."""
    standing = _standing(connection, table, row_id)
    return bool(standing) and "deleted_at" in standing[-1]["old"]


def _standing(connection, table, row_id):
    """The changes of a row that have not been taken back, oldest first."""
    standing = []
    for change in history_of(connection, table.name, row_id):
        standing = standing[:-1] if change["action"] == "undo" else [*standing, change]
    return standing


def note_change(
    connection: Connection, table: str, row_id: int | None, action: str, old: dict, new: dict, who: str | None = None
) -> None:
    """Write one line of the history, with the old and new values by column."""
    line = {"at": now(), "who": who or who_am_i(), "table": table, "row_id": row_id, "action": action}
    connection.execute(insert(Change).values(**line, old=_plain(old), new=_plain(new)))


def _plain(values):
    return json.loads(json.dumps(values, default=str))


def history_of(connection: Connection, table: str | None = None, row_id: int | None = None) -> list[dict]:
    """Return changes, oldest first, of one row, one table, or the whole book."""
    query = select(Change.__table__).order_by(Change.id)
    if table is not None:
        query = query.where(Change.table == table)
    if row_id is not None:
        query = query.where(Change.row_id == row_id)
    return [dict(line) for line in connection.execute(query).mappings()]

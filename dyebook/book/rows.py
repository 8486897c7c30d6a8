"""One mechanism for every table: add, list, correct, delete, bring back, undo, and the history of it all.

Rows are checked from the table's own columns: names in `dyebook.record.FIELDS` by their ranges there, others by
the marks set in the schema. Deletion is a mark, a correction keeps the old value, and a correction made on an
outdated view of a row is refused.
"""

import getpass
import json
import math
import os
from datetime import datetime

from sqlalchemy import insert, select, update

from dyebook.book.schema import TABLES, Change, now
from dyebook.errors import BookError, RecordError
from dyebook.record import FIELDS, check_text, check_value, is_empty

__all__ = [
    "add_row",
    "checked_moment",
    "checked_values",
    "correct_row",
    "history_of",
    "last_was_deletion",
    "list_rows",
    "mark_deleted",
    "note_change",
    "row_of",
    "table_named",
    "undo_last",
    "who_am_i",
]

# kept by the mechanism itself, never given by hand
_OWN = {"id", "version", "added_at", "added_by", "deleted_at"}


def who_am_i():
    """Return the name that goes into the history: ``DYEBOOK_WHO``, else the user of this machine."""
    return os.environ.get("DYEBOOK_WHO") or getpass.getuser()


def table_named(name):
    """Return the table called `name`; ValueError with the names there are otherwise."""
    if name not in TABLES:
        raise ValueError(f"the book has no table {name!r}; it has {', '.join(sorted(TABLES))}")
    return TABLES[name]


def checked_values(table, values):
    """Return `values` as the table's columns want them.

    Parameters
    ----------
    table : sqlalchemy.Table
    values : dict
        Column name to value; nan and empty text mean "not measured".

    Returns
    -------
    dict

    Raises
    ------
    RecordError
        If a value is of the wrong kind or outside its range.
    ValueError
        If there is no such column.
    """
    return {name: _checked(table, name, value) for name, value in values.items()}


def _checked(table, name, value):
    if name not in table.c or name in _OWN:
        legal = ", ".join(column.name for column in table.c if column.name not in _OWN)
        raise ValueError(f"{table.name} has no column {name!r}; it has {legal}")
    column = table.c[name]
    if name in FIELDS:
        value = check_value(name, value)
    if is_empty(value) or value == "":
        if not column.nullable and column.default is None:
            raise RecordError(f"{table.name} need {name}; it is empty")
        return None
    return _by_marks(table, column, value)


def _by_marks(table, column, value):
    """Check a value that is there by the marks its column carries in the schema."""
    where = f"{column.name} of {table.name}"
    if "one_of" in column.info and value not in column.info["one_of"]:
        raise RecordError(f"{where} is {value!r}; it must be one of {', '.join(column.info['one_of'])}")
    if column.info.get("moment"):
        return checked_moment(column.name, value)
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


def checked_moment(name, value):
    """Return a date, or date and time, as ISO 8601 text; RecordError when it is none."""
    if isinstance(value, datetime):
        return value.isoformat()
    try:
        datetime.fromisoformat(str(value))
    except ValueError:
        raise RecordError(
            f"{name} is {value!r}; write it as year-month-day, with the time after a T, such as 2026-03-28T14:30"
        ) from None
    return str(value)


def add_row(connection, table, values, who=None):
    """Insert one row and return its number (int); values as in `checked_values`."""
    row = checked_values(table, values) | {"added_at": now(), "added_by": who or who_am_i()}
    return connection.execute(insert(table), row).inserted_primary_key[0]


def row_of(connection, table, row_id, lock=False):
    """Return one row as a dict, deleted or not; BookError if it was never there."""
    query = select(table).where(table.c.id == row_id)
    row = connection.execute(query.with_for_update() if lock else query).mappings().first()
    if row is None:
        raise BookError(f"{table.name} have no number {row_id}; list them to see which there are")
    return dict(row)


def list_rows(connection, table, deleted=False, **where):
    """Return rows as dicts, oldest first.

    Parameters
    ----------
    connection : sqlalchemy.Connection
    table : sqlalchemy.Table
    deleted : bool
        True to have those marked deleted instead.
    **where
        Column name and the value it must have.

    Returns
    -------
    list of dict
    """
    mark = table.c.deleted_at
    query = select(table).where(mark.is_not(None) if deleted else mark.is_(None)).order_by(table.c.id)
    for name, value in where.items():
        if name not in table.c:
            raise ValueError(f"{table.name} has no column {name!r}")
        query = query.where(table.c[name] == value)
    return [dict(row) for row in connection.execute(query).mappings()]


def correct_row(connection, table, row_id, changes, version=None, who=None, action="correct"):
    """Change values of one row, keeping the old ones in the history.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Inside a writing transaction.
    table : sqlalchemy.Table
    row_id : int
    changes : dict
        Column name to new value.
    version : int, optional
        The version that was looked at; refused when the row has moved on since.
    who : str, optional
    action : str
        What the history calls it.

    Returns
    -------
    int
        The row's new version; unchanged when nothing changed.

    Raises
    ------
    BookError
        If there is no such row, or somebody else changed it meanwhile.
    RecordError
        If a value is impossible.
    """
    row = row_of(connection, table, row_id, lock=True)
    _refuse_outdated(connection, table, row, version)
    new = {name: value for name, value in checked_values(table, changes).items() if value != row[name]}
    if not new:
        return row["version"]
    _write(connection, table, row, new)
    note_change(connection, table.name, row_id, action, {name: row[name] for name in new}, new, who)
    return row["version"] + 1


def _refuse_outdated(connection, table, row, version):
    if version is None or version == row["version"]:
        return
    changes = history_of(connection, table.name, row["id"])
    who = f"by {changes[-1]['who']} at {changes[-1]['at']}" if changes else "by somebody else"
    raise BookError(
        f"{table.name} {row['id']} was changed {who} after you opened it; nothing was overwritten; "
        "look at it again and repeat your change"
    )


def _write(connection, table, row, new):
    query = update(table).where(table.c.id == row["id"], table.c.version == row["version"])
    if connection.execute(query.values(**new, version=row["version"] + 1)).rowcount != 1:
        raise BookError(f"{table.name} {row['id']} was changed by somebody else meanwhile; look at it again")


def mark_deleted(connection, table, row_id, deleted=True, version=None, who=None):
    """Mark a row as deleted, or bring it back; the row and all that points to it stay in the book.

    Returns
    -------
    int
        The row's new version.
    """
    row = row_of(connection, table, row_id, lock=True)
    _refuse_outdated(connection, table, row, version)
    if (row["deleted_at"] is not None) == deleted:
        return row["version"]
    new = {"deleted_at": now() if deleted else None}
    _write(connection, table, row, new)
    action = "delete" if deleted else "undelete"
    note_change(connection, table.name, row_id, action, {"deleted_at": row["deleted_at"]}, new, who)
    return row["version"] + 1


def undo_last(connection, table, row_id, who=None):
    """Take back the last change of a row that has not been taken back yet, and return the row's new version.

    Raises
    ------
    BookError
        If there is nothing to take back.
    """
    standing = _standing(connection, table, row_id)
    if not standing:
        raise BookError(f"{table.name} {row_id} has no change that could be taken back")
    row = row_of(connection, table, row_id, lock=True)
    old = standing[-1]["old"]
    _write(connection, table, row, old)
    note_change(connection, table.name, row_id, "undo", {name: row[name] for name in old}, old, who)
    return row["version"] + 1


def last_was_deletion(connection, table, row_id):
    """Whether `undo_last` would delete a row or bring it back."""
    standing = _standing(connection, table, row_id)
    return bool(standing) and "deleted_at" in standing[-1]["old"]


def _standing(connection, table, row_id):
    """The changes of a row that have not been taken back, oldest first."""
    standing = []
    for change in history_of(connection, table.name, row_id):
        standing = standing[:-1] if change["action"] == "undo" else [*standing, change]
    return standing


def note_change(connection, table, row_id, action, old, new, who=None):
    """Write one line of the history; `old` and `new` are dicts of values."""
    line = {"at": now(), "who": who or who_am_i(), "table": table, "row_id": row_id, "action": action}
    connection.execute(insert(Change).values(**line, old=_plain(old), new=_plain(new)))


def _plain(values):
    return json.loads(json.dumps(values, default=str))


def history_of(connection, table=None, row_id=None):
    """Return changes as dicts, oldest first, of one row, one table, or the whole book."""
    query = select(Change.__table__).order_by(Change.id)
    if table is not None:
        query = query.where(Change.table == table)
    if row_id is not None:
        query = query.where(Change.row_id == row_id)
    return [dict(line) for line in connection.execute(query).mappings()]

"""The half of a book that is the same for every table: transactions, rows, history and settings."""

import copy
from contextlib import contextmanager

from sqlalchemy import func, select

from dyebook.book import rows
from dyebook.book.connect import clear_errors, unsure_errors
from dyebook.book.people import OWNERS_SETTINGS, refuse_unless
from dyebook.book.schema import BathEvent, Change, Dip, Reading, Setting

__all__ = ["Tables"]

# taken back in the ordinary course of a day's work
_MAKERS_DELETE = ("preparations", "runs", "verdicts")


def _always_owner():
    return "owner"


class Tables:
    """Rows of every table, each method one transaction; the base of `dyebook.book.store.Book`.

    Parameters
    ----------
    engine : sqlalchemy.Engine
    place : dyebook.book.place.Place
    who : str
        Name for the history.
    """

    def __init__(self, engine, place, who):
        self._engine = engine
        self._writer = engine.execution_options(writes=True)
        self.place = place
        self.who = who
        self._role = _always_owner

    def seen_by(self, who, role_now=None):
        """Return this open book as somebody's: with the name for its history, and the role that limits what is done.

        Parameters
        ----------
        who : dyebook.book.people.Who
        role_now : callable, optional
            Gives the role at the moment somebody writes, None for no role any more; `who.role` for good without it.
        """
        seen = copy.copy(self)
        seen.who, seen._role = who.name, role_now or (lambda: who.role)
        return seen

    def must_be(self, role):
        """Raise `BookError` unless whoever holds this book has the role, one of `dyebook.book.people.ROLES`."""
        refuse_unless(self._role(), role, self.who)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def close(self):
        """Let go of the file or server."""
        self._engine.dispose()

    @contextmanager
    def reading(self):
        """Yield a connection that sees the book as it is at one moment."""
        with clear_errors(self.place), self._engine.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def writing(self):
        """Yield a connection whose changes are safe on disk once the block ends, or undone if it raises.

        Raises
        ------
        BookError
            Before anything else, if the book is held by a reader.
        UnsureError
            If a server goes away while it is told to keep the changes.
        """
        self.must_be("maker")
        with clear_errors(self.place), self._writer.begin() as connection:
            yield connection
            with unsure_errors(self.place):
                connection.commit()

    def add(self, table, **values):
        """Add a row to any table of `dyebook.book.schema.TABLES` and return its number."""
        with self.writing() as connection:
            return rows.add_row(connection, rows.table_named(table), values, self.who)

    def rows(self, table, deleted=False, **where):
        """Return rows of any table as dicts, oldest first, where columns have the given values."""
        with self.reading() as connection:
            return rows.list_rows(connection, rows.table_named(table), deleted, **where)

    def row(self, table, row_id):
        """Return one row of any table as a dict, deleted or not; BookError if it was never there."""
        with self.reading() as connection:
            return rows.row_of(connection, rows.table_named(table), row_id)

    def correct(self, table, row_id, changes, version=None):
        """Correct one row, keeping the old values in the history.

        Parameters
        ----------
        table : str
        row_id : int
        changes : dict
            Column name to new value.
        version : int, optional
            The version that was looked at; the correction is refused if the row has moved on since.

        Returns
        -------
        int
            The row's new version.
        """
        with self.writing() as connection:
            return rows.correct_row(connection, rows.table_named(table), row_id, changes, version, self.who)

    def delete(self, table, row_id, version=None):
        """Mark a row as deleted and return its new version; `undelete` brings it back. Mostly for owners."""
        self._may_delete(table)
        with self.writing() as connection:
            return rows.mark_deleted(connection, rows.table_named(table), row_id, True, version, self.who)

    def undelete(self, table, row_id, version=None):
        """Bring back a row that was marked as deleted; return its new version. As `delete`, mostly for owners."""
        self._may_delete(table)
        with self.writing() as connection:
            return rows.mark_deleted(connection, rows.table_named(table), row_id, False, version, self.who)

    def _may_delete(self, table):
        if table not in _MAKERS_DELETE:
            self.must_be("owner")

    def undo(self, table, row_id):
        """Take back the last change of a row that has not been taken back yet; return its new version."""
        with self.writing() as connection:
            if rows.last_was_deletion(connection, rows.table_named(table), row_id):
                self._may_delete(table)
            return rows.undo_last(connection, rows.table_named(table), row_id, self.who)

    def history(self, table=None, row_id=None):
        """Return who changed what, when, from which values to which, oldest first."""
        with self.reading() as connection:
            return rows.history_of(connection, table, row_id)

    def edition(self):
        """Return a mark that changes whenever a dip, a reading, a bath's event or a correction comes in; cheap."""
        columns = [func.max(table.id) for table in (Dip, Reading, BathEvent, Change)]
        moments = [func.max(moment) for moment in (Dip.added_at, Reading.added_at, BathEvent.added_at, Change.at)]
        with self.reading() as connection:
            return tuple(connection.execute(select(column)).scalar() for column in (*columns, *moments))

    def setting(self, key, default=None):
        """Return a shop setting, any JSON value."""
        with self.reading() as connection:
            found = connection.execute(select(Setting.value).where(Setting.key == key)).first()
        return default if found is None else found[0]

    def settings(self):
        """Return all shop settings by their keys."""
        with self.reading() as connection:
            return {row.key: row.value for row in connection.execute(select(Setting.key, Setting.value))}

    def set_setting(self, key, value):
        """Keep a shop setting, any JSON value; the old one goes into the history. Some are for owners."""
        if key in OWNERS_SETTINGS:
            self.must_be("owner")
        table = Setting.__table__
        with self.writing() as connection:
            old = connection.execute(select(table.c.value).where(table.c.key == key)).first()
            if old is None:
                connection.execute(table.insert().values(key=key, value=value))
            else:
                connection.execute(table.update().where(table.c.key == key).values(value=value))
            before = {key: old[0] if old else None}
            rows.note_change(connection, "settings", None, "setting", before, {key: value}, self.who)

"""Dyes and baths by the names people write, found or made.

Who may do what in a book that several people share: readers look, makers write, owners also decide.

At the shop's own machine, in the shell and at a paired phone, everybody is an owner: who stands there can also
carry the book away. Roles count where people come in through sign-in.

The half of a book that is the same for every table: transactions, rows, history and settings.
"""

import copy
from contextlib import contextmanager
from dataclasses import dataclass

from sqlalchemy import func, select, update
from sqlalchemy.dialects import postgresql, sqlite

from dyebook.book import rows
from dyebook.book.connect import clear_errors, unsure_errors
from dyebook.book.schema import Bath, BathEvent, Change, Dip, Dye, Reading, Setting, now
from dyebook.errors import BookError, RecordError
from dyebook.record import SHOP_SETTINGS, check_setting

__all__ = [
    "OWNERS_SETTINGS",
    "ROLES",
    "Names",
    "Tables",
    "Who",
    "address_of",
    "insert_if_new",
    "people_of",
    "refuse_unless",
    "set_person",
    "who_is",
]

# each may also do what those before it may
ROLES = ("reader", "maker", "owner")
_KEY = "people"
# who comes in, where photos lie, and where printed codes lead is not for everybody who writes
OWNERS_SETTINGS = (_KEY, *SHOP_SETTINGS)
_LONGEST = 254


@dataclass(frozen=True)
class Who:
    """Somebody at the book: the name for its history, and a role of `ROLES`."""

    name: str
    role: str


def refuse_unless(role, needed, name):
    """Raise `BookError` unless `role` (None: none) is `needed` or more."""
    if role not in ROLES or ROLES.index(role) < ROLES.index(needed):
        raise BookError(f"{name} has the role {role or 'none'}, and this is for its {needed}s; ask an owner")


def people_of(book):
    """Return the role of everybody who may sign in, by e-mail address."""
    return dict(book.setting(_KEY) or {})


def set_person(book, email, role):
    """Let somebody sign in with a role, or no more.

    Parameters
    ----------
    book : dyebook.book.store.Book
    email : str
    role : str or None
        One of `ROLES`; None takes the person off the list, which counts from the next tap on.

    Raises
    ------
    RecordError
        If it is no e-mail address or no role.
    BookError
        If there is nobody to take off, or whoever asks is no owner.
    """
    address, listed = address_of(email), people_of(book)
    if role is None and address not in listed:
        raise BookError(f"{address} is not among the people of this book; list them to see who is")
    if role is not None and role not in ROLES:
        raise RecordError(f"the role is {role!r}; it must be one of {', '.join(ROLES)}")
    others = {name: kept for name, kept in listed.items() if name != address}
    book.set_setting(_KEY, others if role is None else {**others, address: role})


def address_of(email):
    """Return an e-mail address as it is kept: without space around it, in small letters; RecordError if it is none."""
    address = (email or "").strip().casefold()
    name, _, host = address.partition("@")
    if not name or not host or "@" in host or len(address) > _LONGEST or any(one.isspace() for one in address):
        raise RecordError(f"{email!r} is no e-mail address; write it as name@host")
    return address


def who_is(book, email):
    """Return whoever signed in with an e-mail address, as the book has it now; None for anybody else."""
    try:
        address = address_of(email)
    except RecordError:
        return None
    role = people_of(book).get(address)
    return Who(address, role) if role in ROLES else None


# taken back in the ordinary course of a day's work
_MAKERS_DELETE = ("preparations", "runs", "verdicts")


def _always_owner():
    return "owner"


class Tables:
    """Rows of every table, each method one transaction; the base of `dyebook.book.store.Book`.

    Parameters
    ----------
    engine : sqlalchemy.Engine
    place : dyebook.book.connect.Place
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
        who : dyebook.book.tables.Who
        role_now : callable, optional
            Gives the role at the moment somebody writes, None for no role any more; `who.role` for good without it.
        """
        seen = copy.copy(self)
        seen.who, seen._role = who.name, role_now or (lambda: who.role)
        return seen

    def must_be(self, role):
        """Raise `BookError` unless whoever holds this book has the role, one of `dyebook.book.tables.ROLES`."""
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
        """Return a setting, any JSON value; one of `SHOP_SETTINGS` that was not set has its own default."""
        with self.reading() as connection:
            found = connection.execute(select(Setting.value).where(Setting.key == key)).first()
        if found is not None and found[0] is not None:
            return found[0]
        return SHOP_SETTINGS[key].default if default is None and key in SHOP_SETTINGS else default

    def settings(self):
        """Return all shop settings by their keys."""
        with self.reading() as connection:
            return {row.key: row.value for row in connection.execute(select(Setting.key, Setting.value))}

    def set_setting(self, key, value):
        """Keep a setting, any JSON value; the old one goes into the history. Some are for owners.

        RecordError where one of `SHOP_SETTINGS` makes no sense.
        """
        if key in OWNERS_SETTINGS:
            self.must_be("owner")
        if key in SHOP_SETTINGS:
            value = check_setting(key, value)
        table = Setting.__table__
        with self.writing() as connection:
            old = connection.execute(select(table.c.value).where(table.c.key == key)).first()
            if old is None:
                connection.execute(table.insert().values(key=key, value=value))
            else:
                connection.execute(table.update().where(table.c.key == key).values(value=value))
            before = {key: old[0] if old else None}
            rows.note_change(connection, "settings", None, "setting", before, {key: value}, self.who)


_INSERTS = {"sqlite": sqlite.insert, "postgresql": postgresql.insert}


def insert_if_new(connection, table, values):
    """Insert a row unless a unique name stands in the way; return its number, or None if it was there."""
    statement = _INSERTS[connection.dialect.name](table).values(**values).on_conflict_do_nothing()
    return connection.execute(statement.returning(table.c.id)).scalar()


class Names:
    """Finds the number of a dye or bath by name, making it when it is new; remembers what it found."""

    def __init__(self, connection, who):
        self.connection = connection
        self.who = who
        self._known = {}

    def dye_and_bath(self, dye, bath):
        """Return the numbers of a dye and of a bath of it (None without a bath name).

        Raises
        ------
        RecordError
            If the dye has no name.
        """
        dye, bath = tidy(dye), tidy(bath)
        if not dye:
            raise RecordError("the dye has no name; a dip cannot be repeated without")
        dye_id = self._number(Dye.__table__, {"name": dye})
        return dye_id, self._number(Bath.__table__, {"name": bath, "dye_id": dye_id}) if bath else None

    def _number(self, table, values):
        key = (table.name, *values.values())
        if key not in self._known:
            self._known[key] = self._find(table, values) or self._make(table, values)
        return self._known[key]

    def _find(self, table, values):
        same = [table.c[name] == value for name, value in values.items()]
        row = self.connection.execute(select(table.c.id, table.c.deleted_at).where(*same)).first()
        if row is not None and row.deleted_at is not None:
            self.connection.execute(update(table).where(table.c.id == row.id).values(deleted_at=None))
        return row.id if row else None

    def _make(self, table, values):
        made = insert_if_new(self.connection, table, {**values, "added_at": now(), "added_by": self.who})
        return made or self._find(table, values)


def tidy(name):
    """Return a name without stray blanks; None for none."""
    return " ".join(str(name).split()) or None if name is not None else None

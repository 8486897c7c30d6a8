"""Dyes and baths by the names people write, found or made."""

from sqlalchemy import select, update
from sqlalchemy.dialects import postgresql, sqlite

from dyebook.book.schema import Bath, Dye, now
from dyebook.errors import RecordError

__all__ = ["Names", "insert_if_new"]

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

"""What every table of the book shares, and the marks on a column that its values are checked by."""

from datetime import UTC, datetime
from typing import ClassVar

from sqlalchemy import JSON, Boolean, Double, ForeignKey, Integer, MetaData, String
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

__all__ = ["Base", "Kept", "between", "link", "moment", "now", "one_of"]

_NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}


class Base(DeclarativeBase):
    """Root of the book's tables; moments are ISO 8601 text, the same in SQLite, PostgreSQL and every export."""

    metadata = MetaData(naming_convention=_NAMES)
    type_annotation_map: ClassVar = {
        float: Double(),
        str: String(),
        int: Integer(),
        bool: Boolean(),
        dict: JSON(none_as_null=True),
        list: JSON(none_as_null=True),
    }


class Kept:
    """A row that is never lost: corrections raise `version`, deletion is the mark `deleted_at`."""

    id: Mapped[int] = mapped_column(primary_key=True)
    version: Mapped[int] = mapped_column(default=1, server_default="1")
    added_at: Mapped[str]
    added_by: Mapped[str]
    deleted_at: Mapped[str | None]


def between(lower, upper, **options):
    """Return a column whose numbers must lie within the two limits."""
    return mapped_column(info={"between": (lower, upper)}, **options)


def one_of(*words, **options):
    """Return a column that holds one of the given words."""
    return mapped_column(info={"one_of": words}, **options)


def moment(**options):
    """Return a column that holds a date, or a date and time, as ISO 8601 text."""
    return mapped_column(info={"moment": True}, **options)


def link(table, **options):
    """Return an indexed column that points to a row of another table."""
    return mapped_column(ForeignKey(f"{table}.id"), index=True, **options)


def now():
    """Return this moment in UTC as ISO 8601 text."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")

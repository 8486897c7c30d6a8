"""Shop settings, and the history of every change."""

from sqlalchemy import Index
from sqlalchemy.orm import Mapped, mapped_column

from dyebook.book.schema.base import Base, one_of

__all__ = ["Change", "Setting"]


class Setting(Base):
    """One shop setting, such as the card's own Lab; its value is any JSON."""

    __tablename__ = "settings"
    key: Mapped[str] = mapped_column(primary_key=True)
    value: Mapped[dict | None]


class Change(Base):
    """Who changed what, when, from which old values to which new ones."""

    __tablename__ = "history"
    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[str]
    who: Mapped[str]
    table: Mapped[str]
    row_id: Mapped[int | None]
    action: Mapped[str] = one_of("correct", "delete", "undelete", "undo", "setting", "restore")
    old: Mapped[dict | None]
    new: Mapped[dict | None]
    __table_args__ = (Index(None, "table", "row_id"),)

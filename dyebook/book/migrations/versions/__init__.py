"""One file a schema version; what the columns of many tables have in common stands here, and does not change."""

import sqlalchemy as sa
from alembic import op

__all__ = ["kept", "optional", "required"]


def optional(kind, *names) -> tuple:
    """Return columns of one type that may be empty."""
    return tuple(sa.Column(name, kind, nullable=True) for name in names)


def required(kind, *names) -> tuple:
    """Return columns of one type that are never empty."""
    return tuple(sa.Column(name, kind, nullable=False) for name in names)


def kept(table: str) -> tuple:
    """Return the columns that every table of the book has, and its primary key."""
    return (
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), server_default="1", nullable=False),
        sa.Column("added_at", sa.String(), nullable=False),
        sa.Column("added_by", sa.String(), nullable=False),
        sa.Column("deleted_at", sa.String(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}")),
    )

"""Lots of dyes and chemicals, what the seal test showed, and where a part hung and was held."""

import sqlalchemy as sa
from alembic import op

from dyebook.book.migrations.versions import kept, required

revision = "0006"
down_revision = "0004"


def upgrade():
    op.create_table(
        "lots",
        *required(sa.String(), "product", "lot", "opened_on"),
        sa.Column("note", sa.String(), nullable=True),
        *kept("lots"),
    )
    op.create_index(op.f("ix_lots_product"), "lots", ["product"], unique=False)
    op.add_column("dips", sa.Column("dye_lot", sa.String(), nullable=True))
    op.add_column("seals", sa.Column("seal_stain", sa.Double(), nullable=True))
    op.add_column("parts", sa.Column("position", sa.Integer(), server_default="1", nullable=False))
    op.add_column("parts", sa.Column("contact_marks", sa.String(), nullable=True))

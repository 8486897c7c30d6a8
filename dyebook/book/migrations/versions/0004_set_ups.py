"""What a reading's error is made of, the set-up it was read in, and an instrument's geometry; names of set-ups."""

import sqlalchemy as sa
from alembic import op

from dyebook.book.migrations.versions import kept, required

revision = "0004"
down_revision = "0003"


def upgrade():
    op.create_table(
        "setups",
        *required(sa.String(), "key", "name"),
        sa.Column("note", sa.String(), nullable=True),
        *kept("setups"),
        sa.UniqueConstraint("key", name=op.f("uq_setups_key")),
    )
    op.add_column("readings", sa.Column("error_parts", sa.JSON(none_as_null=True), nullable=True))
    for name in ("setup_key", "shape_key", "finish", "geometry"):
        op.add_column("readings", sa.Column(name, sa.String(), nullable=True))
    op.create_index(op.f("ix_readings_setup_key"), "readings", ["setup_key"], unique=False)
    with op.batch_alter_table("targets", schema=None) as batch_op:
        batch_op.add_column(sa.Column("batch_id", sa.Integer(), nullable=True))
        batch_op.create_index(batch_op.f("ix_targets_batch_id"), ["batch_id"], unique=False)
        batch_op.create_foreign_key(batch_op.f("fk_targets_batch_id"), "batches", ["batch_id"], ["id"])

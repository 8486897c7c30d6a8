"""The own colour of a set-up's bare twin, which may be told before the set-up has a name."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade():
    with op.batch_alter_table("setups") as batch_op:
        batch_op.add_column(sa.Column("twin_lab", sa.JSON(none_as_null=True), nullable=True))
        batch_op.alter_column("name", existing_type=sa.String(), nullable=True)

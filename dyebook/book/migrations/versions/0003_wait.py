"""How long a batch waited between its rinse after anodising and the dye bath."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade():
    op.add_column("dips", sa.Column("wait_min", sa.Double(), nullable=True))

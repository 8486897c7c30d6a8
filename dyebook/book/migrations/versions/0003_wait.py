"""How long a batch waited between its rinse after anodising and the dye bath."""

from dyebook.book.migrations import add_columns

revision = "0003"
down_revision = "0002"


def upgrade():
    add_columns("dips", "wait_min real")

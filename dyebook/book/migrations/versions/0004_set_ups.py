"""What a reading's error is made of, the set-up it was read in, and an instrument's geometry; names of set-ups."""

from dyebook.book.migrations import add_columns, make_table

revision = "0004"
down_revision = "0003"


def upgrade():
    make_table("setups", "key text!, name text!, note text", "key")
    add_columns("readings", "error_parts json_or_null, setup_key text *, shape_key text, finish text, geometry text")
    add_columns("targets", "batch_id int > batches")

"""Lots of dyes and chemicals, what the seal test showed, and where a part hung and was held."""

from dyebook.book.migrations import add_columns, make_table

revision = "0006"
down_revision = "0004"


def upgrade():
    make_table("lots", "product text! *, lot text!, opened_on text!, note text")
    add_columns("dips", "dye_lot text")
    add_columns("seals", "seal_stain real")
    add_columns("parts", "position int! =1, contact_marks text")

"""The schema's versions, and what they are written in: a table as one text, its columns in order.

A column is ``name type``; with ``!`` it is never empty, ``=1`` is what it is without a value, ``> table`` points to the
rows of that table and is indexed, ``*`` is indexed too.
"""

import sqlalchemy as sa
from alembic import op

__all__ = ["add_columns", "make_table"]

_TYPES = {
    "text": sa.String,
    "int": sa.Integer,
    "real": sa.Double,
    "bool": sa.Boolean,
    "json": sa.JSON,
    "json_or_null": lambda: sa.JSON(none_as_null=True),
}
# what every table of the shop has
_KEPT = "id int!, version int! =1, added_at text!, added_by text!, deleted_at text"


def make_table(name: str, columns: str, *unique: str, key: str = "id", kept: str = _KEPT):
    """Make a table, with an index of each column that points elsewhere; `unique`: columns no two rows share."""
    made = [_Column(word) for word in ", ".join(filter(None, (columns, kept))).split(", ")]
    rules = [sa.PrimaryKeyConstraint(key, name=op.f(f"pk_{name}"))]
    rules += [sa.ForeignKeyConstraint([c.name], [f"{c.to}.id"], name=op.f(f"fk_{name}_{c.name}")) for c in made if c.to]
    if unique:
        rules.append(sa.UniqueConstraint(*unique, name=op.f(f"uq_{name}_{'_'.join(unique)}")))
    op.create_table(name, *(column.made() for column in made), *rules)
    for column in made:
        if column.indexed:
            op.create_index(op.f(f"ix_{name}_{column.name}"), name, [column.name])


def add_columns(name: str, columns: str):
    """Add columns to a table."""
    with op.batch_alter_table(name) as table:
        for column in map(_Column, columns.split(", ")):
            table.add_column(column.made())
            if column.indexed:
                table.create_index(table.f(f"ix_{name}_{column.name}"), [column.name])
            if column.to:
                table.create_foreign_key(table.f(f"fk_{name}_{column.name}"), column.to, [column.name], ["id"])


class _Column:
    def __init__(self, words):
        self.name, kind, *marks = words.split()
        self.needed, self.type = kind.endswith("!"), _TYPES[kind.rstrip("!")]
        self.default = next((mark[1:] for mark in marks if mark[0] == "="), None)
        self.to = marks[-1] if ">" in marks else None
        self.indexed = self.to is not None or "*" in marks

    def made(self):
        return sa.Column(self.name, self.type(), server_default=self.default, nullable=not self.needed)

"""The tables of the book, as typed models; `HEAD` names the newest schema version."""

from dyebook.book.schema.anodising import Electrolyte, ElectrolyteEvent, Preparation, Run
from dyebook.book.schema.base import Base, Kept, now
from dyebook.book.schema.colour import Photo, Reading
from dyebook.book.schema.dyeing import Batch, Bath, BathEvent, Dip, Dye, Part, Rinse, Seal
from dyebook.book.schema.keeping import Change, Setting
from dyebook.book.schema.shop import Coupon, Order, OrderItem, Sample, Target, Test, Verdict

__all__ = [
    "HEAD",
    "TABLES",
    "Base",
    "Batch",
    "Bath",
    "BathEvent",
    "Change",
    "Coupon",
    "Dip",
    "Dye",
    "Electrolyte",
    "ElectrolyteEvent",
    "Kept",
    "Order",
    "OrderItem",
    "Part",
    "Photo",
    "Preparation",
    "Reading",
    "Rinse",
    "Run",
    "Sample",
    "Seal",
    "Setting",
    "Target",
    "Test",
    "Verdict",
    "now",
]

HEAD = "0003"

# name -> table, for everything that is added, listed and corrected by the one mechanism of `dyebook.book.rows`;
# a table stands after those it points to
TABLES = {table.name: table for table in Base.metadata.sorted_tables if "deleted_at" in table.c}

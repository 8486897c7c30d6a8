"""The tables of the book, as typed models; `HEAD` names the newest schema version."""

from dyebook.book.schema.base import Base, Kept, now
from dyebook.book.schema.colour import Photo, Reading
from dyebook.book.schema.dyeing import Batch, Bath, Dip, Dye, Rinse, Run
from dyebook.book.schema.keeping import Change, Setting

__all__ = [
    "HEAD",
    "TABLES",
    "Base",
    "Batch",
    "Bath",
    "Change",
    "Dip",
    "Dye",
    "Kept",
    "Photo",
    "Reading",
    "Rinse",
    "Run",
    "Setting",
    "now",
]

HEAD = "0001"

# name -> table, for everything that is added, listed and corrected by the one mechanism of `dyebook.book.rows`
TABLES = {model.__tablename__: model.__table__ for model in Kept.__subclasses__()}

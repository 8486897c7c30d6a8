"""What can still be read of a damaged book, written into a new one.

A damaged page hides the rows that lie on it and, where it is a page of an index, more than those from a plain reading.
So each table is read from both ends, and between them row by row.
"""

import hashlib
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

from sqlalchemy import column, create_engine, delete, func, insert, select, table, text, update
from sqlalchemy.exc import DBAPIError

from dyebook.book.connect import Place, find_place, sqlite_engine
from dyebook.book.photos import open_photos
from dyebook.book.schema import HEAD, Base
from dyebook.errors import BookError
from dyebook.safe_file import sync_file

__all__ = ["salvage_book"]

# how far beyond the last row that was seen others are looked for
_BEYOND = 1000


def salvage_book(damaged: Place, target: str | Path) -> dict:
    """Write all rows and photos that can be read of a book on a disk to a new book.

    The damaged one is not written to; `target` is the folder of the new one, and must not be there yet. Return
    ``{"batches": int, "rows": int, "lost_rows": int, "photos": int, "lost_photos": int}``; lost rows are those whose
    numbers are known and whose content is not, or which point to one that is lost.
    """
    if damaged.file is None:
        raise BookError("a book on a server is mended by the server's own tools, or by restoring a backup")
    if not damaged.file.is_file():
        raise BookError(f"there is no book at {damaged.name}; check the path")
    folder = Path(target)
    if folder.exists():
        raise BookError(f"{folder} is there already; name a folder that is not")
    folder.mkdir(parents=True)
    place = find_place(folder)
    try:
        told = _copy_tables(damaged.file, place.file)
    except BookError:
        shutil.rmtree(folder)
        raise
    shas = told.pop("shas")
    found = _copy_photos(damaged.photos, place.photos, shas)
    return {**told, "photos": found, "lost_photos": len(shas) - found}


def _copy_tables(source, target):
    with closing(_reader_of(source).connect()) as old, closing(sqlite_engine(target).connect()) as new, new.begin():
        new.execute(text("PRAGMA synchronous = OFF"))  # synced as a whole at the end
        made = _statements(old, source)
        for statement in made["table"].values():
            new.exec_driver_sql(statement)
        counts = [_copy_rows(old, new, _plain_table(new, name)) for name in made["table"]]
        for statement in made["index"].values():
            new.exec_driver_sql(statement)
        _stamp(new)
        dropped = _drop_dangling(new)
        batches, photos = (_plain_table(new, name) for name in ("batches", "photos"))
        count = new.execute(select(func.count()).select_from(batches)).scalar()
        shas = new.execute(select(photos.c.sha256).distinct()).scalars().all()
    sync_file(target)
    rows, lost = (sum(column) for column in zip(*counts, strict=True))
    return {"batches": count, "rows": rows - dropped, "lost_rows": lost + dropped, "shas": shas}


def _stamp(new):
    """Write the schema's version down anew where its page is lost, and the tables are those of today."""
    here = {name: {one.name for one in _plain_table(new, name).c} for name in Base.metadata.tables}
    if all({one.name for one in table.c} <= here[name] for name, table in Base.metadata.tables.items()):
        new.execute(text("DELETE FROM alembic_version"))
        new.execute(text("INSERT INTO alembic_version VALUES (:head)"), {"head": HEAD})


def _reader_of(source):
    """An engine that reads a file and its log, and takes text as it comes."""

    def connect():
        connection = sqlite3.connect(f"{source.absolute().as_uri()}?mode=ro", uri=True)
        connection.text_factory = lambda raw: raw.decode("utf-8", "replace")
        return connection

    return create_engine("sqlite+pysqlite://", creator=connect)


def _plain_table(connection, name):
    """A table whose values are neither converted nor checked, with its rows' own numbers as `rowid`."""
    names = connection.execute(text("SELECT name FROM pragma_table_info(:name)"), {"name": name}).scalars()
    return table(name, column("rowid"), *map(column, names))


def _statements(old, source):
    """The statements that made the tables and indexes of a book, by their names."""
    made = {"table": {}, "index": {}}
    try:
        query = text("SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL")
        found = old.execute(query).all()
    except DBAPIError:
        found = []
    for kind, name, sql in found:
        if kind in made and not name.startswith("sqlite_"):
            made[kind][name] = sql
    if not {"batches", "photos", "alembic_version"} <= set(made["table"]):
        raise BookError(f"nothing can be read of {source}: its list of tables is lost; restore the last backup")
    return made


def _copy_rows(old, new, rows_of):
    """How many rows of one table were copied, and how many are known to be lost."""
    rows, whole = _all_rows(old, rows_of)
    kept = 0
    for row in rows.values():
        try:
            with new.begin_nested():
                new.execute(insert(rows_of), row)
            kept += 1
        except DBAPIError:  # what was read breaks a rule of the table: it is damage
            continue
    return kept, (len(rows) if whole else max(rows, default=0)) - kept


def _all_rows(old, rows_of):
    """Rows by their numbers, in order, and whether the table could be read from end to end."""
    found, query, number = {}, select(rows_of), rows_of.c.rowid
    doubled = set()  # numbers met twice: a page of another table lies among the pages of this one
    for order in (number.asc(), number.desc()):
        before = set(found)
        try:
            for row in old.execute(query.order_by(order)).mappings():
                if row["rowid"] in before:
                    break  # both ways met
                doubled |= {row["rowid"]} & found.keys()
                found[row["rowid"]] = dict(row)
        except DBAPIError:
            continue
        if not doubled:
            return dict(sorted(found.items())), True
        break
    last, one = max(found, default=0), 0
    while (one := one + 1) <= last + _BEYOND:
        if one in found and one not in doubled:
            continue
        try:
            row = old.execute(query.where(number == one)).mappings().first()
        except DBAPIError:
            continue
        if row is not None:
            found[one], last = dict(row), max(last, one)
    return dict(sorted(found.items())), False


def _drop_dangling(new):
    """Let go of what points to lost rows, and of rows that make no sense without them; return how many rows went."""
    dropped = 0
    while broken := new.execute(text('SELECT "table", rowid, fkid FROM pragma_foreign_key_check')).all():
        for name, number, key in broken:
            query = text('SELECT "from" FROM pragma_foreign_key_list(:name) WHERE id = :key')
            pointer = new.execute(query, {"name": name, "key": key}).scalar()
            rows_of = _plain_table(new, name)
            try:
                with new.begin_nested():
                    new.execute(update(rows_of).where(rows_of.c.rowid == number).values({pointer: None}))
            except DBAPIError:
                dropped += new.execute(delete(rows_of).where(rows_of.c.rowid == number)).rowcount
    return dropped


def _copy_photos(source, target, shas):
    """How many photos were found whole, and were copied."""
    old, new = open_photos(source), open_photos(target)
    found = 0
    for sha in shas:
        try:
            content = old.read(sha)
        except (BookError, OSError):
            continue
        if hashlib.sha256(content).hexdigest() == sha:
            with new.keeping(content):
                found += 1
    return found

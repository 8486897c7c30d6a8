"""The schema through the years: new books are made, older ones brought up to date after a copy of them was kept.

A copy is always an SQLite file, from a server too, and holds the book as it is at one moment while others use it.
"""

import sqlite3
import time
from contextlib import closing
from pathlib import Path

from sqlalchemy import MetaData, insert, inspect, select, text

from dyebook.book.connect import sqlite_engine, use_write_ahead_log, user_folder
from dyebook.book.schema import HEAD, Base, now
from dyebook.errors import BookError

__all__ = ["alembic_config", "bring_up_to_date", "copy_rows", "copy_server", "copy_sqlite", "kept_beside"]

_CHUNK_ROWS = 5000
# a new book is empty for a moment, while its tables are made
_MAKING_S, _LOOK_AGAIN_S = 2.0, 0.02
_STAMP_TABLE = (
    "CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL, "
    "CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num))"
)


def bring_up_to_date(engine, place):
    """Make the book if there is none, or migrate it to the newest schema."""
    if place.file is not None:
        if not place.file.exists():
            place.file.parent.mkdir(parents=True, exist_ok=True)
        _refuse_empty(place)
    if _revision(engine) == HEAD:
        return
    with engine.execution_options(writes=True).connect() as connection:
        if place.file is not None:
            use_write_ahead_log(connection.connection.dbapi_connection)
            # tables are rebuilt while migrating, and no rebuilt table may drag others along
            connection.connection.dbapi_connection.execute("PRAGMA foreign_keys = OFF")
        try:
            with connection.begin():
                _make_or_migrate(connection, place)
        finally:
            connection.invalidate()


def _refuse_empty(place):
    """Tell a book that was emptied from one that another station is making at this moment."""
    deadline = time.monotonic() + _MAKING_S
    while place.file.exists() and place.file.stat().st_size == 0:
        if time.monotonic() > deadline:
            raise BookError(
                f"the book {place.name} is an empty file of 0 bytes: its content was lost, or it never was a book; "
                "restore a backup into a new folder, or delete the empty file to begin anew"
            )
        time.sleep(_LOOK_AGAIN_S)


def _revision(engine):
    """The schema version stamped in the book; None where there is no book yet."""
    with engine.connect() as connection:
        return _stamp(connection)


def _stamp(connection):
    if connection.dialect.name == "sqlite":
        found = connection.execute(text("SELECT 1 FROM sqlite_master WHERE name = 'alembic_version'")).scalar()
    else:
        found = connection.execute(text("SELECT to_regclass('alembic_version')")).scalar()
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar() if found else None


def _make_or_migrate(connection, place):
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(7239)"))  # two stations may open a new book at once
    revision = _stamp(connection)
    if revision is None:
        _make(connection, place)
    elif revision != HEAD:
        _migrate(connection, place, revision)


def _make(connection, place):
    others = set(inspect(connection).get_table_names())
    if others:
        raise BookError(f"{place.name} is a database, but no book: it holds {', '.join(sorted(others)[:3])}")
    Base.metadata.create_all(connection)
    # the table as Alembic makes it; importing Alembic takes half a second
    connection.execute(text(_STAMP_TABLE))
    connection.execute(text("INSERT INTO alembic_version VALUES (:head)"), {"head": HEAD})


def _migrate(connection, place, revision):
    from alembic import command
    from alembic.script import ScriptDirectory

    config = alembic_config(connection)
    known = {script.revision for script in ScriptDirectory.from_config(config).walk_revisions()}
    if revision not in known:
        raise BookError(
            f"{place.name} was written by a newer dyebook (schema {revision}, this one knows up to {HEAD}); "
            "install the newer version to open it"
        )
    _back_up_before(connection, place, revision)
    command.upgrade(config, "head")
    if connection.dialect.name == "sqlite" and connection.execute(text("PRAGMA foreign_key_check")).first():
        raise BookError(f"{place.name} could not be brought up to date: rows would point nowhere; it was left as it is")


def alembic_config(connection):
    """Return an Alembic configuration that works on `connection` with the migrations of this package."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations").replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    return config


def _back_up_before(connection, place, revision):
    copy = kept_beside(place, f"book-schema-{revision}")
    if place.file is not None:
        copy_sqlite(place.file, copy)
    else:
        copy_server(connection, copy)


def kept_beside(place, stem: str) -> Path:
    """Return the path of a file that does not exist yet, for a copy of a book as it is now: beside it where it is one.

    `stem`: how the file's name begins; this moment follows, and a number where needed.
    """
    folder = place.file.parent if place.file is not None else user_folder()
    folder.mkdir(parents=True, exist_ok=True)
    stem = f"{stem}-{now().replace(':', '').replace('-', '').split('.')[0]}"
    tries = (folder / f"{stem}{number}.sqlite" for number in ("", *(f"-{n}" for n in range(2, 10_000))))
    return next(path for path in tries if not path.exists())


def copy_sqlite(source, target):
    """Write a consistent copy of the SQLite file `source`, which may be in use, to the new file `target`."""
    with closing(sqlite3.connect(source, timeout=60)) as old, closing(sqlite3.connect(target)) as new:
        old.backup(new)
        new.execute("PRAGMA journal_mode = DELETE")


def copy_server(connection, target):
    """Copy all tables a connection sees, whatever their schema version, to a new SQLite file."""
    tables = MetaData()
    tables.reflect(connection)
    _drop_server_words(tables)
    with closing(sqlite_engine(target).connect()) as new, new.begin():
        tables.create_all(new)
        for table in tables.sorted_tables:
            copy_rows(connection, table, new, table)


def _drop_server_words(tables):
    """Forget defaults that only the server understands, such as its counters."""
    for table in tables.tables.values():
        for column in table.c:
            default = column.server_default
            if default is not None and ("::" in str(default.arg) or "(" in str(default.arg)):
                column.server_default = None


def copy_rows(source, source_table, target, target_table):
    """Copy all rows of one table to an empty one with the same columns."""
    names = [column.name for column in target_table.c]
    query = select(*(source_table.c[name] for name in names))
    if "id" in source_table.c:
        query = query.order_by(source_table.c.id)
    for rows in source.execute(query).mappings().partitions(_CHUNK_ROWS):
        target.execute(insert(target_table), [dict(row) for row in rows])

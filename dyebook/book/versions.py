"""The schema through the years: new books are made, older ones brought up to date after a backup."""

import sqlite3
from contextlib import closing
from pathlib import Path

from sqlalchemy import inspect, text

from dyebook.book.connect import unused_file, use_write_ahead_log, user_folder
from dyebook.book.schema import HEAD, Base, now
from dyebook.errors import BookError

__all__ = ["alembic_config", "bring_up_to_date", "copy_sqlite"]

_STAMP_TABLE = (
    "CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL, "
    "CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num))"
)


def bring_up_to_date(engine, place):
    """Make the book if there is none, or migrate it to the newest schema.

    Parameters
    ----------
    engine : sqlalchemy.Engine
    place : dyebook.book.connect.Place

    Raises
    ------
    BookError
        If the database holds something else, or a book written by a newer version.
    """
    if place.file is not None and not place.file.exists():
        place.file.parent.mkdir(parents=True, exist_ok=True)
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
    stamp = now().replace(":", "").replace("-", "").split(".")[0]
    stem = f"book-schema-{revision}-{stamp}"
    if place.file is not None:
        copy_sqlite(place.file, unused_file(place.file.parent, stem))
    else:
        from dyebook.book.backup import copy_server

        copy_server(connection, unused_file(user_folder(), stem))


def copy_sqlite(source, target):
    """Write a consistent copy of the SQLite file `source`, which may be in use, to the new file `target`."""
    with closing(sqlite3.connect(source, timeout=60)) as old, closing(sqlite3.connect(target)) as new:
        old.backup(new)
        new.execute("PRAGMA journal_mode = DELETE")

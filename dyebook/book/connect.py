"""Where a book lives, and connections to it that keep what they are given.

A book is a folder, a file or a database URL, with a folder of photos. Its connections sync in full, hold foreign keys
and wait for the locks of others; what the database or disk refuses becomes an error in plain words. SQLAlchemy is
loaded where a connection is made, so that a command that needs one setting of a file need not wait for it.
"""

import json
import os
import re
import shutil
import sqlite3
import time
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from urllib.parse import quote

from dyebook.errors import BookError, UnsureError

__all__ = [
    "Place", "clear_errors", "find_place", "make_engine", "sqlite_engine", "stored_setting", "unsure_errors",
    "use_write_ahead_log", "user_folder",
]  # fmt: skip

_FILE_ENDINGS = {".sqlite", ".sqlite3", ".db"}
_ROOM_BYTES = 2**17  # less than SQLite asks for at once
PATIENCE_S = 60  # a station waits this long for the others' writes before it gives up
_POSTGRES = ("postgresql:", "postgres:", "postgresql+psycopg:")


@dataclass(frozen=True)
class Place:
    """The address of a book."""

    name: str  # as shown to people; passwords removed
    url: str | None  # of a database server, as SQLAlchemy opens it; None for a file
    file: Path | None  # the SQLite file; None for a database server
    photos: str | None  # folder or fsspec URL of the photos; None when no place is set


def find_place(path_or_url: str | Path | None = None, photos: str | Path | None = None) -> Place:
    """Return where the book lives: `path_or_url`, else ``DYEBOOK_BOOK``, else the user's data folder.

    A folder (made if missing) holds ``book.sqlite`` and ``photos/``; a file ending in ``.sqlite``, ``.sqlite3`` or
    ``.db`` has its photos in a folder beside it; or it is a ``postgresql://`` URL. Photos may have a folder or fsspec
    URL of their own: `photos`, else ``DYEBOOK_PHOTOS``.
    """
    given = str(path_or_url or os.environ.get("DYEBOOK_BOOK") or user_folder() / "shop.dyebook")
    photos = str(photos or os.environ.get("DYEBOOK_PHOTOS") or "") or None
    if given.startswith(_POSTGRES):
        return _server_place(given, photos)
    if given.startswith("sqlite:///"):
        given = given.removeprefix("sqlite:///")
    if "://" in given:
        raise BookError(f"{given.split('://')[0]}:// cannot hold a book; give a path, or a postgresql:// URL")
    try:
        path = Path(given).expanduser()
    except RuntimeError:
        raise BookError(f"the book {given}: there is no such user on this machine; write the path in full") from None
    return _disk_place(path, photos)


def user_folder():
    """Return this user's data folder, which need not be there yet."""
    from platformdirs import user_data_path

    return user_data_path("dyebook", appauthor=False)


def _server_place(given, photos):
    from sqlalchemy.engine import make_url
    from sqlalchemy.exc import ArgumentError

    try:
        url = make_url(given).set(drivername="postgresql+psycopg")
    except (ArgumentError, ValueError):
        raise BookError(
            "the address of the database server makes no sense; write postgresql://user@host:5432/database, with signs "
            "such as @ and / in a password as %40 and %2F"
        ) from None
    return Place(url.render_as_string(hide_password=True), url.render_as_string(hide_password=False), None, photos)


def _disk_place(path, photos):
    try:
        is_file = path.is_file() or (path.suffix.lower() in _FILE_ENDINGS and not path.is_dir())
    except OSError as error:
        raise BookError(f"the book {path} cannot be opened ({error.strerror}); check its name and its folder") from None
    file = path if is_file else path / "book.sqlite"
    beside = path.with_suffix(".photos") if is_file else path / "photos"
    return Place(str(path), None, file, photos or str(beside))


def make_engine(place: Place):
    """Return an engine for `place`; connections with the execution option ``writes`` lock from their start.

    BookError if the driver of a database server is not installed.
    """
    if place.file is None:
        return _engine_of(place.url, False, os.getpid())
    return _engine_of(_sqlite_url(place.file, _may_only_be_read(place.file)), True, os.getpid())


def sqlite_engine(file):
    """Return a plain engine for an SQLite file that only this process knows, such as a copy."""
    from sqlalchemy import create_engine

    return create_engine(_sqlite_url(file))


def _sqlite_url(file, read_only=False):
    """The URL of a file; put together from parts, as a path may hold any sign, ?, # and % too."""
    from sqlalchemy.engine import URL

    if not read_only:
        return URL.create("sqlite+pysqlite", database=str(file))
    # the write-ahead log wants to write even for reading; nothing can change a file that may not be written
    query = {"mode": "ro", "immutable": "1", "uri": "true"}
    return URL.create("sqlite+pysqlite", database=f"file:{quote(str(file))}", query=query)


def _may_only_be_read(file):
    """Whether a book lies where nothing may be written, complete, without changes that wait in its log."""
    log = file.with_name(file.name + "-wal")
    waits = log.exists() and log.stat().st_size
    return file.exists() and not os.access(file.parent, os.W_OK) and not waits


@lru_cache(maxsize=16)
def _engine_of(url, on_disk, _process):
    """One engine for all openings of a book in this process: what it has compiled serves the next opening too."""
    from sqlalchemy import create_engine, event

    if not on_disk:
        try:
            return create_engine(url, pool_pre_ping=True)
        except ModuleNotFoundError as error:
            raise BookError(
                f"books on a PostgreSQL server need {error.name}, which is not installed; "
                "pip install 'dyebook[postgres]'"
            ) from error
    engine = create_engine(url, connect_args={"timeout": PATIENCE_S})
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection, _record):
    # no implicit BEGIN by the driver: a deferred one would take its write lock late and fail among many writers
    connection.isolation_level = None
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA synchronous = FULL")


def _begin_sqlite(connection):
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def use_write_ahead_log(connection):
    """Switch an SQLite connection to its write-ahead log, so that reading never waits for writing."""
    deadline = time.monotonic() + PATIENCE_S
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            # the switch does not wait by itself when several stations open a new book at once
            if "locked" not in str(error) or time.monotonic() > deadline:
                raise
            time.sleep(0.01)


def stored_setting(place: Place, key: str) -> object:
    """Return a setting as the file of a book holds it, without opening the book; None where it is not set.

    BookError if the file cannot be read.
    """
    try:
        if not place.file.exists():
            return None
        connection = sqlite3.connect(f"{place.file.absolute().as_uri()}?mode=ro", uri=True, timeout=PATIENCE_S)
        try:
            found = connection.execute("SELECT value FROM settings WHERE key = ?", (key,)).fetchone()
        finally:
            connection.close()
    except (sqlite3.Error, OSError) as error:
        raise BookError(f"the book {place.name}: {_reason(str(error))}") from error
    value = None if found is None else found[0]
    # a bare number stands as a number in a column declared as JSON
    return json.loads(value) if isinstance(value, str) else value


# what databases and disks say, as patterns
_REASONS = (
    ("disk (is )?full|no space", "the disk is full; nothing of this was written; free some space and do it again"),
    ("read-?only", "it may not be written to; check the folder's permissions, or copy the book to another disk"),
    ("unable to open", "it cannot be opened; check that the folder exists and may be written to"),
    ("not a database", "the file is no book; give another path, or restore a backup"),
    (
        "malformed",
        "the file is damaged; keep it, save what can still be read with: dyebook check --salvage FOLDER, or restore "
        "the last backup",
    ),
    ("locked", "another program holds it for very long; close it and do it again"),
    ("authentication failed", "the database server refuses the name or the password; check both in the address"),
    ("no password supplied", "the database server wants a password; add it to the address, or to the file .pgpass"),
    ('role "', "the database server does not know this name; check it in the address"),
    ('database "', "the server has no such database; create it, or check its name in the address"),
    ("permission denied|not permitted", "you may not read or write there; ask whoever owns it, or name another place"),
    ("not a directory", "a part of its path is a file and not a folder; check the path"),
    ("file exists", "a file stands where its folder should be; check the path"),
    ("name too long", "its name is longer than the disk can hold; choose a shorter one"),
    ("resolve host", "no server of that name is known; check its address, and the network"),
    ("connection", "the database server does not answer; check its address, and that it runs"),
)


@contextmanager
def clear_errors(place):
    """Turn what the database or disk refuses inside the block into a `BookError` that says what to do."""
    from sqlalchemy import exc

    try:
        yield
    except exc.IntegrityError as error:
        raise BookError(f"the book {place.name} refused a row: {error.orig}; check what it points to") from error
    except OverflowError as error:
        raise BookError(f"the book {place.name} cannot hold so large a number ({error}); check the figure") from error
    except (exc.DBAPIError, sqlite3.Error, OSError) as error:
        text = str(getattr(error, "orig", None) or error)
        raise BookError(f"the book {place.name}: {_reason('disk is full' if _is_full(place) else text)}") from error


@contextmanager
def unsure_errors(place):
    """Tell a connection that breaks at the very end, when it is unknown what was kept, from one that breaks before."""
    from sqlalchemy import exc

    try:
        yield
    except exc.DBAPIError as error:
        if not error.connection_invalidated:
            raise
        raise UnsureError(
            f"the book {place.name}: the database server went away while it was keeping this; it is there as a whole "
            "or not at all: look whether it is, before you do it again"
        ) from error


def _is_full(place):
    """Whether the disk of a book has no room left, which SQLite may call an input or output error."""
    folder = place.file.parent if place.file is not None else None
    return folder is not None and folder.exists() and shutil.disk_usage(folder).free < _ROOM_BYTES


def _reason(text):
    found = (reason for words, reason in _REASONS if re.search(words, text.lower()))
    return next(found, f"{text}; run the check command, and restore a backup if it finds damage")

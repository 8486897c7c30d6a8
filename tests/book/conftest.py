"""A fresh book for each test, on SQLite always and on PostgreSQL where a server is named."""

import os
import sqlite3
import uuid
from contextlib import closing
from pathlib import Path

import pytest

from dyebook.book.store import open_book
from dyebook.lab import Lab
from dyebook.record import DyeRecord, Reading

JPEG_HEAD = b"\xff\xd8\xff\xe0"


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def book_url(request, tmp_path):
    """Address of a book that does not exist yet."""
    if request.param == "sqlite":
        yield str(tmp_path / "shop.dyebook")
        return
    server = os.environ.get("DYEBOOK_TEST_POSTGRES")
    if not server:
        pytest.skip("DYEBOOK_TEST_POSTGRES names no server")
    import psycopg

    schema = f"book_{uuid.uuid4().hex[:12]}"
    with psycopg.connect(server.replace("+psycopg", ""), autocommit=True) as admin:
        admin.execute(f"CREATE SCHEMA {schema}")
        yield f"{server}?options=-csearch_path%3D{schema}"
        admin.execute(f"DROP SCHEMA {schema} CASCADE")


@pytest.fixture
def store(book_url, tmp_path):
    """An open, empty book."""
    with open_book(book_url, photos=tmp_path / "photos", who="Ada") as book:
        yield book


@pytest.fixture
def dip():
    """Makes a record; keywords replace its settings."""
    return make_dip


def make_dip(lab=None, **changes):
    settings = {"dye": "Harbour blue", "film_um": 12.0, "dye_g_per_l": 3.0, "bath_temp_c": 40.0, "dwell_min": 5.0}
    readings = () if lab is None else (Reading(Lab(*lab), (0.5, 0.6, 0.7), (0.8, 0.9, 1.0)),)
    return DyeRecord(**{**settings, "ph": 5.5, "readings": readings, **changes})


@pytest.fixture
def photo():
    """Bytes that begin as a JPEG does; the book keeps photos and does not look into them."""
    return JPEG_HEAD + bytes(range(256)) * 20


@pytest.fixture
def old_book(tmp_path):
    """Makes the small book of a schema version, kept as SQL, and returns its folder."""

    def _old_book(version):
        folder = tmp_path / "old.dyebook"
        folder.mkdir()
        dump = (Path(__file__).parent / "versions" / f"{version}.sql").read_text(encoding="utf-8")
        with closing(sqlite3.connect(folder / "book.sqlite")) as connection:
            connection.executescript(dump)
        return folder

    return _old_book

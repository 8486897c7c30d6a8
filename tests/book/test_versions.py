"""A book outlives the schema: every version's small book still opens, and the migrations make what the models say."""

import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

from dyebook.book.schema import HEAD, Base
from dyebook.book.setups import list_setups, twin_of
from dyebook.book.store import open_book
from dyebook.book.versions import alembic_config
from dyebook.errors import BookError

VERSIONS = Path(__file__).parent / "versions"


def _schema(file):
    """Columns, indexes and foreign keys of every table; their order does not matter."""
    found = {}
    with closing(sqlite3.connect(file)) as connection:
        for (table,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'"):
            columns = {row[1:5] for row in connection.execute(f"PRAGMA table_info({table})")}
            indexes = {row[1:4] for row in connection.execute(f"PRAGMA index_list({table})") if row[3] == "c"}
            keys = {row[2:5] for row in connection.execute(f"PRAGMA foreign_key_list({table})")}
            found[table] = (columns, indexes, keys)
    return found


def test_there_is_a_small_book_of_every_version():
    from alembic.script import ScriptDirectory

    script = ScriptDirectory.from_config(alembic_config(None))
    assert script.get_current_head() == HEAD
    assert {path.stem for path in VERSIONS.glob("*.sql")} == {one.revision for one in script.walk_revisions()}


@pytest.mark.parametrize("dump", sorted(VERSIONS.glob("*.sql")), ids=lambda path: path.stem)
def test_an_older_book_opens_with_all_it_held(dump, old_book):
    folder = old_book(dump.stem)
    with open_book(folder) as book:
        row = book.batches()[0]
        assert (row.dye, row.bath, row.film_um, row.note) == ("Harbour blue", "Tank 1", 12.0, "first batch, 80 °F day")
        assert row.lab == (41.5, 3.25, -38.0)
        assert book.history()[0]["old"] == {"dwell_min": 4.0}
        assert book.check() == []
        book.correct_batch(row.batch, {"note": "still writes"})
    backups = list(folder.glob("book-schema-*.sqlite"))
    assert len(backups) == (dump.stem != HEAD)
    for backup in backups:
        with closing(sqlite3.connect(backup)) as connection:
            assert connection.execute("SELECT version_num FROM alembic_version").fetchone() == (dump.stem,)
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)


@pytest.mark.parametrize("dump", sorted(VERSIONS.glob("*.sql")), ids=lambda path: path.stem)
def test_a_migrated_book_equals_a_new_one(dump, old_book, tmp_path):
    old = old_book(dump.stem)
    open_book(old).close()
    open_book(tmp_path / "new.dyebook").close()
    assert _schema(old / "book.sqlite") == _schema(tmp_path / "new.dyebook" / "book.sqlite")


def test_the_models_and_the_migrations_say_the_same(book_url, tmp_path):
    from alembic import command
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    url = f"sqlite:///{tmp_path / 'm.sqlite'}" if "://" not in book_url else book_url
    engine = create_engine(url)
    with engine.begin() as connection:
        command.upgrade(alembic_config(connection), "head")
        context = MigrationContext.configure(connection, opts={"compare_server_default": True})
        assert compare_metadata(context, Base.metadata) == []
    engine.dispose()


def test_a_book_of_a_newer_version_is_refused_untouched(store, book_url):
    with store.writing() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(BookError, match="written by a newer dyebook"):
        open_book(book_url)
    assert store.batches() == []


def test_another_database_is_no_book(tmp_path):
    file = tmp_path / "music.sqlite"
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("CREATE TABLE songs (name)")
    with pytest.raises(BookError, match="no book: it holds songs"):
        open_book(file)
    (tmp_path / "text.sqlite").write_text("not a database, only words, and many of them" * 100)
    with pytest.raises(BookError, match="the file is no book"):
        open_book(tmp_path / "text.sqlite")
    with pytest.raises(BookError, match="mysql:// cannot hold a book"):
        open_book("mysql://somewhere/book")


def test_opening_an_up_to_date_book_leaves_heavy_libraries_alone(tmp_path):
    folder = tmp_path / "b.dyebook"
    open_book(folder).close()
    code = (
        "import sys; from dyebook.book.store import open_book; book = open_book(sys.argv[1]); book.batches(5); "
        "print(sorted({'alembic', 'pandas', 'scipy', 'cv2', 'colour', 'fsspec'} & set(sys.modules)))"
    )
    found = subprocess.run([sys.executable, "-c", code, folder], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"


def test_the_small_book_with_set_ups_keeps_the_parts_of_an_error_and_their_names(old_book):
    with open_book(old_book("0004")) as book:
        (reading,), (use,) = book.rows("readings"), list_setups(book)
        totals = [sum(cov[axis][axis] for cov in reading["error_parts"].values()) for axis in range(3)]
        assert totals == pytest.approx([reading[f"{axis}_sd"] ** 2 for axis in "Lab"])
        assert (reading["shape_key"], reading["finish"], reading["geometry"]) == ("flat", "bead blasted", None)
        assert (use.keys, use.name, use.readings) == ((reading["setup_key"],), "window bench", 1)


def test_the_small_book_with_a_bare_twin_keeps_its_colour(old_book):
    with open_book(old_book("0007")) as book:
        (row,) = book.rows("setups")
        assert (row["name"], twin_of(book, row["key"])) == ("window bench", (80.4, -0.3, -0.9))

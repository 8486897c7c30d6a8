"""A damaged book is noticed before it replaces a good backup, and what can be read of it is saved."""

import os
import shutil
import sqlite3
import zipfile
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from dyebook.book.connect import find_place
from dyebook.book.salvage import salvage_book
from dyebook.book.store import open_book
from dyebook.errors import BookError

PAGES_TRIED = int(os.environ.get("DYEBOOK_PAGES", "10"))


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A book of 150 batches in one file, its photo, and the bytes of both."""
    from tests.book.conftest import JPEG_HEAD, make_dip

    folder = tmp_path_factory.mktemp("shop")
    photo = JPEG_HEAD + bytes(range(256)) * 20
    with open_book(folder, who="Ada") as book:
        for number in range(150):
            lab = (20 + number / 3, 5, -30)
            book.add_batch(make_dip(lab, note=f"batch {number} " + "word " * 30), photo if number % 50 == 0 else None)
        for number in range(1, 150, 7):
            book.correct_batch(number, {"dwell_min": 7.5})
    with closing(sqlite3.connect(folder / "book.sqlite")) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
    return folder


def damaged_copy(shop, folder, page, rng, kind):
    """A copy of a book with one page of its file spoiled."""
    (folder / "photos").mkdir(parents=True)
    for one in filter(Path.is_file, (shop / "photos").rglob("*")):
        target = folder / one.relative_to(shop)
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(one.read_bytes())
    data = bytearray((shop / "book.sqlite").read_bytes())
    fill = {"zeros": bytes(4096), "noise": rng.bytes(4096), "another page": bytes(data[-4096:])}[kind]
    data[4096 * page : 4096 * (page + 1)] = fill
    (folder / "book.sqlite").write_bytes(data)
    return folder


def readable_batches(file):
    """The batches that SQLite gives out one by one."""
    found = {}
    with closing(sqlite3.connect(file)) as connection:
        for number in range(1, 151):
            try:
                found[number] = connection.execute("SELECT * FROM batches WHERE id = ?", (number,)).fetchone()
            except sqlite3.DatabaseError:
                continue
    return {number: row for number, row in found.items() if row}


def is_same(row, whole):
    """Whether a row is what it was, but for pointers to rows that are lost."""
    return all(value in (was, None) for value, was in zip(row, whole, strict=True))


def back_up(folder, file):
    with open_book(folder) as book:
        book.back_up(file)


def test_no_damaged_page_gets_into_a_backup_and_what_is_readable_is_saved(shop, tmp_path):
    pages = (shop / "book.sqlite").stat().st_size // 4096
    whole = readable_batches(shop / "book.sqlite")
    rng = np.random.default_rng(20)
    good = b"the last good backup"
    for trial in range(PAGES_TRIED):
        page, kind = int(rng.integers(1, pages - 1)), ("zeros", "noise", "another page")[trial % 3]
        folder = damaged_copy(shop, tmp_path / f"{trial}", page, rng, kind)
        backup = tmp_path / f"{trial}.zip"
        backup.write_bytes(good)
        where = f"page {page} of {pages}, {kind}"
        with pytest.raises(BookError, match="damaged"):
            back_up(folder, backup)  # some cannot even be opened
        assert backup.read_bytes() == good, where
        readable = readable_batches(folder / "book.sqlite")
        try:
            told = salvage_book(find_place(folder), tmp_path / f"{trial}.new")
        except BookError as lost:
            told = str(lost)
        if isinstance(told, str):
            assert "list of tables" in told, where
            assert not readable, where
            continue
        kept = readable_batches(tmp_path / f"{trial}.new" / "book.sqlite")
        # a page of another table in its place gives rows that are none
        sound = {number for number, row in readable.items() if row == whole[number]}
        assert sound <= {number for number, row in kept.items() if is_same(row, whole[number])}, where
        assert told["batches"] == len(kept)
        with open_book(tmp_path / f"{trial}.new") as saved:
            assert not [one for one in saved.check() if "does not exist" in one or "damaged" in one], where


def test_a_sound_book_is_salvaged_whole(shop, tmp_path):
    told = salvage_book(find_place(shop), tmp_path / "new")
    assert (told["batches"], told["lost_rows"], told["photos"], told["lost_photos"]) == (150, 0, 1, 0)
    with open_book(shop) as old, open_book(tmp_path / "new") as new:
        assert [row.to_dict() for row in new.batches()] == [row.to_dict() for row in old.batches()]
        assert new.history() == old.history()
        assert new.check() == []


def test_salvage_leaves_what_is_there(shop, tmp_path):
    (tmp_path / "there").mkdir()
    with pytest.raises(BookError, match="is there already"):
        salvage_book(find_place(shop), tmp_path / "there")
    with pytest.raises(BookError, match="no book"):
        salvage_book(find_place(tmp_path / "nothing"), tmp_path / "new")
    (tmp_path / "text.sqlite").write_text("no database at all, but a text that is long enough for a header" * 9)
    with pytest.raises(BookError, match="nothing can be read"):
        salvage_book(find_place(tmp_path / "text.sqlite"), tmp_path / "new")
    assert not (tmp_path / "new").exists()


def test_a_backup_that_a_disk_spoils_does_not_replace_the_last(shop, tmp_path, monkeypatch):
    """The archive is read again before it takes its place."""
    write = zipfile.ZipFile.writestr

    def spoil(self, name, data, *more):
        write(self, name, data[:-1] + b"?" if "photos/" in str(name) else data, *more)

    with open_book(shop) as book:
        book.back_up(tmp_path / "b.zip")
        good = (tmp_path / "b.zip").read_bytes()
        monkeypatch.setattr(zipfile.ZipFile, "writestr", spoil)
        with pytest.raises(BookError, match="altered"):
            book.back_up(tmp_path / "b.zip")
    assert (tmp_path / "b.zip").read_bytes() == good


def test_what_a_restore_set_aside_can_be_restored(shop, tmp_path):
    from tests.book.conftest import make_dip

    with open_book(shop) as book, open_book(tmp_path / "other") as other:
        book.back_up(tmp_path / "b.zip")
        other.add_batch(make_dip((40, 5, -30), note="only here"))
        aside = other.restore(tmp_path / "b.zip")["saved"]
        assert len(other.batches()) == 150
        assert other.restore(aside)["batches"] == 1
        assert other.batches()[0].note == "only here"
        assert other.check() == []


def test_a_book_that_lost_its_schemas_version_is_saved_as_one_of_today(shop, tmp_path):
    shutil.copytree(shop, tmp_path / "old")
    with closing(sqlite3.connect(tmp_path / "old" / "book.sqlite")) as connection, connection:
        connection.execute("DELETE FROM alembic_version")
    salvage_book(find_place(tmp_path / "old"), tmp_path / "new")
    with open_book(tmp_path / "new") as book:
        assert len(book.batches()) == 150
        assert book.check() == []

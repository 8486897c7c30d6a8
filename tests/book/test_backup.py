"""A backup holds everything, says so by its hashes, and nothing wrong gets back in."""

import hashlib
import json
import shutil
import sqlite3
import zipfile
from contextlib import closing
from pathlib import Path
from types import SimpleNamespace

import pytest

from dyebook.book.backup import _refuse_bombs
from dyebook.book.store import open_book
from dyebook.errors import BookError


@pytest.fixture
def full(store, photo, dip):
    """A book with three batches, a photo, a correction and a setting."""
    store.add_batch(dip((40, 5, -30), bath="Tank 1", rinse_temp_c=18), photo)
    store.add_batch(dip((60, 5, -30), dye="Ember"))
    store.correct_batch(store.add_batch(dip()), {"dwell_min": 7.5})
    store.set_setting("card_lab", [48, 0, 1])
    return store


def _state(book):
    history = [line for line in book.history() if line["action"] != "restore"]
    return [row.to_dict() for row in book.batches()], history, book.settings(), book.frame().to_json()


def _rezip(source, target, change):
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(target, "w") as new:
        files = {name: old.read(name) for name in old.namelist()}
        change(files)
        for name, content in files.items():
            new.writestr(name, content)
    return target


def test_restored_into_an_empty_book_it_is_the_same_book(full, tmp_path, photo, dip):
    answer = full.back_up(tmp_path / "b.zip")
    assert answer == {"batches": 3, "photos": 1, "bytes": (tmp_path / "b.zip").stat().st_size}
    assert not list(tmp_path.glob("*.part"))
    with open_book(tmp_path / "other.dyebook") as other:
        assert other.restore(tmp_path / "b.zip") == {"batches": 3, "photos": 1, "saved": None}
        assert _state(other) == _state(full)
        assert other.photo_bytes(other.batch(1).photo) == photo
        assert other.check() == []
        assert other.add_batch(dip()) == 4


def test_a_backup_moves_between_kinds_of_database(full, tmp_path, dip):
    with open_book(tmp_path / "small.dyebook") as small:
        small.add_batch(dip((20, 0, 0), dye="Slate"))
        small.back_up(tmp_path / "small.zip")
        answer = full.restore(tmp_path / "small.zip")
        assert _state(full) == _state(small)
    assert full.add_batch(dip()) == 2
    assert full.find((20, 0, 0))[0].row.dye == "Slate"
    with closing(sqlite3.connect(answer["saved"])) as connection:
        assert connection.execute("SELECT count(*) FROM batches").fetchone() == (3,)
    full.restore(_zip_of(answer["saved"], tmp_path))
    assert len(full.batches()) == 3
    assert full.check() == []


def _zip_of(saved, tmp_path):
    """A book file opened as a book of its own, backed up."""
    with open_book(saved, photos=tmp_path / "photos") as book:
        book.back_up(tmp_path / "saved.zip")
    return tmp_path / "saved.zip"


def test_an_older_versions_backup_is_brought_up_to_date(tmp_path, full, old_book):
    old = old_book("0001")
    with zipfile.ZipFile(tmp_path / "old.zip", "w") as archive:
        content = (old / "book.sqlite").read_bytes()
        archive.writestr("book.sqlite", content)
        archive.writestr("manifest.json", json.dumps({"sha256": {"book.sqlite": hashlib.sha256(content).hexdigest()}}))
    full.restore(tmp_path / "old.zip")
    assert full.batches()[0].note == "first batch, 80 °F day"


def _flip(files):
    name = next(name for name in files if name.startswith("photos/"))
    files[name] = files[name][:-1] + b"?"


def _escape(files):
    manifest = json.loads(files["manifest.json"])
    manifest["sha256"]["../outside.txt"] = "0" * 64
    files["../outside.txt"] = b"x"
    files["manifest.json"] = json.dumps(manifest).encode()


def _spoil_snapshot(files):
    files["book.sqlite"] = files["book.sqlite"][:-3000] + bytes(range(200)) * 15


WRONG = {
    "photo altered": (_flip, "altered"),
    "snapshot altered": (_spoil_snapshot, "altered"),
    "file missing": (lambda files: files.pop("book.sqlite"), "other files than its list"),
    "file added": (lambda files: files.update({"readme.txt": b"x"}), "other files than its list"),
    "path escape": (_escape, "other files than its list"),
    "no manifest": (lambda files: files.pop("manifest.json"), "no list of its contents"),
    "broken manifest": (lambda files: files.update({"manifest.json": b"[1, 2"}), "cannot be read"),
}


@pytest.mark.parametrize("case", WRONG)
def test_what_is_wrong_is_refused_and_the_book_untouched(full, tmp_path, case):
    change, words = WRONG[case]
    full.back_up(tmp_path / "b.zip")
    before = _state(full)
    with pytest.raises(BookError, match=words):
        full.restore(_rezip(tmp_path / "b.zip", tmp_path / "wrong.zip", change))
    assert _state(full) == before
    assert not (tmp_path / "outside.txt").exists()


def test_a_cut_off_backup_or_another_file_is_refused(full, tmp_path):
    full.back_up(tmp_path / "b.zip")
    content = (tmp_path / "b.zip").read_bytes()
    (tmp_path / "cut.zip").write_bytes(content[: len(content) // 2])
    (tmp_path / "text.zip").write_text("no zip")
    for name in ("cut.zip", "text.zip", "missing.zip"):
        with pytest.raises(BookError, match="cannot be read as a backup"):
            full.restore(tmp_path / name)
    assert len(full.batches()) == 3


def test_a_bomb_is_not_unpacked(full, tmp_path, monkeypatch):
    monkeypatch.setattr("dyebook.book.backup._SPARE_BYTES", 2**20)
    huge = hashlib.sha256()
    with zipfile.ZipFile(tmp_path / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        with archive.open("book.sqlite", "w", force_zip64=True) as out:
            for _ in range(12):
                out.write(bytes(2**20))
        archive.writestr("manifest.json", json.dumps({"sha256": {"book.sqlite": huge.hexdigest()}}))
    with pytest.raises(BookError, match="far more than a backup of its size"):
        full.restore(tmp_path / "bomb.zip")


def test_a_missing_photo_makes_no_backup_that_looks_whole(full, tmp_path):
    full.photos.path(full.batch(1).photo).unlink()
    with pytest.raises(BookError, match="missing"):
        full.back_up(tmp_path / "b.zip")
    assert not list(tmp_path.glob("b.zip*"))
    assert "missing" in full.check()[0]


def test_two_restores_in_one_second_keep_both_old_books(tmp_path, full):
    full.back_up(tmp_path / "all.zip")
    saved = [full.restore(tmp_path / "all.zip")["saved"] for _ in range(2)]
    assert len(set(saved)) == 2
    assert all(Path(name).exists() for name in saved)


def test_a_list_of_contents_too_long_to_be_one_is_not_read(tmp_path, full):
    """256 MB would be the names of a million photos. The zip's directory says the size (APPNOTE 4.3.12)."""
    full.back_up(tmp_path / "b.zip")
    content = bytearray((tmp_path / "b.zip").read_bytes())
    entry = content.rindex(b"PK\x01\x02")
    assert b"manifest.json" in content[entry:]
    content[entry + 24 : entry + 28] = (2**28 + 1).to_bytes(4, "little")
    (tmp_path / "long.zip").write_bytes(content)
    with pytest.raises(BookError, match="no list of its contents"):
        full.restore(tmp_path / "long.zip")


def test_what_a_backup_may_unpack_to(tmp_path, monkeypatch):
    """A hundredfold is what text in a database comes to; twice that, 1 GB beside it, and the room there is."""
    (tmp_path / "b.zip").write_bytes(bytes(1000))

    def unpack(size, room=2**40):
        monkeypatch.setattr(shutil, "disk_usage", lambda _: SimpleNamespace(free=room))
        archive = SimpleNamespace(infolist=lambda: [SimpleNamespace(file_size=size - 7), SimpleNamespace(file_size=7)])
        _refuse_bombs(archive, tmp_path / "b.zip", tmp_path)

    most = 200 * 1000 + 2**30
    unpack(most)
    unpack(5000, room=5000)
    with pytest.raises(BookError, match="far more than a backup of its size"):
        unpack(most + 1)
    with pytest.raises(BookError, match="free some space"):
        unpack(5001, room=5000)

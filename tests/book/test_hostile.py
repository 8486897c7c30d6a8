"""What a stranger might put into a file, a name or a field stays what it is: bytes and words."""

import ast
import hashlib
import json
import sqlite3
import stat
import zipfile
from contextlib import closing
from pathlib import Path

import pytest

from dyebook.book.store import open_book
from dyebook.errors import BookError, PhotoError

PACKAGE = Path(__file__).parents[2] / "dyebook"
NASTY = [
    "'; DROP TABLE batches; --",
    '" OR 1=1 --',
    "%",
    "_",
    "\\",
    "x' UNION SELECT value FROM settings --",
    "\x00",
    "🧪",
]


@pytest.mark.parametrize("words", NASTY)
def test_words_are_never_taken_for_sql(store, dip, words):
    store.add_batch(dip((40, 1, 2), note="plain"))
    words = words.replace("\x00", "") or "0"
    number = store.add_batch(dip((50, 1, 2), dye=words, bath=words, note=words))
    assert [row.batch for row in store.batches(dye=words)] == [number]
    assert [row.batch for row in store.batches(bath=words)] == [number]
    assert [row.batch for row in store.batches(text=words)] == [number]
    assert [one.row.batch for one in store.find((50, 1, 2), dye=words)] == [number]
    assert store.batches(order=words) == []
    assert store.rows("dyes", name=words)[0]["name"] == words
    store.set_setting(words, words)
    assert store.setting(words) == words
    assert len(store.batches()) == 2


@pytest.mark.parametrize("where", [{"no column": 1}, {"id; DROP TABLE dyes": 1}])
def test_a_column_is_a_column_or_nothing(store, where):
    with pytest.raises(ValueError, match="no column"):
        store.rows("dyes", **where)
    with pytest.raises(ValueError, match="no table"):
        store.rows("dyes; DROP TABLE dyes")


def _calls(name):
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            called = getattr(node, "func", None)
            if name in (getattr(called, "id", None), getattr(called, "attr", None)):
                yield path, node


@pytest.mark.parametrize("name", ["text", "exec_driver_sql", "execute"])
def test_sql_is_never_put_together_from_words(name):
    homes = (PACKAGE / "book", PACKAGE / "jobs")
    found = [
        (path, node) for path, node in _calls(name) if path.is_relative_to(homes[0]) or path.is_relative_to(homes[1])
    ]
    assert found
    for path, node in found:
        mixed = [one for one in node.args[:1] if isinstance(one, ast.JoinedStr | ast.BinOp)]
        assert not mixed, f"{path.name} line {node.lineno}"


def test_nothing_on_disk_can_run():
    running = {"pickle", "marshal", "shelve", "dill", "joblib", "cloudpickle", "yaml"}
    # the pipes between the server and its own workers carry pickles, and nothing else does
    for path in set(PACKAGE.rglob("*.py")) - {PACKAGE / "screens" / "apart.py"}:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not running & {name.split(".")[0] for name in names}, path.name
    assert not list(_calls("eval"))
    assert not list(_calls("read_pickle"))
    assert not [node for _, node in _calls("load") for one in node.keywords if one.arg == "allow_pickle"]


@pytest.mark.parametrize(
    "name", ["..jpg", "~x.jpg", "-rf.jpg", "a;b|c&d.jpg", "con.jpg", "<img src=x>.jpg", "x" * 200 + ".jpg"]
)
def test_a_photos_name_is_never_a_path(store, dip, photo, tmp_path, name):
    (tmp_path / name).write_bytes(photo)
    number = store.add_batch(dip(), tmp_path / name)
    sha = hashlib.sha256(photo).hexdigest()
    kept = [path for path in store.photos.folder.rglob("*") if path.is_file()]
    assert [sha in path.name and name not in path.name for path in kept] == [True]
    assert store.photo_bytes(store.batch(number).photo) == photo


@pytest.mark.parametrize("sha", ["../../etc/passwd", "/etc/passwd", "..", "", "0" * 63, "G" * 64, "0" * 64 + "/.."])
def test_a_photo_is_asked_for_by_its_hash_alone(store, sha):
    with pytest.raises(BookError, match="no photo's name"):
        store.photo_bytes(sha)
    with pytest.raises(BookError, match="no photo's name"):
        store.photos.path(sha)


@pytest.mark.parametrize(
    "content", [b"", b"<svg onload=x>", b"PK\x03\x04", b"\x7fELF", b"%PDF-1.7", b"GIF89a", b"#!/bin/sh"]
)
def test_a_photo_is_one_by_its_content_whatever_it_is_called(store, dip, tmp_path, content):
    (tmp_path / "part.jpg").write_bytes(content)
    with pytest.raises(PhotoError):
        store.add_batch(dip(), tmp_path / "part.jpg")
    assert store.batches() == []


OUTSIDE = ["/outside", "../outside", "photos/../../outside", "..\\outside", "C:\\outside", "photos/", "book.sqlite/x"]


@pytest.mark.parametrize("name", OUTSIDE)
@pytest.mark.parametrize("listed", [True, False])
def test_a_backup_with_other_names_is_not_unpacked(store, dip, tmp_path, name, listed):
    store.add_batch(dip())
    store.back_up(tmp_path / "good.zip")
    with zipfile.ZipFile(tmp_path / "good.zip") as good, zipfile.ZipFile(tmp_path / "bad.zip", "w") as bad:
        manifest = json.loads(good.read("manifest.json"))
        if listed:
            manifest["sha256"][name] = hashlib.sha256(b"x").hexdigest()
        bad.writestr("book.sqlite", good.read("book.sqlite"))
        bad.writestr(name, b"x")
        bad.writestr("manifest.json", json.dumps(manifest))
    with pytest.raises(BookError):
        store.restore(tmp_path / "bad.zip")
    assert not [path for path in tmp_path.rglob("outside*") if path.is_file()]
    assert len(store.batches()) == 1


def test_a_restored_book_names_no_file_of_this_machine_as_its_photo(store, dip, photo, tmp_path):
    (tmp_path / "secret").write_text("of somebody else")
    with open_book(tmp_path / "evil.dyebook", photos=tmp_path / "photos") as evil:
        evil.add_batch(dip(), photo)
    with closing(sqlite3.connect(tmp_path / "evil.dyebook" / "book.sqlite")) as connection:
        connection.execute("UPDATE photos SET sha256 = ?", (str(tmp_path / "secret"),))
        connection.commit()
        content = connection.serialize()
    with zipfile.ZipFile(tmp_path / "evil.zip", "w") as archive:
        archive.writestr("book.sqlite", content)
        archive.writestr("manifest.json", json.dumps({"sha256": {"book.sqlite": hashlib.sha256(content).hexdigest()}}))
    store.restore(tmp_path / "evil.zip")
    with pytest.raises(BookError, match="no photo's name"):
        store.photo_bytes(store.batches()[0].photo)
    with pytest.raises(BookError, match="no photo's name"):
        store.back_up(tmp_path / "out.zip")
    assert [problem for problem in store.check() if "no photo's name" in problem]


def test_a_link_in_a_backup_is_not_followed(store, dip, tmp_path):
    store.add_batch(dip())
    (tmp_path / "secret").write_text("of somebody else")
    link = zipfile.ZipInfo("book.sqlite")
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    target = str(tmp_path / "secret").encode()
    with zipfile.ZipFile(tmp_path / "link.zip", "w") as archive:
        archive.writestr(link, target)
        archive.writestr("manifest.json", json.dumps({"sha256": {"book.sqlite": hashlib.sha256(target).hexdigest()}}))
    with pytest.raises(BookError):
        store.restore(tmp_path / "link.zip")
    assert len(store.batches()) == 1


def test_a_backup_bomb_within_its_list_is_not_unpacked(store, dip, tmp_path, monkeypatch):
    monkeypatch.setattr("dyebook.book.backup._SPARE_BYTES", 2**20)
    store.add_batch(dip())
    zeros = bytes(24 * 2**20)
    with zipfile.ZipFile(tmp_path / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("book.sqlite", zeros)
        listed = {"sha256": {"book.sqlite": hashlib.sha256(zeros).hexdigest()}}
        archive.writestr("manifest.json", json.dumps(listed))
    with pytest.raises(BookError, match="far more than a backup of its size"):
        store.restore(tmp_path / "bomb.zip")
    assert len(store.batches()) == 1

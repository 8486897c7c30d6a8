"""Many stations, cut power, full disks, a clock set back, a server that restarts: nothing acknowledged is lost."""

import errno
import os
import signal
import stat
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from sqlalchemy import text

from dyebook.book.store import open_book
from dyebook.errors import BookError

ROOT = Path(__file__).parents[2]
STATION = """
import os, sys
from dyebook.book.store import open_book
from dyebook.record import DyeRecord
with open_book(sys.argv[1], photos=sys.argv[2]) as book:
    for index in range(int(sys.argv[3])):
        record = DyeRecord("Ember", film_um=12, dye_g_per_l=3, bath_temp_c=40, dwell_min=5, note=str(index))
        print(book.add_batch(record, b"\\xff\\xd8\\xff" + os.urandom(2000)), flush=True)
"""
IMPORT = """
import sys
from dyebook.book.store import open_book
book = open_book(sys.argv[1], photos=sys.argv[2])
print("ready", flush=True)
book.import_file(sys.argv[3])
"""


def _start(code, *words):
    command = [sys.executable, "-c", code, *map(str, words)]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def test_eight_stations_open_a_new_book_and_add_at_once(book_url, tmp_path):
    photos = tmp_path / "photos"
    stations = [_start(STATION, book_url, photos, 4) for _ in range(8)]
    answer = []
    for station in stations:
        out, errors = station.communicate(timeout=120)
        assert station.returncode == 0, errors
        answer += map(int, out.split())
    with open_book(book_url, photos=photos) as book:
        assert sorted(row.batch for row in book.batches()) == sorted(answer)
        assert len(set(answer)) == 32
        assert len(book.rows("dyes")) == 1
        assert book.check() == []


def test_killed_at_any_moment_no_acknowledged_batch_is_lost(book_url, tmp_path):
    photos = tmp_path / "photos"
    open_book(book_url).close()
    answer = []
    for pause_s in (0.0, 0.013, 0.05):
        station = _start(STATION, book_url, photos, 10_000)
        answer.append(int(station.stdout.readline()))
        time.sleep(pause_s)
        station.send_signal(signal.SIGKILL)
        answer += [int(line) for line in station.communicate()[0].splitlines() if line.strip()]
    with open_book(book_url, photos=photos) as book:
        assert set(answer) <= {row.batch for row in book.batches()}
        assert book.check() == []
        assert all(book.photo_bytes(row.photo) for row in book.batches())


def test_a_killed_import_leaves_nothing(book_url, tmp_path):
    head = "dye,film_um,dye_g_per_l,bath_temp_c,dwell_min,note\n"
    (tmp_path / "big.csv").write_text(head + "".join(f"Ember,12,3,40,5,{i}\n" for i in range(15_000)))
    worker = _start(IMPORT, book_url, tmp_path / "photos", tmp_path / "big.csv")
    assert worker.stdout.readline() == "ready\n"
    time.sleep(0.4)
    worker.send_signal(signal.SIGKILL)
    worker.communicate()
    with open_book(book_url, photos=tmp_path / "photos") as book:
        assert len(book.batches()) in (0, 15_000)
        assert book.check() == []


def test_two_editors_at_the_same_instant_one_is_told(store, dip, book_url):
    number = store.add_batch(dip())
    seen = store.batch(number).version
    outcomes, gate = [], threading.Barrier(4)

    def edit(minutes):
        gate.wait()
        try:
            store.correct_batch(number, {"note": f"{minutes} min"}, version=seen)
            outcomes.append("kept")
        except BookError as error:
            outcomes.append("told" if "nothing was overwritten" in str(error) else str(error))

    editors = [threading.Thread(target=edit, args=(minutes,)) for minutes in range(4)]
    for editor in editors:
        editor.start()
    for editor in editors:
        editor.join()
    assert sorted(outcomes) == ["kept", "told", "told", "told"]
    assert len(store.history()) == 1


def test_a_file_is_synced_in_full_and_read_while_it_is_written(tmp_path):
    """SQLite's own words: 2 is FULL (sqlite.org/pragma.html#pragma_synchronous); a power cut cannot be tried here."""
    with open_book(tmp_path / "b.dyebook") as book, book.writing() as writer:
        assert writer.execute(text("PRAGMA synchronous")).scalar() == 2
        assert writer.execute(text("PRAGMA foreign_keys")).scalar() == 1
        assert writer.execute(text("PRAGMA journal_mode")).scalar() == "wal"
        writer.execute(text("INSERT INTO dyes (name, added_at, added_by) VALUES ('half', 'x', 'x')"))
        with book.reading() as reader:
            assert reader.execute(text("SELECT count(*) FROM dyes")).scalar() == 0


def test_a_full_disk_while_the_photo_is_written(store, dip, photo, monkeypatch):
    def full(_handle):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(BookError, match="the disk is full; nothing of this was written"):
        store.add_batch(dip(), photo)
    monkeypatch.undo()
    assert store.batches() == []
    assert store.check() == []
    assert not any((store.photos.folder / "incoming").iterdir())


def _add_until_refused(book, dip, photo):
    for step in range(500):
        book.add_batch(dip(note="x" * 3000), photo + bytes([step % 256]))


def test_a_full_disk_while_rows_are_written(tmp_path, dip, photo):
    with open_book(tmp_path / "b.dyebook") as book:
        with book.reading() as connection:
            pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
        with book.writing() as connection:  # SQLite itself then says what it says on a full disk
            connection.exec_driver_sql(f"PRAGMA max_page_count = {pages + 2}")
        with pytest.raises(BookError, match="the disk is full"):
            _add_until_refused(book, dip, photo)
        kept = len(book.batches())
    with open_book(tmp_path / "b.dyebook") as book:
        assert len(book.batches()) == kept
        assert book.check() == []
        book.add_batch(dip())


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="the root user may write everywhere")
def test_a_read_only_folder(tmp_path):
    folder = tmp_path / "locked"
    folder.mkdir()
    folder.chmod(stat.S_IRUSR | stat.S_IXUSR)
    with pytest.raises(BookError, match=r"may not be written to|cannot be opened"):
        open_book(folder / "b.dyebook")


def test_a_book_that_may_only_be_read(tmp_path, dip, monkeypatch):
    with open_book(tmp_path / "b.dyebook") as book:
        book.add_batch(dip())
        with book.writing() as connection:  # what SQLite says of a file it may not write
            connection.exec_driver_sql("PRAGMA query_only = ON")
        with pytest.raises(BookError, match="may not be written to"):
            book.add_batch(dip())
        assert len(book.batches()) == 1


def test_a_book_on_a_disk_that_is_all_read_only_can_still_be_read(tmp_path, dip, monkeypatch):
    with open_book(tmp_path / "b.dyebook") as book:
        book.add_batch(dip((40, 0, 0)))
    monkeypatch.setattr("os.access", lambda *_: False)
    with open_book(tmp_path / "b.dyebook") as book:
        assert book.find((40, 0, 0))[0].delta_e00 == 0
        assert book.check() == []
        with pytest.raises(BookError, match="may not be written to"):
            book.add_batch(dip())


@pytest.mark.parametrize("name", ["a?b", "a#b", "a%20b", "a b", "Jörg & Söhne", "a?mode=ro", "a;b", "日本", "'", '"'])
def test_a_path_names_one_book_whatever_signs_are_in_it(tmp_path, dip, name):
    for place in (tmp_path / name, tmp_path / f"{name}.sqlite"):
        with open_book(place) as book:
            book.add_batch(dip((40, 0, 0), note=str(place)))
        with open_book(place) as book:
            assert [row.note for row in book.batches()] == [str(place)]
            book.back_up(tmp_path / f"{place.name}.zip")
            book.restore(tmp_path / f"{place.name}.zip")
            assert [row.note for row in book.batches()] == [str(place)]
    with open_book(tmp_path / "a") as other:
        assert other.batches() == []
    wanted = {f"{name}{end}" for end in ("", ".sqlite", ".photos", ".zip", ".sqlite.zip")} | {"a"}
    left = {one.name for one in tmp_path.iterdir() if "-wal" not in one.name and "-shm" not in one.name}
    assert {one for one in left if not one.startswith("book-before-restore")} <= wanted


def test_each_book_that_cannot_be_opened_has_its_own_words(tmp_path):
    (tmp_path / "empty").mkdir()
    (tmp_path / "empty" / "book.sqlite").touch()
    (tmp_path / "text.sqlite").write_text("a shopping list, and nothing that any database would hold; " * 9)
    (tmp_path / "file").write_text("x")
    cases = {
        tmp_path / "empty": "empty file of 0 bytes",
        tmp_path / "text.sqlite": "is no book",
        tmp_path / "file" / "book": "is a file and not a folder",
        tmp_path / ("x" * 300): "too long|longer than the disk",
        "~nobody-of-that-name/book": "no such user",
        "postgresql://host:none/x": "address of the database server makes no sense",
        "mysql://host/book": "cannot hold a book",
        "postgresql://ada@no-such-host.invalid/x": "no server of that name is known|not installed",
    }
    for place, words in cases.items():
        with pytest.raises(BookError, match=f"(?i){words}"):
            open_book(place)


def test_a_server_that_is_not_there():
    pytest.importorskip("psycopg", reason="the driver of the postgres extra is not installed")
    with pytest.raises(BookError, match="does not answer"):
        open_book("postgresql://nobody@127.0.0.1:1/none?connect_timeout=2")


def test_a_clock_set_back_changes_neither_order_nor_search(store, dip, monkeypatch):
    first = store.add_batch(dip(lab=(40, 0, 0)))
    assert store.find((40, 0, 0))[0].row.batch == first
    before = store.edition()
    for module in ("rows", "batches"):
        monkeypatch.setattr(f"dyebook.book.{module}.now", lambda: "2001-01-01T00:00:00.000Z")
    second = store.add_batch(dip(lab=(70, 0, 0)))
    assert [row.batch for row in store.batches()] == [second, first]
    assert store.find((70, 0, 0))[0].row.batch == second
    assert store.edition() != before
    store.correct_batch(second, {"dwell_min": 7.0})
    assert [line["action"] for line in store.batch_history(second)][-1] == "correct"
    assert store.check() == []


def _cut_while_writing(store):
    """End the server's side of a connection in the middle of its transaction, as a restart does."""
    with store.writing() as connection:
        own = connection.execute(text("SELECT pg_backend_pid()")).scalar()
        with store.reading() as other:
            other.execute(text("SELECT pg_terminate_backend(:own)"), {"own": own})
        connection.execute(text("INSERT INTO dyes (name, added_at, added_by) VALUES ('half', 'x', 'x')"))


def test_a_server_that_restarts_is_told_and_work_goes_on(store, dip):
    if store.place.file is not None:
        pytest.skip("a file has no server")
    store.add_batch(dip())
    for _ in range(3):
        with pytest.raises(BookError, match="does not answer"):
            _cut_while_writing(store)
        kept = store.add_batch(dip())
        assert [row.batch for row in store.batches(1)] == [kept]
    assert len(store.batches()) == 4
    assert [row["name"] for row in store.rows("dyes")] == ["Harbour blue"]
    assert store.check() == []

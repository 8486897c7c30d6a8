"""Many stations, cut power, full and read-only disks: nothing acknowledged is lost, nothing is half written."""

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
    told = []
    for station in stations:
        out, errors = station.communicate(timeout=120)
        assert station.returncode == 0, errors
        told += map(int, out.split())
    with open_book(book_url, photos=photos) as book:
        assert sorted(row.batch for row in book.batches()) == sorted(told)
        assert len(set(told)) == 32
        assert len(book.rows("dyes")) == 1
        assert book.check() == []


def test_killed_at_any_moment_no_acknowledged_batch_is_lost(book_url, tmp_path):
    photos = tmp_path / "photos"
    open_book(book_url).close()
    told = []
    for pause_s in (0.0, 0.013, 0.05):
        station = _start(STATION, book_url, photos, 10_000)
        told.append(int(station.stdout.readline()))
        time.sleep(pause_s)
        station.send_signal(signal.SIGKILL)
        told += [int(line) for line in station.communicate()[0].splitlines() if line.strip()]
    with open_book(book_url, photos=photos) as book:
        assert set(told) <= {row.batch for row in book.batches()}
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


def test_a_photo_stopped_between_its_row_and_its_place_is_found(store, dip, photo):
    sha = store.batch(store.add_batch(dip(), photo)).photo
    place = store.photos.path(sha)
    waiting = place.parents[1] / "incoming" / f"{sha}-0a1b2c3d"
    place.rename(waiting)
    assert store.photo_bytes(sha) == photo
    assert store.check() == []
    assert place.read_bytes() == photo
    assert not waiting.exists()


def test_a_photo_whose_row_was_never_written_is_swept_up_in_the_end(store, photo):
    waiting = store.photos.folder / "incoming" / f"{'0' * 64}-0a1b2c3d"
    waiting.parent.mkdir(parents=True)
    waiting.write_bytes(photo)
    assert store.check() == []
    assert waiting.exists()
    os.utime(waiting, (0, 0))
    assert store.check() == []
    assert not waiting.exists()


def test_a_damaged_photo_is_healed_when_it_is_given_again(store, dip, photo):
    sha = store.batch(store.add_batch(dip(), photo)).photo
    store.photos.path(sha).write_bytes(b"spoilt")
    assert "altered" in store.check()[0]
    store.add_batch(dip(), photo)
    assert store.check() == []


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


def test_photos_elsewhere_through_a_memory_file_system(book_url, dip, photo):
    with open_book(book_url, photos="memory://shop/photos") as book:
        sha = book.batch(book.add_batch(dip(), photo)).photo
        assert book.photo_bytes(sha) == photo
        assert book.check() == []
        book.photos.system.pipe_file(book.photos.path(sha), b"spoilt")
        assert "altered" in book.check()[0]
        book.photos.system.rm_file(book.photos.path(sha))
        assert "missing" in book.check()[0]
        with pytest.raises(BookError, match="missing"):
            book.photo_bytes(sha)
        book.photos.system.pipe_file(book.photos.root + "/stray.jpg", photo)
        assert "stray.jpg" in book.check()[-1]
        book.photos.system.rm(book.photos.root, recursive=True)


@pytest.mark.parametrize("book_url", [pytest.param("postgres", marks=pytest.mark.postgres)], indirect=True)
def test_a_server_needs_to_be_told_where_photos_are(dip, photo, book_url, monkeypatch, tmp_path):
    monkeypatch.delenv("DYEBOOK_PHOTOS", raising=False)
    with open_book(book_url) as book:
        with pytest.raises(BookError, match="nobody has said where photos are kept"):
            book.add_batch(dip(), photo)
        book.set_setting("photos", str(tmp_path / "shared"))
        book.add_batch(dip(), photo)
        assert book.check() == []


def test_a_server_that_is_not_there():
    pytest.importorskip("psycopg", reason="the driver of the postgres extra is not installed")
    with pytest.raises(BookError, match="does not answer"):
        open_book("postgresql://nobody@127.0.0.1:1/none?connect_timeout=2")

"""A database server that really goes away under load, and comes back: told, nothing lost, nothing twice."""

import threading
import time
from collections import Counter

import pytest

from dyebook.book.store import open_book
from dyebook.errors import BookError, UnsureError
from dyebook.record import DyeRecord
from tests.own_server import started_server

psycopg = pytest.importorskip("psycopg", reason="the driver of the postgres extra is not installed")
pytestmark = pytest.mark.postgres
STATIONS = 4


@pytest.fixture(scope="module")
def server():
    """A server that tests may stop and start."""
    yield from started_server()


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    """Folder of the photos of the one book there is on the server."""
    return tmp_path_factory.mktemp("photos")


@pytest.fixture
def book(server, photos):
    """A book on it."""
    with open_book(server.url, photos=photos) as opened:
        yield opened


def a_batch(note):
    return DyeRecord("Ember", film_um=12, dye_g_per_l=3, bath_temp_c=40, dwell_min=5, note=note)


class Station(threading.Thread):
    """Somebody who adds batch after batch, and does again what the book says was not kept."""

    def __init__(self, name, url, photos, over):
        super().__init__(name=name)
        self.url, self.photos, self.over, self.kept, self.told = url, photos, over, {}, Counter()

    def run(self):
        """Add until it is over, and then until the last one is kept."""
        with open_book(self.url, photos=self.photos) as book:
            number = 0
            while not self.over.is_set():
                note = f"{self.name} {number}"
                self.kept[note] = self.add(book, note)
                number += 1

    def add(self, book, note):
        """Keep one batch with a photo, however often it takes; its number."""
        while True:
            try:
                if self.told["unsure"] and (found := book.batches(text=note)):
                    return next(row.batch for row in found if row.note == note)
                return book.add_batch(a_batch(note), b"\xff\xd8\xff" + note.encode() * 500)
            except UnsureError:
                self.told["unsure"] += 1
            except BookError as error:
                self.told["not there" if "does not answer" in str(error) else str(error)] += 1
                time.sleep(0.05)


@pytest.mark.parametrize("mode", ["fast", "immediate"])
def test_restarts_under_load_lose_nothing_and_double_nothing(server, book, photos, mode):
    over = threading.Event()
    stations = [Station(f"{mode} station {n},", server.url, photos, over) for n in range(STATIONS)]
    for station in stations:
        station.start()
    try:
        for _ in range(3):
            time.sleep(0.7)
            server.stop(mode)
            time.sleep(0.3)
            server.start()
        time.sleep(0.7)
    finally:
        over.set()
    for station in stations:
        station.join(60)
        assert not station.is_alive()
        assert station.told["not there"], "a station never noticed"
        assert set(station.told) <= {"not there", "unsure"}
    kept = {note: number for station in stations for note, number in station.kept.items()}
    there = [row for row in book.batches() if row.note.startswith(mode)]
    assert Counter(row.note for row in there) == Counter(kept.keys())
    assert {row.note: row.batch for row in there} == kept
    assert all(row.note.encode() in book.photo_bytes(row.photo) for row in there)
    assert book.check() == []


def test_an_end_that_nobody_saw_is_told_and_what_was_kept_is_whole(book, monkeypatch):
    commit, photo = book._writer.dialect.do_commit, b"\xff\xd8\xff" + b"unseen" * 100

    def keep_and_go_away(connection):
        commit(connection)
        connection.dbapi_connection.close()
        raise psycopg.OperationalError("server closed the connection unexpectedly")

    monkeypatch.setattr(book._writer.dialect, "do_commit", keep_and_go_away)
    with pytest.raises(UnsureError, match="look whether it is, before you do it again"):
        book.add_batch(a_batch("unseen"), photo)
    monkeypatch.undo()
    (row,) = book.batches(text="unseen")
    assert book.photo_bytes(row.photo) == photo
    assert book.check() == []


def test_a_command_at_a_stopped_server_says_so_in_one_line(server, book, capsys, monkeypatch):
    from dyebook.shell import main

    server.stop()
    try:
        monkeypatch.setattr("sys.argv", ["dyebook", "list", "--book", server.url])
        with pytest.raises(SystemExit) as ended:
            main.main()
    finally:
        server.start()
    answer = capsys.readouterr().err
    assert ended.value.code == 1
    assert "does not answer" in answer
    assert len(answer.splitlines()) == 1

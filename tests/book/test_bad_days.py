"""Days on which the world around the book misbehaves: its clock, its disk of photos, its server."""

import shutil

import pytest
from sqlalchemy import text

from dyebook.errors import BookError


def test_a_clock_set_back_changes_neither_order_nor_search(store, dip, monkeypatch):
    first = store.add_batch(dip(lab=(40, 0, 0)))
    assert store.find((40, 0, 0))[0].row.batch == first
    before = store.edition()
    for module in ("rows", "tables"):
        monkeypatch.setattr(f"dyebook.book.{module}.now", lambda: "2001-01-01T00:00:00.000Z")
    second = store.add_batch(dip(lab=(70, 0, 0)))
    assert [row.batch for row in store.batches()] == [second, first]
    assert store.find((70, 0, 0))[0].row.batch == second
    assert store.edition() != before
    store.correct_batch(second, {"dwell_min": 7.0})
    assert [line["action"] for line in store.batch_history(second)][-1] == "correct"
    assert store.check() == []


def test_a_vanished_photo_folder_is_told_and_records_go_on(store, dip, photo):
    batch = store.add_batch(dip(), photo)
    sha = store.batch(batch).photo
    shutil.rmtree(store.photos.folder)
    with pytest.raises(BookError, match="missing"):
        store.photo_bytes(sha)
    assert any(sha[:12] in problem for problem in store.check())
    later = store.add_batch(dip(), photo + b"later")
    assert store.photo_bytes(store.batch(later).photo) == photo + b"later"
    # brought again, the lost one is found to be missing and kept anew
    store.add_photo(photo, batch)
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

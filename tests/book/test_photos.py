"""Photos are kept byte by byte under their hash, whatever happens on the way."""

import hashlib
import os
import shutil
import time

import pytest

from dyebook.book.photos import looks_like_photo
from dyebook.book.store import open_book
from dyebook.errors import BookError, PhotoError


def test_a_photo_is_kept_byte_by_byte_under_its_hash(store, dip, photo, tmp_path):
    path = tmp_path / "rim.jpg"
    path.write_bytes(photo)
    row = store.batch(store.add_batch(dip(), path))
    assert row.photo == hashlib.sha256(photo).hexdigest()
    assert store.photo_bytes(row.photo) == photo
    assert store.photos.path(row.photo).read_bytes() == photo
    assert store.rows("photos")[0]["name"] == "rim.jpg"
    assert store.check() == []


def test_one_photo_may_show_two_batches(store, dip, photo):
    first, second = store.add_batch(dip(), photo), store.add_batch(dip(), photo)
    assert store.batch(first).photo == store.batch(second).photo
    assert len(list(store.photos.names())) == 1


def test_a_photo_that_is_none_leaves_nothing_behind(store, dip):
    with pytest.raises(PhotoError, match="is no photo; give a JPEG"):
        store.add_batch(dip(), b"%PDF-1.7 hello")
    with pytest.raises(PhotoError, match="empty"):
        store.add_batch(dip(), b"")
    with pytest.raises(PhotoError, match="cannot be read"):
        store.add_batch(dip(), "no such file.jpg")
    assert store.batches() == []
    assert list(store.photos.names()) == []


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
    for hours, stays in ((23, True), (25, False)):
        os.utime(waiting, (time.time() - hours * 3600,) * 2)
        assert store.check() == []
        assert waiting.exists() == stays


@pytest.mark.parametrize(
    ("beginning", "is_one"),
    [
        (b"RIFF\x24\0\0\0WEBPVP8 ", True),  # WebP, RFC 9649
        (b"RIFF\x24\0\0\0WAVEfmt ", False),  # sound in the same box
        (b"FORM\x24\0\0\0WEBPVP8 ", False),
        (b"\0\0\0\x18ftypheic", True),  # HEIC: the file type box of ISO/IEC 14496-12 follows its length
        (b"ftyp\0\0\0\x18heic", False),
        (b"\0\0ftyp\0\x18heic", False),
    ],
)
def test_a_photo_is_known_by_the_bytes_that_its_standard_names(beginning, is_one):
    assert looks_like_photo(beginning) == is_one


def test_a_damaged_photo_is_healed_when_it_is_given_again(store, dip, photo):
    sha = store.batch(store.add_batch(dip(), photo)).photo
    store.photos.path(sha).write_bytes(b"spoilt")
    assert "altered" in store.check()[0]
    store.add_batch(dip(), photo)
    assert store.check() == []


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
        with pytest.raises(BookError, match="no place is set for the photos"):
            book.add_batch(dip(), photo)
        book.set_setting("photos", str(tmp_path / "shared"))
        book.add_batch(dip(), photo)
        assert book.check() == []


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

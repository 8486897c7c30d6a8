"""Photos are kept byte by byte under their hash, whatever happens on the way."""

import hashlib
import os
import shutil
import time

import pytest

from dyebook.book.photos import is_sha, looks_like_photo, open_photos, photo_bytes, photo_name
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


def test_a_file_larger_than_any_photo_is_refused_before_it_is_read(tmp_path):
    """300 MB: camera RAW of 100 megapixels in 16 bits has 200 (common practice, no source)."""
    path = tmp_path / "disk.img"
    with path.open("wb") as file:
        file.truncate(300 * 1024**2 + 1)
    with pytest.raises(PhotoError, match="img is larger than 300 MB"):
        photo_bytes(path)


def test_a_photo_given_as_bytes_has_no_name(photo, tmp_path):
    for form in (photo, bytearray(photo), memoryview(photo)):
        assert photo_bytes(form) == (photo, None)
    (tmp_path / "p.jpg").write_bytes(photo)
    assert photo_bytes(str(tmp_path / "p.jpg")) == (photo, "p.jpg")


def test_a_photos_name_is_its_hash_in_a_folder_of_its_beginning():
    assert photo_name("ab" * 32) == f"ab/{'ab' * 32}"
    for wrong in ("ab" * 31, "AB" * 32, "gg" * 32, "ab" * 32 + "\n", None, 7):
        assert not is_sha(wrong)
        with pytest.raises(BookError, match="no photo's name"):
            photo_name(wrong)


def test_a_photo_whose_row_fails_leaves_no_file(tmp_path, photo):
    keeper = open_photos(str(tmp_path / "photos"))
    with pytest.raises(KeyError), keeper.keeping(photo):
        raise KeyError
    assert list((tmp_path / "photos" / "incoming").iterdir()) == []
    with keeper.keeping(photo) as sha:
        (waiting,) = (tmp_path / "photos" / "incoming").iterdir()
        assert keeper.read(sha) == photo  # found where it waits
        assert list(keeper.names()) == []
        assert waiting.name.startswith(f"{sha}-")
    assert list(keeper.names()) == [photo_name(sha)]
    with keeper.keeping(photo) as again:
        assert list((tmp_path / "photos" / "incoming").iterdir()) == []
    assert again == sha


def test_of_what_waits_only_whole_photos_that_the_book_names_are_settled(tmp_path, photo):
    keeper = open_photos(str(tmp_path / "photos"))
    sha, waiting = hashlib.sha256(photo).hexdigest(), tmp_path / "photos" / "incoming"
    waiting.mkdir(parents=True)
    (waiting / f"{sha}-01").write_bytes(photo[:-1])
    keeper.settle_known([sha])
    assert keeper.path(sha) == waiting / f"{sha}-01"
    (waiting / f"{sha}-02").write_bytes(photo)
    keeper.settle_known([sha])
    assert keeper.path(sha) == tmp_path / "photos" / photo_name(sha)
    assert [one.name for one in waiting.iterdir()] == [f"{sha}-01"]


def test_a_store_that_keeps_half_a_photo_is_told(photo, monkeypatch):
    keeper = open_photos("memory://half/photos")
    keep = keeper.system.pipe_file
    monkeypatch.setattr(keeper.system, "pipe_file", lambda path, content: keep(path, content[:-1]))
    with pytest.raises(BookError, match="did not keep the whole photo"), keeper.keeping(photo):
        pytest.fail("the book must not speak of it")
    keeper.system.rm("/half", recursive=True)


def test_photos_behind_an_address_lie_as_they_do_on_a_disk(tmp_path, photo):
    """Two photos whose hashes begin alike share a folder."""
    contents = (photo + number.to_bytes(2, "big") for number in range(2**16))
    first = next(contents)
    start = hashlib.sha256(first).hexdigest()[:2]
    second = next(one for one in contents if hashlib.sha256(one).hexdigest().startswith(start))
    keeper = open_photos(f"file://{tmp_path}/photos")
    for content in (first, second, first):
        with keeper.keeping(content) as sha:
            assert keeper.read(sha) == content
            assert (tmp_path / "photos" / photo_name(sha)).read_bytes() == content
    assert len(list(keeper.names())) == len(list(open_photos(str(tmp_path / "photos")).names())) == 2
    assert list(keeper.names()) == list(open_photos(str(tmp_path / "photos")).names())

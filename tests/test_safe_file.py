"""What a command may write over, and how long a name a message repeats."""

import zipfile

import pytest

from dyebook.errors import DyebookError, PhotoError, RecordError
from dyebook.photo.file.read import read_photo
from dyebook.safe_file import check_input, check_output, is_there, replacing
from dyebook.units import parse_time_min

JPEG = b"\xff\xd8\xff\xe1\x00\x10Exif\0\0"


def test_an_empty_file_may_be_written_over(tmp_path):
    path = tmp_path / "dips.csv"
    path.write_bytes(b"")
    check_output(path)


@pytest.mark.parametrize("name", ["IMG_1.jpg", f"{'a' * 64}.jpg"])
def test_a_cameras_photo_or_a_kept_one_is_not_written_over(tmp_path, name):
    path = tmp_path / name
    path.write_bytes(JPEG if name.startswith("IMG") else JPEG.replace(b"Exif", b"JFIF"))
    with pytest.raises(DyebookError, match="--force"):
        check_output(path)
    check_output(path, force=True)


def test_a_picture_that_we_drew_may_be_drawn_again(tmp_path):
    path = tmp_path / "seen.jpg"
    path.write_bytes(JPEG.replace(b"Exif", b"JFIF"))
    check_output(path)


def test_messages_repeat_the_beginning_of_what_is_long(tmp_path):
    with pytest.raises(DyebookError) as refused:
        is_there(tmp_path.parent / ("n" * 300))
    shown = str(refused.value).split("…")[0]
    assert len(shown) == 100
    with pytest.raises(RecordError) as refused:
        parse_time_min("x" * 60)
    assert f"'{'x' * 40}'" in str(refused.value)
    with pytest.raises(PhotoError) as refused:
        read_photo(b"no photo", name="n" * 200)
    assert "n" * 80 in str(refused.value)
    assert "n" * 81 not in str(refused.value)


def test_a_name_of_usual_length_is_repeated_whole(tmp_path, monkeypatch):
    path = tmp_path / "dips.csv"

    def refuse(_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(type(path), "exists", refuse)
    with pytest.raises(DyebookError) as refused:
        is_there(type(path)("dips.csv"))
    assert str(refused.value).startswith("dips.csv cannot be opened")


@pytest.mark.parametrize(
    ("name", "content", "stays"),
    [
        ("a.pdf", b"%PDF-1.7", False), ("a.pdf", b"<html>", True), ("a.png", b"\x89PNG\r\n", False),
        ("a.csv", b"film_um\n12\n", False), ("a.csv", b"film\0um", True), ("a.html", b"<p>", False),
        ("a.html", b"plain", True), ("a.html", b"<p>\0", True), ("a.jsonl", b"{}", False), ("a.jsonl", b"[]", True),
        ("a.xlsx", b"PK\x03\x04", False), ("a.txt", b"words", True), ("a.CSV", b"film_um", False),
    ],
)  # fmt: skip
def test_what_is_of_another_kind_than_its_name_says_stays(tmp_path, name, content, stays):
    path = tmp_path / name
    path.write_bytes(content)
    if not stays:
        check_output(path)
        return
    with pytest.raises(DyebookError, match="--force"):
        check_output(path)


@pytest.mark.parametrize(
    ("held", "stays"), [(("manifest.json", "book.sqlite", "photos/ab"), False), (("book.sqlite",), True), ((), True)]
)
def test_a_backup_may_be_written_over_a_backup_alone(tmp_path, held, stays):
    path = tmp_path / "b.zip"
    with zipfile.ZipFile(path, "w") as archive:
        for name in held:
            archive.writestr(name, "x")
    if not stays:
        check_output(path)
        return
    with pytest.raises(DyebookError, match="not the kind of file"):
        check_output(path)


def test_what_a_command_reads_or_what_is_no_file_is_never_written_over(tmp_path):
    path, link = tmp_path / "a.csv", tmp_path / "b.csv"
    path.write_text("film_um")
    link.symlink_to(path)
    book = tmp_path / "c.csv"
    book.write_bytes(b"SQLite format 3\0" + bytes(100))
    cases = {path: "reads", link: "is a link", tmp_path: "is a folder", book: "is a book or another database"}
    for one, words in cases.items():
        with pytest.raises(DyebookError, match=words):
            check_output(one, inputs=[tmp_path / "none.csv", path], force=True)
    check_output(path, inputs=[tmp_path / "none.csv", book])
    check_output(tmp_path / "new.csv", inputs=[path])


def test_an_input_is_a_file_of_a_size_that_can_be_read(tmp_path):
    """500 MB, whatever it holds; a file with a hole in it has its size at once."""
    path = tmp_path / "a.csv"
    with path.open("wb") as file:
        file.truncate(500_000_000)
    check_input(path)
    check_input(path, None)
    check_input(path, 500_000_000)
    with path.open("r+b") as file:
        file.truncate(500_000_001)
    for most in (500_000_000, 7_000_000):
        with pytest.raises(DyebookError, match=rf"has 500 MB; at most {most // 1_000_000} MB are read"):
            check_input(path, most)
    with pytest.raises(DyebookError, match="at most 500 MB"):
        check_input(path)
    for one, words in ((tmp_path, "a folder"), (tmp_path / "none", "no such file"), ("/dev/null", "a device")):
        with pytest.raises(DyebookError, match=words):
            check_input(tmp_path / one)


def test_a_photo_is_refused_by_its_size_before_it_is_read(tmp_path):
    path = tmp_path / "a.jpg"
    with path.open("wb") as file:
        file.truncate(500_000_001)
    with pytest.raises(PhotoError, match=r"a file of 500 MB.*at most 500 MB are read"):
        read_photo(path)


def test_a_file_takes_the_place_of_another_only_when_it_is_whole(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("old")
    for half in ("half", None):

        def stopped(half=half):
            with replacing(path) as part:
                if half:
                    part.write_text(half)
                raise KeyError

        with pytest.raises(KeyError):
            stopped()
        assert path.read_text() == "old"
    with replacing(path) as part:
        part.write_text("new")
        assert path.read_text() == "old"
    assert [one.name for one in tmp_path.iterdir()] == ["a.csv"]
    assert path.read_text() == "new"

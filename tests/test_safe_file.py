"""What a command may write over, and how long a name a message repeats."""

import pytest

from dyebook.errors import DyebookError, PhotoError, RecordError
from dyebook.photo.file.read import read_photo
from dyebook.safe_file import check_output, is_there
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

"""What is not a photo, or not a whole one: refused with what was seen, what is needed and what to do."""

import io
import sys

import numpy as np
import pytest
from PIL import Image, ImageCms

from dyebook.errors import PhotoError
from dyebook.photo.file.read import read_photo
from tests.photo.files import bomb_png, dng, giant_jpeg, heic, picture, saved
from tests.photo.mutations import mutations, sound_files

# Pillow warns of broken metadata, which is what these files have
pytestmark = pytest.mark.filterwarnings("ignore::UserWarning", "ignore::PIL.Image.DecompressionBombWarning")

JPEG = saved(picture(), "JPEG", quality=95)
LAB = ImageCms.profileToProfile(
    Image.fromarray(picture()), ImageCms.createProfile("sRGB"), ImageCms.createProfile("LAB"), outputMode="LAB"
)


def moving(kind):
    stream = io.BytesIO()
    first, second = (Image.fromarray(codes) for codes in (picture(), 255 - picture()))
    first.save(stream, kind, save_all=True, append_images=[second])
    return stream.getvalue()


REFUSED = {
    "nothing": (b"", "an empty file"),
    "text": (b"hello, I am not a photo " * 20, "not a photo"),
    "web page": (b"<!DOCTYPE html><html></html>", "web page"),
    "PDF": (saved(picture(), "PDF"), "a PDF"),
    "zip": (b"PK\x03\x04" + bytes(100), "ZIP"),
    "film": (b"\0\0\0\x18ftypisom" + bytes(100), "a video"),
    "GIF": (saved(picture(), "GIF"), "a GIF"),
    "moving PNG": (moving("PNG"), "2 pictures"),
    "moving WebP": (moving("WEBP"), "2 pictures"),
    "TIFF of pages": (moving("TIFF"), "2 pictures"),
    "HEIC of two": (heic(picture(), 255 - picture()), "2 pictures"),
    "HEIC sequence": (heic(picture()).replace(b"ftypheix", b"ftyphevx"), "HEIC sequence"),
    "CMYK": (saved(Image.fromarray(np.zeros((80, 80, 4), np.uint8), "CMYK"), "JPEG"), "CMYK"),
    "CIELAB": (saved(LAB, "TIFF"), "LAB"),
    "float": (saved(np.ones((80, 90), np.float32), "TIFF"), "32"),
    "thumbnail": (saved(picture(40, 63)), "63 × 40 pixels; at least 64"),
    "long": (saved(np.zeros((64, 30_001), np.uint8)), "30001"),
    "bomb": (bomb_png(60_000, 60_000), "170 million"),
    "smaller bomb": (bomb_png(10_900, 11_000), "10900 × 11000 pixels; at most"),
    "16-bit bomb": (bomb_png(8_100, 8_100, depth=16), "damaged"),
    "giant header": (giant_jpeg(JPEG, 65_000, 65_000), "170 million"),
    "large header": (giant_jpeg(JPEG, 10_000, 11_000), "bytes"),
    "lying header": (giant_jpeg(JPEG, 120, 400), "ends early"),
    "cut JPEG": (JPEG[:-200], "no end mark"),
    "cut and closed JPEG": (JPEG[: len(JPEG) * 2 // 3] + b"\xff\xd9", "ends early"),
    "cut PNG": (saved(picture())[:-200], "PNG"),
    "cut TIFF": (saved(picture(), "TIFF")[:-200], "TIFF"),
    "cut WebP": (saved(picture(), "WEBP")[:-200], "WebP"),
    "cut HEIC": (heic(picture())[:-200], "HEIC"),
    "transparent": (saved(np.zeros((80, 80, 4), np.uint8)), "transparent"),
}


@pytest.mark.parametrize("what", REFUSED)
def test_refused_with_what_was_seen_needed_and_to_do(what):
    data, seen = REFUSED[what]
    with pytest.raises(PhotoError) as caught:
        read_photo(data, name=f"{what}.jpg")
    message = str(caught.value)
    assert message.startswith(f"{what}.jpg: ")
    assert seen in message
    assert message.count("; ") >= 2, message
    assert message.endswith(".")
    assert "\n" not in message


def test_paths_that_are_no_photos(tmp_path):
    for path, seen in ((tmp_path, "a folder"), (tmp_path / "none.jpg", "no such file")):
        with pytest.raises(PhotoError, match=seen):
            read_photo(path)


@pytest.mark.parametrize("form", ["path", "bytes", "stream"])
def test_a_file_beyond_the_limit_is_refused_by_its_size(form, tmp_path, monkeypatch):
    monkeypatch.setattr("dyebook.photo.file.read._MOST_FILE_BYTES", 2_000_000)
    data = saved(picture()) + bytes(3_000_000)
    path = tmp_path / "long.png"
    path.write_bytes(data)
    given = {"path": path, "bytes": data, "stream": io.BytesIO(data)}[form]
    with pytest.raises(PhotoError, match=r"a file of (2|3) MB.* at most 2 MB"):
        read_photo(given)


def test_a_flat_grey_photo_is_not_taken_for_a_cut_one():
    codes = np.full((80, 120, 3), 128, np.uint8)
    for progressive in (False, True):
        photo = read_photo(saved(codes, "JPEG", progressive=progressive))
        assert (photo.codes == 128).all()


def test_what_follows_the_picture_does_not_matter():
    np.testing.assert_array_equal(read_photo(JPEG + b"PK\x03\x04" * 50).codes, read_photo(JPEG).codes)


def test_a_second_small_picture_does_not_hide_the_first():
    stream = io.BytesIO()
    images = [Image.fromarray(codes) for codes in (picture(), picture()[::2, ::2])]
    images[0].save(stream, "MPO", save_all=True, append_images=images[1:])
    assert read_photo(stream.getvalue()).size == (120, 80)


def test_raw_needs_its_package(monkeypatch):
    monkeypatch.setitem(sys.modules, "rawpy", None)
    with pytest.raises(PhotoError, match=r"rawpy.*dyebook\[raw\]"):
        read_photo(dng(picture() / 255))


def test_raw_that_is_not():
    pytest.importorskip("rawpy")
    data = dng(picture() / 255)
    with pytest.raises(PhotoError, match="RAW"):
        read_photo(data[:400])
    with pytest.raises(PhotoError, match="RAW"):
        read_photo(b"FUJIFILMCCD-RAW 0201" + bytes(2000))


def test_sound_files_are_read_and_damage_never_escapes():
    for name, data in sound_files().items():
        assert read_photo(data, name).pixels.shape[2] == 3
    read = 0
    for name, data in mutations(200, seed=20):
        try:
            photo = read_photo(data, name)
        except PhotoError:
            continue
        read += 1
        assert np.isfinite(photo.reduced(100).pixels).all(), name
    assert 20 < read < 180  # damage that matters and damage that does not are both among them

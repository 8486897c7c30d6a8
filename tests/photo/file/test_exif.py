"""Camera, exposure and turn from EXIF blocks, honest and otherwise."""

from datetime import datetime

import pytest
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from dyebook.photo.file.exif import CameraInfo, camera_info, exif_orientation
from dyebook.photo.file.read import read_photo
from tests.photo.files import dng, picture, saved

# Pillow warns of broken metadata, which is what these files have
pytestmark = pytest.mark.filterwarnings("ignore::UserWarning")

DETAILS = {
    0x829A: IFDRational(1, 60),
    0x829D: IFDRational(28, 10),
    0x8827: 200,
    0x9003: "2025:03:04 10:11:12",
    0xA403: 1,
}


def exif_of(main, details):
    exif = Image.Exif()
    exif.update(main)
    exif[0x8769] = details
    return exif


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WebP"])
def test_camera_and_exposure_are_read(kind):
    exif = exif_of({0x010F: "Bench Works", 0x0110: "Box One"}, DETAILS)
    camera = read_photo(saved(picture(), kind, exif=exif.tobytes())).camera
    assert camera.make == "Bench Works"
    assert camera.model == "Box One"
    assert camera.exposure_s == pytest.approx(1 / 60, rel=1e-6)
    assert camera.f_number == pytest.approx(2.8)
    assert camera.iso == 200
    assert camera.white_balance == "manual"
    assert camera.taken_at == datetime(2025, 3, 4, 10, 11, 12)


def test_lies_and_nonsense_become_none():
    exif = exif_of(
        {0x010F: "x" * 100_000, 0x0110: "\0\0", 0x0112: 77},
        {0x829A: IFDRational(1, 0), 0x829D: -4.0, 0x8827: 10**9, 0x9003: "2025:13:45 99:99:99", 0xA403: 9},
    )
    assert camera_info(exif) == CameraInfo(make="x" * 64)
    assert exif_orientation(exif) == 1


def test_a_photo_with_a_damaged_block_is_still_a_photo():
    for block in (b"Exif\0\0II*\0\xff\xff\xff\xff", b"Exif\0\0", b"Exif\0\0junkjunk"):
        photo = read_photo(saved(picture(), "JPEG", exif=block))
        assert photo.camera == CameraInfo()
        assert photo.size == (120, 80)


def test_raw_files_name_their_camera():
    pytest.importorskip("rawpy")
    camera = read_photo(dng(picture() / 255)).camera
    assert (camera.make, camera.model) == ("Bench", "Box One")

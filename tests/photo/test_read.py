"""Reading photos: formats, turns, colour spaces, and everything that is not a photo."""

import io
import os

import cv2
import numpy as np
import pytest
from PIL import Image

from dyebook.errors import PhotoError
from dyebook.photo.icc import matrix_profile
from dyebook.photo.profile import DISPLAY_P3, srgb_curve
from dyebook.photo.read import photo_from_array, read_photo

HALF_CODE = 0.5 / 255


def picture(height=80, width=120):
    """Smooth ramps that differ in every corner and channel, so that any turn or swap shows."""
    y, x = np.mgrid[0:height, 0:width]
    red, green = 20 + 200 * x / width, 30 + 180 * y / height
    return np.stack([red, green, 120 + 50 * np.sin(x / 17 + y / 29)], axis=-1).astype(np.uint8)


def saved(codes, kind="PNG", **options):
    """Bytes of a file that holds the codes."""
    stream = io.BytesIO()
    (codes if isinstance(codes, Image.Image) else Image.fromarray(codes)).save(stream, kind, **options)
    return stream.getvalue()


def light_of(codes):
    return srgb_curve(codes / np.iinfo(codes.dtype).max)


@pytest.mark.parametrize("kind", ["PNG", "TIFF"])
def test_lossless_files_give_the_light_of_their_codes(kind):
    photo = read_photo(saved(picture(), kind))
    assert photo.size == (120, 80)
    assert photo.bit_depth == 8
    np.testing.assert_allclose(photo.pixels, light_of(picture()), atol=1e-6)


@pytest.mark.parametrize("kind", ["JPEG", "WebP"])
def test_lossy_files_come_close(kind):
    photo = read_photo(saved(picture(), kind, quality=97))
    codes = 255 * np.abs(photo.pixels.mean((0, 1)) - light_of(picture()).mean((0, 1)))
    assert codes.max() < 1  # a mean over 9600 pixels, one code near white


def test_the_srgb_curve_is_that_of_the_standard():
    colour = pytest.importorskip("colour")
    codes = np.repeat(np.arange(256, dtype=np.uint8), 64 * 64 // 256).reshape(64, 64)
    photo = read_photo(saved(np.stack([codes] * 3, axis=-1)))
    expected = colour.models.eotf_sRGB(codes / 255)  # IEC 61966-2-1
    np.testing.assert_allclose(photo.pixels[..., 1], expected, atol=1e-6)


@pytest.mark.parametrize("kind", ["png", "tiff"])
def test_16_bit_files_keep_their_steps(kind):
    codes = np.linspace(0, 65535, 80 * 120 * 3).reshape(80, 120, 3).astype(np.uint16)
    data = cv2.imencode(f".{kind}", codes[..., ::-1])[1].tobytes()
    photo = read_photo(data)
    assert photo.bit_depth == 16
    np.testing.assert_allclose(photo.pixels, light_of(codes), atol=1e-6)


def test_8_and_16_bits_read_alike():
    deep = (picture().astype(np.uint16) * 257)[..., ::-1]
    shallow = read_photo(saved(picture())).pixels
    np.testing.assert_allclose(read_photo(cv2.imencode(".png", deep)[1].tobytes()).pixels, shallow, atol=1e-6)


def test_a_p3_file_and_its_srgb_twin_read_alike():
    colour = pytest.importorskip("colour")
    rng = np.random.default_rng(1)
    light = rng.uniform(0.05, 0.9, (8, 8, 3)).repeat(10, 0).repeat(10, 1)
    rec709, p3 = colour.RGB_COLOURSPACES["sRGB"], colour.RGB_COLOURSPACES["Display P3"]
    light_p3 = np.clip(colour.RGB_to_RGB(light, rec709, p3), 0, 1)
    encode = colour.models.eotf_inverse_sRGB
    twin = read_photo(saved(np.round(255 * encode(light)).astype(np.uint8)))
    wide = read_photo(saved(np.round(255 * encode(light_p3)).astype(np.uint8), icc_profile=matrix_profile(DISPLAY_P3)))
    # both are rounded to 8 bits; the matrix (largest coefficient 1.22) and the curve's slope (2.3) widen that
    np.testing.assert_allclose(wide.pixels, twin.pixels, atol=2 * 2.3 * 1.5 * HALF_CODE)
    assert not wide.notes
    assert "taken as sRGB" in twin.notes[0]


def test_pure_p3_green_lies_outside_rec709():
    codes = np.zeros((64, 64, 3), np.uint8)
    codes[..., 1] = 255
    photo = read_photo(saved(codes, icc_profile=matrix_profile(DISPLAY_P3)))
    assert photo.pixels[0, 0, 0] == pytest.approx(-0.2249, abs=1e-3)  # colour-science, P3 to sRGB matrix


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WebP"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_photos_stand_upright(kind, orientation):
    upright = picture()
    # the inverse turns, written out by index so as not to lean on the code under test
    stored = {
        1: upright,
        2: upright[:, ::-1],
        3: upright[::-1, ::-1],
        4: upright[::-1],
        5: upright.swapaxes(0, 1),
        6: upright.swapaxes(0, 1)[::-1],
        7: upright.swapaxes(0, 1)[::-1, ::-1],
        8: upright.swapaxes(0, 1)[:, ::-1],
    }[orientation]
    exif = Image.Exif()
    exif[0x0112] = orientation
    options = {"lossless": True} if kind == "WebP" else {"quality": 100, "subsampling": 0} if kind == "JPEG" else {}
    photo = read_photo(saved(np.ascontiguousarray(stored), kind, exif=exif, **options))
    assert photo.size == (120, 80)
    assert np.abs(photo.codes.astype(int) - upright).max() <= (5 if kind == "JPEG" else 0)


def test_every_kind_of_source_reads_alike(tmp_path):
    data = saved(picture())
    path = tmp_path / "any name.jpg"  # content decides, not the name
    path.write_bytes(data)
    expected = read_photo(data).pixels
    sources = (path, str(path), os.fspath(path), bytearray(data), memoryview(data), io.BytesIO(data), path.open("rb"))
    for source in sources:
        np.testing.assert_array_equal(read_photo(source).pixels, expected)
    assert read_photo(path).name == "any name.jpg"
    assert read_photo(data, name="from\nthe phone").name == "from?the phone"


def test_reduced_holds_the_block_means_of_light():
    photo = read_photo(saved(picture(91, 203)))
    reduced = photo.reduced(51)
    assert reduced.scale == 4
    assert reduced.pixels.shape == (23, 51, 3)
    means = photo.pixels[:88, :200].reshape(22, 4, 50, 4, 3).mean((1, 3))
    np.testing.assert_allclose(reduced.pixels[:22, :50], means, atol=1e-6)
    np.testing.assert_allclose(reduced.pixels[22, 50], photo.pixels[88:, 200:].mean((0, 1)), atol=1e-6)
    assert photo.reduced(51) is reduced


def test_a_crop_is_a_slice():
    photo = read_photo(saved(picture(91, 203)))
    np.testing.assert_array_equal(photo.crop((10, 20, 77, 60)), photo.pixels[20:60, 10:77])
    thirds = photo.crop((10, 20, 70, 62), step=3)
    np.testing.assert_allclose(thirds, photo.pixels[20:62, 10:70].reshape(14, 3, 20, 3, 3).mean((1, 3)), atol=1e-6)
    for box in ((0, 0, 0, 10), (-1, 0, 10, 10), (0, 0, 204, 10)):
        with pytest.raises(ValueError, match="box"):
            photo.crop(box)


def test_clipping_is_known_per_channel_before_conversion():
    codes = picture(91, 203)
    codes[40:50, 30:60, 0] = 255
    photo = read_photo(saved(codes, icc_profile=matrix_profile(DISPLAY_P3)))
    mask = photo.clipped((0, 0, 203, 91))
    assert mask[40:50, 30:60, 0].all()
    assert mask.sum() == 300
    assert photo.reduced(51).clipped[10, 8].tolist() == [1, 0, 0]
    np.testing.assert_allclose(photo.reduced(51).clipped[:, :, 0].sum() * 16, 300, rtol=1e-6)


def test_arrays_of_light_are_photos_too():
    light = np.random.default_rng(2).uniform(-0.1, 1.4, (70, 90, 3))
    photo = photo_from_array(light, limit=1.0)
    np.testing.assert_allclose(photo.pixels, light, atol=1e-6)
    np.testing.assert_array_equal(photo.clipped((0, 0, 90, 70)), light.astype(np.float32) >= 1)
    assert not photo_from_array(light).clipped((0, 0, 90, 70)).any()
    with pytest.raises(ValueError, match="shape"):
        photo_from_array(light[..., 0])


def test_messages_say_what_was_seen_and_what_to_do(tmp_path):
    for source, seen in ((tmp_path, "a folder"), (tmp_path / "none.jpg", "no such file"), (b"", "empty")):
        with pytest.raises(PhotoError, match=rf"{seen}.*; .* needed; .*\.$"):
            read_photo(source)

"""Reading photos: formats, bits, turns, sources, crops and clipping."""

import io
import os
import weakref

import cv2
import numpy as np
import pytest
from PIL import Image

from dyebook.errors import PhotoError
from dyebook.lab import decode_srgb
from dyebook.photo.file.linear import LinearPhoto
from dyebook.photo.file.profile import DISPLAY_P3, SRGB, matrix_profile
from dyebook.photo.file.read import photo_from_array, read_photo
from tests.photo.files import deep_heic, heic, lab_profile_of_inks, picture, saved, saved_deep, with_profile

HALF_CODE = 0.5 / 255


def light_of(codes):
    return decode_srgb(codes / np.iinfo(codes.dtype).max)


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
    photo = read_photo(saved_deep(codes, kind))
    assert photo.bit_depth == 16
    np.testing.assert_allclose(photo.pixels, light_of(codes), atol=1e-6)


def test_8_and_16_bits_read_alike():
    deep = read_photo(saved_deep(picture().astype(np.uint16) * 257, "png"))
    shallow = read_photo(saved(picture()))
    np.testing.assert_allclose(deep.pixels, shallow.pixels, atol=1e-6)
    assert (deep.bit_depth, shallow.bit_depth) == (16, 8)


def _stored(upright, orientation):
    """Undo a turn: written out by index, so that it does not rest on the code under test."""
    return {
        1: upright,
        2: upright[:, ::-1],
        3: upright[::-1, ::-1],
        4: upright[::-1],
        5: upright.swapaxes(0, 1),
        6: upright.swapaxes(0, 1)[::-1],
        7: upright.swapaxes(0, 1)[::-1, ::-1],
        8: upright.swapaxes(0, 1)[:, ::-1],
    }[orientation]


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WebP"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_photos_stand_upright(kind, orientation):
    upright = picture()
    stored = _stored(upright, orientation)
    exif = Image.Exif()
    exif[0x0112] = orientation
    options = {"lossless": True} if kind == "WebP" else {"quality": 100, "subsampling": 0} if kind == "JPEG" else {}
    photo = read_photo(saved(np.ascontiguousarray(stored), kind, exif=exif, **options))
    assert photo.size == (120, 80)
    assert np.abs(photo.codes.astype(int) - upright).max() <= (5 if kind == "JPEG" else 0)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_deep_tiffs_stand_upright(orientation):
    upright = picture().astype(np.uint16) * 257
    stored = np.ascontiguousarray(_stored(upright, orientation))
    tifffile = pytest.importorskip("tifffile")
    stream = io.BytesIO()
    tags = [(274, "H", 1, orientation, True)]
    tifffile.imwrite(stream, stored, photometric="rgb", metadata=None, extratags=tags)
    np.testing.assert_array_equal(read_photo(stream.getvalue()).codes, upright)


def test_heic_files_read_as_saved():
    photo = read_photo(heic(picture()))
    assert photo.size == (120, 80)
    assert np.abs(photo.codes.astype(int) - picture()).max() <= 3  # lossless but for YCbCr rounding
    deep = read_photo(deep_heic(picture().astype(np.uint16) * 257))
    assert deep.bit_depth == 10
    assert np.abs(deep.codes / 257 - picture()).max() <= 1


def test_heic_files_stand_upright():
    exif = Image.Exif()
    exif[0x0112] = 6
    photo = read_photo(heic(picture(), exif=exif.tobytes()))
    assert photo.size == (80, 120)
    assert np.abs(photo.codes.astype(int) - np.rot90(picture(), -1)).max() <= 3


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF"])
def test_grey_files_have_three_equal_channels(kind):
    photo = read_photo(saved(Image.fromarray(picture()[..., 0]), kind))
    assert np.ptp(photo.pixels, axis=-1).max() == 0
    deep = read_photo(saved_deep(picture()[..., 0].astype(np.uint16) * 257, "png"))
    np.testing.assert_allclose(deep.pixels[..., 1], light_of(picture()[..., 0]), atol=1e-6)


def test_transparent_areas_are_black_and_noted():
    codes = np.dstack([picture(), np.full((80, 120), 255, np.uint8)])
    assert len(read_photo(saved(codes)).notes) == 1  # that it is untagged
    codes[:20, :, 3] = 0
    photo = read_photo(saved(codes))
    assert "25%" in photo.notes[-1]
    assert not photo.pixels[:20].any()
    np.testing.assert_array_equal(photo.codes[20:], picture()[20:])


@pytest.mark.parametrize(
    ("alpha", "rows", "words"),
    [(127, 20, "25% of the picture"), (128, 20, None), (0, 1, "1% of the picture"), (0, 0.5, "less than 1 %")],
)
def test_what_is_more_than_half_transparent_is_left_out(alpha, rows, words):
    codes = np.dstack([picture(), np.full((80, 120), 255, np.uint8)])
    codes[: int(np.ceil(rows)), : 120 if rows >= 1 else 60, 3] = alpha
    notes = read_photo(saved(codes)).notes
    assert len(notes) == (1 if words is None else 2)
    assert words is None or notes[-1].startswith(words)


def test_a_wholly_transparent_picture_is_refused():
    with pytest.raises(PhotoError, match="wholly transparent"):
        read_photo(saved(np.dstack([picture(), np.zeros((80, 120), np.uint8)])))


def test_deep_files_lose_their_transparency_too():
    codes = np.dstack([picture(), np.full((80, 120), 255, np.uint8)]).astype(np.uint16) * 257
    codes[:20, :, 3] = 0
    photo = read_photo(cv2.imencode(".png", codes[..., [2, 1, 0, 3]])[1].tobytes())
    assert "25%" in photo.notes[-1]
    np.testing.assert_array_equal(photo.codes[20:], codes[20:, :, :3])


def test_cmyk_with_its_profile_is_read():
    inks = np.zeros((80, 100, 4), np.uint8)
    inks[40:, :, 0] = 255
    photo = read_photo(saved(Image.fromarray(inks, "CMYK"), "TIFF", icc_profile=lab_profile_of_inks()))
    np.testing.assert_allclose(photo.pixels[10, 10], 1, atol=0.01)  # paper
    np.testing.assert_allclose(photo.pixels[70, 10], (0, 1, 1), atol=0.02)  # the profile's cyan is that of sRGB
    assert photo.clipped((0, 0, 100, 40)).all()


@pytest.mark.parametrize("deep", [False, True])
def test_a_table_of_three_lights_is_read_from_8_and_16_bits_alike(deep):
    """The corners of the table are those of sRGB; a 16-bit code is 257 times the 8-bit one."""
    codes = np.zeros((80, 100, 3), np.uint8)
    codes[:20], codes[20:40, :, 1], codes[40:60] = 255, 255, (254, 253, 0)
    profile = lab_profile_of_inks(b"RGB ")
    data = saved(codes, icc_profile=profile)
    if deep:
        data = with_profile(saved_deep(codes.astype(np.uint16) * 257, "PNG"), profile)
    photo = read_photo(data)
    np.testing.assert_allclose(photo.pixels[10, 10], 1, atol=0.01)
    np.testing.assert_allclose(photo.pixels[30, 10], (0, 1, 0), atol=0.02)
    np.testing.assert_allclose(photo.pixels[70, 10], 0, atol=0.01)
    assert photo.clipped((0, 0, 100, 80))[[10, 50], 10].tolist() == [[True] * 3, [True, False, False]]
    assert any("16 bits were read as 8" in note for note in photo.notes) == deep


def test_the_limit_of_16_bits_is_that_of_8():
    codes = np.full((80, 100, 3), 253 * 257, np.uint16)
    codes[:40] = 254 * 257
    mask = read_photo(saved_deep(codes, "PNG")).clipped((0, 0, 100, 80))
    assert mask[:40].all()
    assert not mask[40:].any()


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


def test_large_photos_are_reduced_by_a_quicker_way_to_nearly_the_same_light():
    rng = np.random.default_rng(4)
    grid = 40 + 120 * (np.indices((1810, 2410)).sum(0) // 300 % 2)
    codes = np.clip(grid[..., None] + rng.normal(0, 4, (1810, 2410, 3)), 0, 255).astype(np.uint8)
    photo = LinearPhoto("large", codes, SRGB, 8)
    quick = photo.reduced(600).pixels
    exact = photo.crop((0, 0, 2408, 900), 1).reshape(225, 4, 602, 4, 3).mean((1, 3))
    apart = np.log(quick[:225, :602] / exact)
    assert abs(np.median(apart)) < 0.004  # noise of 4 codes bends by less than half a per cent
    assert np.percentile(np.abs(apart), 99) < 0.25  # blocks on a hard edge


def test_a_photo_is_let_go_when_its_last_user_is():
    photo = LinearPhoto("short", np.zeros((40, 60, 3), np.uint8), SRGB, 8, limit=254)
    photo.reduced(30)
    gone = weakref.ref(photo)
    del photo
    assert gone() is None


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
    for long_side in (203, 51, 10):  # factors 1, 4 and 20: three ways of counting
        reduced = photo.reduced(long_side)
        scale = reduced.scale
        expected = np.pad(mask, ((0, -91 % scale), (0, -203 % scale), (0, 0)))
        expected = expected.reshape(-(-91 // scale), scale, -(-203 // scale), scale, 3).mean((1, 3))
        np.testing.assert_allclose(reduced.clipped[:-1, :-1], expected[:-1, :-1], atol=1e-6)


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


def test_light_at_single_places_is_that_of_the_pixels_there():
    rng = np.random.default_rng(1)
    photo = photo_from_array(rng.uniform(0, 1, (70, 80, 3)))
    places = np.array([[[10.5, 20.5], [11.0, 20.5], [-5.0, 20.5]]])
    here, between, outside = photo.light_at(places)[0]
    np.testing.assert_allclose(here, photo.pixels[20, 10], rtol=1e-6)
    np.testing.assert_allclose(between, photo.pixels[20, 10:12].mean(axis=0), rtol=1e-5)
    np.testing.assert_allclose(outside, photo.pixels[20, 0], rtol=1e-6)

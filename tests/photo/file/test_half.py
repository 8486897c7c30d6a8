"""Large JPEGs decoded at half size: they tell the same as the whole, in the same coordinates."""

import io

import cv2
import numpy as np
import pytest
from PIL import Image

from dyebook.errors import PhotoError
from dyebook.lab import delta_e_00
from dyebook.photo.file import linear
from dyebook.photo.file.linear import HalfPhoto, LinearPhoto
from dyebook.photo.file.read import read_photo
from dyebook.photo.measure import look_at

WIDTH, HEIGHT = 604, 402


@pytest.fixture(autouse=True)
def small_photos_are_large(monkeypatch):
    monkeypatch.setattr(linear, "HALF_FROM", 200_000)


def smooth_codes(width=WIDTH, height=HEIGHT):
    """Gentle waves of colour, brighter to the right and below: any turn or shift of them shows."""
    y, x = np.mgrid[:height, :width] / 100
    waves = [90 + 30 * np.sin(x + k) + 25 * np.cos(0.7 * y - k) + 3 * x + 2 * y for k in range(3)]
    return np.stack(waves, axis=-1).round().astype(np.uint8)


def jpeg(codes, orientation=1, **options):
    stream = io.BytesIO()
    exif = Image.Exif()
    exif[274] = orientation
    Image.fromarray(codes).save(stream, "JPEG", quality=95, exif=exif, **options)
    return stream.getvalue()


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("options", [{}, {"progressive": True}, {"subsampling": 0}])
def test_looks_at_a_half_are_those_at_the_whole(orientation, options):
    data = jpeg(smooth_codes(), orientation, **options)
    quick, whole = read_photo(data, quick=True), read_photo(data)
    assert isinstance(quick, HalfPhoto)
    assert quick.size == whole.size
    box = (60, 80, 360, 380)
    for step in (2, 4, 10):
        np.testing.assert_allclose(quick.crop(box, step), whole.crop(box, step), atol=0.009)  # two codes
    small, same = quick.reduced(151), whole.reduced(151)
    assert small.scale == same.scale == 4
    np.testing.assert_allclose(small.pixels, same.pixels, atol=0.009)
    places = np.random.default_rng(1).uniform((8, 8), np.array(quick.size) - 8, (40, 3, 2))
    np.testing.assert_allclose(quick.light_at(places), whole.light_at(places), atol=0.012)  # three codes
    assert "whole" not in vars(quick)  # none of this needed it


@pytest.mark.parametrize("size", [(603, 401), (604, 401), (603, 402)])
def test_odd_sizes_keep_their_last_row_and_column(size):
    data = jpeg(smooth_codes(*size))
    quick, whole = read_photo(data, quick=True), read_photo(data)
    assert quick.size == whole.size == size
    box = (size[0] - 103, size[1] - 61, *size)
    box, step = quick.fitted(box, 4.0)
    assert box[2:] == size
    np.testing.assert_allclose(quick.crop(box, step), whole.crop(box, step), atol=0.006)
    assert quick.reduced(151).pixels.shape == whole.reduced(151).pixels.shape
    assert "whole" not in vars(quick)


def test_odd_sizes_that_are_turned_are_read_whole():
    assert isinstance(read_photo(jpeg(smooth_codes(603, 401), 6), quick=True), LinearPhoto)


def test_single_pixels_are_those_of_the_whole():
    data = jpeg(smooth_codes(), 6)
    quick, whole = read_photo(data, quick=True), read_photo(data)
    for box, step in (((10, 20, 90, 80), 1), ((11, 20, 91, 80), 2), ((10, 20, 85, 80), 2), ((0, 0, 90, 90), 3)):
        np.testing.assert_array_equal(quick.crop(box, step), whole.crop(box, step))
        np.testing.assert_array_equal(quick.clipped(box, step), whole.clipped(box, step))
    np.testing.assert_array_equal(quick.codes, whole.codes)
    assert quick.fitted((11, 21, 60, 70), 1.0) == ((11, 21, 60, 70), 1)


def test_what_is_fitted_holds_the_box_and_stays_near_the_step():
    quick = read_photo(jpeg(smooth_codes()), quick=True)
    for wanted in np.linspace(1.2, 9, 50):
        box, step = quick.fitted((11, 21, 61, 75), wanted)
        assert box == (10, 20, 62, 76)
        assert step % 2 == 0
        assert step <= max(2, wanted + 0.5)


def test_clipped_and_empty_areas_are_known_from_the_half():
    codes = smooth_codes()
    codes[104:200, 152:304] = (255, 120, 0)
    quick = read_photo(jpeg(codes, subsampling=0), quick=True)
    inside, beside = (168, 120, 288, 184), (320, 120, 440, 184)
    assert quick.clipped(inside, 2)[..., 0].all()
    assert not quick.clipped(inside, 2)[..., 1].any()
    assert quick.floored(inside, 2)[..., 2].mean() > 0.95
    assert not quick.clipped(beside, 2).any()
    assert not quick.floored(beside, 2).any()
    assert quick.reduced(151).clipped[36, 50].tolist() == [1, 0, 0]


def test_a_half_of_a_cut_file_is_refused_as_well():
    data = jpeg(np.random.default_rng(2).integers(0, 255, (HEIGHT, WIDTH, 3), dtype=np.uint8))
    for damaged in (data[: len(data) // 2], data[: len(data) // 2] + b"\xff\xd9"):
        with pytest.raises(PhotoError, match=r"cut short|ends early"):
            read_photo(damaged, quick=True)


def test_a_flat_grey_photo_is_not_taken_for_a_cut_one():
    assert read_photo(jpeg(np.full((HEIGHT, WIDTH, 3), 128, np.uint8)), quick=True).size == (WIDTH, HEIGHT)


def test_light_under_another_encoding_is_that_of_the_whole():
    from dyebook.photo.file.profile import DISPLAY_P3

    quick = read_photo(jpeg(smooth_codes()), quick=True).with_encoding(DISPLAY_P3)
    assert quick.encoding is DISPLAY_P3
    box = (100, 160, 300, 360)
    direct = quick.crop(box, 1).reshape(50, 4, 50, 4, 3).mean((1, 3))
    np.testing.assert_allclose(quick.crop(box, 4), direct, atol=0.004)


def test_a_measurement_from_the_half_is_that_from_the_whole():
    from tests.render.photo import picture
    from tests.render.plan import make_scenes

    rendered = picture(make_scenes(8, "parts", 1440, 1080, camera="reflex")[0])
    data = cv2.imencode(".jpg", np.ascontiguousarray(rendered.codes[..., ::-1]), [cv2.IMWRITE_JPEG_QUALITY, 95])[1]
    quick, whole = look_at(data.tobytes()), look_at(read_photo(data.tobytes()))
    assert isinstance(quick.photo, HalfPhoto)
    ours, theirs = quick.measurement, whole.measurement
    assert ours.size == theirs.size
    np.testing.assert_allclose(ours.card_quad, theirs.card_quad, atol=3)
    assert len(ours.parts) == len(theirs.parts) > 0
    for one, other in zip(ours.parts, theirs.parts, strict=True):
        assert delta_e_00(one.lab, other.lab) < 0.25 * np.linalg.norm(other.lab_u)
        np.testing.assert_allclose(one.box, other.box, atol=6)
    assert quick.overlay(800).shape == whole.overlay(800).shape

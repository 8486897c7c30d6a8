"""Colour spaces of files: ICC profiles, tags that stand in for them, and the assumption of sRGB."""

import io
import struct
import zlib

import numpy as np
import pytest
from PIL import Image, ImageCms, PngImagePlugin

from dyebook.errors import PhotoError
from dyebook.lab import decode_srgb
from dyebook.photo.file.profile import (
    ADOBE_RGB,
    DISPLAY_P3,
    REC2020_WIDE,
    SRGB,
    ProfileError,
    encoding_from_primaries,
    matrix_profile,
    read_profile,
)
from dyebook.photo.file.read import read_photo
from tests.photo.files import heic, picture, saved, saved_deep

# one half code of 8 bits, times the steepest slope of the sRGB curve (2.3), times the largest row sum of the
# absolute P3 matrix (1.6), for each of the two files that are compared
TWIN_TOLERANCE = 2 * 0.5 / 255 * 2.3 * 1.6


@pytest.fixture(scope="module")
def colour():
    return pytest.importorskip("colour")


def test_a_p3_file_and_its_srgb_twin_read_alike(colour):
    light = np.random.default_rng(1).uniform(0.05, 0.9, (8, 8, 3)).repeat(10, 0).repeat(10, 1)
    rec709, p3 = colour.RGB_COLOURSPACES["sRGB"], colour.RGB_COLOURSPACES["Display P3"]
    light_p3 = np.clip(colour.RGB_to_RGB(light, rec709, p3), 0, 1)
    codes, codes_p3 = (np.round(255 * colour.models.eotf_inverse_sRGB(x)).astype(np.uint8) for x in (light, light_p3))
    twin = read_photo(saved(codes))
    wide = read_photo(saved(codes_p3, icc_profile=matrix_profile(DISPLAY_P3)))
    np.testing.assert_allclose(wide.pixels, twin.pixels, atol=TWIN_TOLERANCE)
    assert not wide.notes
    assert "taken as sRGB" in twin.notes[0]


@pytest.mark.parametrize(
    ("encoding", "name"), [(DISPLAY_P3, "Display P3"), (ADOBE_RGB, "Adobe RGB (1998)"), (REC2020_WIDE, "ITU-R BT.2020")]
)
def test_matrices_are_those_of_colour_science(colour, encoding, name):
    spaces = colour.RGB_COLOURSPACES
    expected = colour.matrix_RGB_to_RGB(spaces[name], spaces["sRGB"])
    np.testing.assert_allclose(encoding.matrix, expected, atol=2e-4)  # published matrices carry four digits
    read = read_profile(matrix_profile(encoding))
    np.testing.assert_allclose(read.matrix, expected, atol=3e-4)  # 15.16 numbers in the profile
    codes = np.linspace(0, 1, 1001)
    np.testing.assert_allclose(read.curves[0](codes), encoding.curves[0](codes), atol=2e-5)


def test_prophoto_white_is_carried_from_d50(colour):
    space = colour.RGB_COLOURSPACES["ProPhoto RGB"]
    ours = encoding_from_primaries("ProPhoto", space.primaries, space.whitepoint, lambda code: code**1.8)
    expected = colour.matrix_RGB_to_RGB(space, colour.RGB_COLOURSPACES["sRGB"], "Bradford")
    np.testing.assert_allclose(ours.matrix, expected, atol=5e-4)
    np.testing.assert_allclose(read_profile(matrix_profile(ours)).matrix.sum(axis=1), 1, atol=1e-9)


def test_light_outside_rec709_is_kept():
    codes = np.zeros((64, 64, 3), np.uint8)
    codes[..., 1] = 255
    photo = read_photo(saved(codes, icc_profile=matrix_profile(DISPLAY_P3)))
    assert photo.pixels[0, 0, 0] == pytest.approx(-0.2249, abs=1e-3)  # red of P3 green, colour-science's matrix


def test_neutral_stays_neutral_in_any_space():
    codes = np.repeat(np.arange(0, 256, 4, dtype=np.uint8), 64).reshape(64, 64)
    for encoding in (DISPLAY_P3, ADOBE_RGB, REC2020_WIDE):
        photo = read_photo(saved(np.stack([codes] * 3, axis=-1), icc_profile=matrix_profile(encoding)))
        assert np.ptp(photo.pixels, axis=-1).max() < 2e-6


def test_the_library_s_srgb_profile_reads_as_srgb():
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()  # LittleCMS writes curves as functions
    photo, plain = read_photo(saved(picture(), icc_profile=profile)), read_photo(saved(picture()))
    np.testing.assert_allclose(photo.pixels, plain.pixels, atol=2e-4)
    assert not photo.notes


def test_our_reading_agrees_with_littlecms():
    p3 = matrix_profile(DISPLAY_P3)
    codes = np.random.default_rng(3).integers(60, 200, (80, 80, 3)).astype(np.uint8)
    source, target = (
        ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")),
        ImageCms.ImageCmsProfile(io.BytesIO(p3)),
    )
    converted = ImageCms.profileToProfile(Image.fromarray(codes), source, target, renderingIntent=1)
    photo = read_photo(saved(converted, icc_profile=p3))
    np.testing.assert_allclose(photo.pixels, decode_srgb(codes / 255), atol=TWIN_TOLERANCE)


def _para(kind, *values):
    """A parametric curve block."""
    return struct.pack(">4s4xHxx", b"para", kind) + np.round(np.array(values) * 65536).astype(">i4").tobytes()


def _with_curve(block):
    """A P3 profile with another curve, appended behind it."""
    profile = bytearray(matrix_profile(DISPLAY_P3, samples=16))
    (count,) = struct.unpack_from(">I", profile, 128)
    for at in range(132, 132 + 12 * count, 12):
        if profile[at + 1 : at + 4] == b"TRC":
            struct.pack_into(">II", profile, at + 4, len(profile), len(block))
    return bytes(profile) + block


SRGB_FUNCTION = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)


@pytest.mark.parametrize(
    ("block", "expected"),
    [
        (_para(0, 2.2), lambda x: x**2.2),
        (_para(1, 2.0, 1.25, -0.25), lambda x: np.maximum(1.25 * x - 0.25, 0) ** 2),
        (_para(2, 2.0, 1.0, -0.2, 0.1), lambda x: np.maximum(x - 0.2, 0) ** 2 + 0.1),
        (_para(3, *SRGB_FUNCTION), decode_srgb),
        (_para(4, *SRGB_FUNCTION, 0.0, 0.0), decode_srgb),
        (struct.pack(">4s4xIH", b"curv", 1, 563), lambda x: x ** (563 / 256)),
        (struct.pack(">4s4xI", b"curv", 0), lambda x: x),
        (struct.pack(">4s4xI3H", b"curv", 3, 0, 16384, 65535), lambda x: np.interp(x, [0, 0.5, 1], [0, 0.25, 1])),
    ],
)
def test_every_form_of_curve(block, expected):
    """Closed forms of ICC.1:2022, 10.6 (curveType) and table 68 (parametricCurveType)."""
    codes = np.linspace(0, 1, 256)
    np.testing.assert_allclose(read_profile(_with_curve(block)).curves[0](codes), expected(codes), atol=3e-5)


@pytest.mark.parametrize(
    "block",
    [
        b"junk" + bytes(20),
        _para(7, 1.0),
        _para(3, 2.4),
        struct.pack(">4s4xI", b"curv", 2**31),
        struct.pack(">4s4xI3H", b"curv", 3, 65535, 16384, 0),
        struct.pack(">4s4xI2H", b"curv", 2, 0, 100),
    ],
)
def test_impossible_curves_are_refused(block):
    with pytest.raises(ProfileError):
        read_profile(_with_curve(block))


@pytest.mark.parametrize("keep", [10, 131, 140, 400])
def test_a_broken_profile_is_noted_and_taken_as_srgb(keep):
    photo = read_photo(saved(picture(), "TIFF", icc_profile=matrix_profile(DISPLAY_P3)[:keep]))
    assert "damaged" in photo.notes[0]
    np.testing.assert_allclose(photo.pixels, read_photo(saved(picture())).pixels, atol=1e-6)


def test_a_profile_for_grey_does_not_fit_colour():
    profile = bytearray(matrix_profile(SRGB))
    profile[16:20] = b"GRAY"
    at = profile.index(b"rTRC")
    profile[at : at + 4] = b"kTRC"
    assert "grey" in read_photo(saved(picture(), "TIFF", icc_profile=bytes(profile))).notes[0]
    grey = read_photo(saved(Image.fromarray(picture()[..., 0]), "TIFF", icc_profile=bytes(profile)))
    assert not grey.notes
    np.testing.assert_allclose(grey.pixels[..., 2], decode_srgb(picture()[..., 0] / 255), atol=1e-4)


def test_marks_that_stand_in_for_a_profile():
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA001] = 1
    assert read_photo(saved(picture(), "JPEG", exif=exif)).notes == ()
    exif = Image.Exif()
    exif.get_ifd(0x8769).update({0xA001: 65535, 0xA005: {1: "R03"}})
    adobe = read_photo(saved(picture(), "JPEG", exif=exif))
    assert adobe.encoding is ADOBE_RGB
    assert "opRGB" in adobe.notes[0]


def test_heic_code_points_name_the_primaries():
    p3 = read_photo(heic(picture(), color_primaries=12, transfer_characteristics=13))
    assert p3.encoding is DISPLAY_P3
    with pytest.raises(PhotoError, match="high dynamic range"):
        read_photo(heic(picture(), color_primaries=9, transfer_characteristics=16))


def _png_with(kind, body):
    info = PngImagePlugin.PngInfo()
    info.add(kind, body)
    return read_photo(saved(picture(), "PNG", pnginfo=info))


def test_png_gamma_and_primaries():
    linear = _png_with(b"gAMA", struct.pack(">I", 100_000))
    np.testing.assert_allclose(linear.pixels, picture() / 255, atol=1e-6)
    assert not _png_with(b"sRGB", b"\0").notes
    points = (0.3127, 0.3290, 0.680, 0.320, 0.265, 0.690, 0.150, 0.060)
    info = PngImagePlugin.PngInfo()
    info.add(b"gAMA", struct.pack(">I", 45455))
    info.add(b"cHRM", struct.pack(">8I", *(round(100_000 * value) for value in points)))
    photo = read_photo(saved(picture(), "PNG", pnginfo=info))
    np.testing.assert_allclose(photo.encoding.matrix, DISPLAY_P3.matrix, atol=1e-6)


def test_deep_png_codes_are_left_alone_by_the_decoder():
    deep = saved_deep(picture().astype(np.uint16) * 257, "PNG")
    gamma = struct.pack(">I", 4) + b"gAMA" + struct.pack(">I", 100_000)
    marked = deep[:33] + gamma + struct.pack(">I", zlib.crc32(gamma[4:])) + deep[33:]
    np.testing.assert_array_equal(read_photo(marked).codes, picture().astype(np.uint16) * 257)
    np.testing.assert_allclose(read_photo(marked).pixels, picture() / 255, atol=1e-6)


def test_16_bit_p3_keeps_its_steps():
    codes = np.linspace(20_000, 21_000, 80 * 120 * 3).reshape(80, 120, 3).astype(np.uint16)
    icc = matrix_profile(DISPLAY_P3)
    tifffile = pytest.importorskip("tifffile")
    stream = io.BytesIO()
    tifffile.imwrite(stream, codes, photometric="rgb", metadata=None, iccprofile=icc)
    photo = read_photo(stream.getvalue())
    expected = decode_srgb(codes / 65535) @ DISPLAY_P3.matrix.T
    np.testing.assert_allclose(photo.pixels, expected, atol=5e-5)

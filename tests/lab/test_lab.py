"""CIELAB against published values and against colour-science."""

import csv
from pathlib import Path

import colour
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dyebook import lab

REFERENCE = Path(__file__).parents[1] / "reference"
LABS = st.tuples(st.floats(0, 100), st.floats(-100, 100), st.floats(-100, 100))


def _read(name):
    lines = [line for line in (REFERENCE / name).read_text(encoding="utf-8").splitlines() if line[:1] != "#"]
    return list(csv.DictReader(lines))


@pytest.mark.parametrize("row", _read("ciede2000_pairs.csv"), ids=lambda row: row["pair"])
def test_ciede2000_reproduces_the_published_pairs(row):
    target = [float(row[name]) for name in ("L1", "a1", "b1")]
    sample = [float(row[name]) for name in ("L2", "a2", "b2")]
    # the paper rounds to four decimals
    assert lab.delta_e_00(target, sample) == pytest.approx(float(row["dE00"]), abs=1e-4)
    assert lab.delta_e_00(sample, target) == pytest.approx(float(row["dE00"]), abs=1e-4)


def test_cmc_is_not_symmetric():
    # pairs 7 and 8 of the same table; CMC values computed from the published formula
    assert lab.delta_e_cmc((50, 0, 0), (50, -1, 2)) == pytest.approx(3.5048, abs=1e-4)
    assert lab.delta_e_cmc((50, -1, 2), (50, 0, 0)) == pytest.approx(2.8793, abs=1e-4)


def test_lightness_of_known_luminance_factors():
    # ISO/CIE 11664-4 formula
    y = np.array([0.008856, 0.01, 0.03, 0.05, 0.10, 0.18, 0.184187, 0.20, 0.50, 0.90, 1.0])
    expected = [8.0, 8.9914, 20.0439, 26.7348, 37.8424, 49.4961, 50.0, 51.8372, 76.0693, 95.9968, 100]
    found = lab.linear_rgb_to_lab(np.repeat(y[:, None], 3, axis=1))
    assert found[:, 0] == pytest.approx(expected, abs=5e-4)
    assert np.abs(found[:, 1:]).max() < 1e-3  # the linear toe of the library is rounded there


@pytest.mark.parametrize(
    ("codes", "expected"),
    [
        # IEC 61966-2-1 primaries and three more, computed with the standard's matrix
        ((255, 0, 0), (53.241, 80.092, 67.203)),
        ((0, 255, 0), (87.735, -86.183, 83.179)),
        ((0, 0, 255), (32.297, 79.188, -107.860)),
        ((200, 30, 40), (43.308, 63.303, 39.976)),
        ((20, 40, 120), (20.131, 24.286, -47.704)),
        ((212, 160, 23), (68.899, 8.376, 69.115)),
    ],
)
def test_srgb_codes_in_lab(codes, expected):
    linear = colour.models.eotf_sRGB(np.array(codes) / 255)
    assert lab.linear_rgb_to_lab(linear) == pytest.approx(expected, abs=0.02)


@given(LABS, LABS)
def test_differences_agree_with_colour_science(target, sample):
    target, sample = np.array(target), np.array(sample)
    assert lab.delta_e_00(target, sample) == pytest.approx(
        float(colour.delta_E(target, sample, method="CIE 2000")), abs=1e-6
    )
    assert lab.delta_e_76(target, sample) == pytest.approx(
        float(colour.delta_E(target, sample, method="CIE 1976")), abs=1e-9
    )


@given(LABS)
def test_lab_round_trip_through_linear_light(value):
    assert lab.linear_rgb_to_lab(lab.lab_to_linear_rgb(value)) == pytest.approx(value, abs=0.02)


def test_bradford_keeps_neutrals_neutral():
    assert lab.adapt_lab((60, 0, 0), "D50") == pytest.approx((60, 0, 0), abs=0.02)
    assert lab.adapt_lab((60, 0, 0), "D65", observer="10") == pytest.approx((60, 0, 0), abs=0.02)


def test_bradford_agrees_with_colour_science():
    # D50 chart values to D65 through the library's own adaptation
    d50 = np.array([50.757, -0.131, 0.144])
    whites = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
    xyz = colour.chromatic_adaptation(
        colour.Lab_to_XYZ(d50, whites["D50"]),
        colour.xy_to_XYZ(whites["D50"]),
        colour.xy_to_XYZ(whites["D65"]),
        method="Von Kries",
        transform="Bradford",
    )
    assert lab.adapt_lab(d50, "D50") == pytest.approx(colour.XYZ_to_Lab(xyz, whites["D65"]), abs=0.02)


def test_unknown_white_is_refused():
    with pytest.raises(ValueError, match="unknown white point"):
        lab.adapt_lab((50, 0, 0), "D999")


def test_screen_colour_marks_what_srgb_cannot_show():
    codes, clipped = lab.lab_to_srgb8([[100, 0, 0], [60, -90, 0]])
    assert tuple(codes[0]) == (255, 255, 255)
    assert list(clipped) == [False, True]


def test_a_colour_half_a_code_beyond_srgb_is_shown_and_one_farther_off_is_marked():
    """IEC 61966-2-1: half a code is 1/510 of the range; near white the slope of its curve is 1 / 2.28."""
    for code, beyond in ((1 + 0.4 / 255, False), (1 + 0.6 / 255, True), (-0.4 / 255, False), (-3 / 255, True)):
        light = np.array([colour.models.eotf_sRGB(code) if code > 1 else code / 12.92, 0.5, 0.5])
        assert lab.lab_to_srgb8(lab.linear_rgb_to_lab(light))[1] == beyond, code


def test_screen_codes_are_taken_as_bytes_or_numbers():
    for codes in ((0, 0, 0), (31, 78, 140), (255, 255, 255)):
        assert np.array_equal(lab.srgb8_to_lab(bytes(codes)), lab.srgb8_to_lab(codes))
    assert lab.srgb8_to_lab(bytes((255,) * 3)) == pytest.approx((100, 0, 0), abs=0.02)


@pytest.mark.parametrize(("ab", "hue"), [((1, 0), 0), ((0, 2), 90), ((-3, 0), 180), ((0, -4), 270), ((5, -5), 315)])
def test_hue_goes_round_once_from_red_over_yellow(ab, hue):
    """ISO/CIE 11664-4: h = atan2(b*, a*), taken from 0 to 360 degrees."""
    assert lab.lab_to_lch((50, *ab)) == pytest.approx((50, np.hypot(*ab), hue))


def test_a_spectrum_is_summed_as_colour_science_does():
    """Neutrals of known luminance (CIE 15: Y is the reflectance), and a slope, over bands of any width and end."""
    whole = np.arange(360, 781)
    for wavelengths in (np.arange(380, 731, 10), np.arange(430, 671, 20), np.arange(425, 671, 35)):
        grey = lab.reflectance_to_lab(wavelengths, np.full(len(wavelengths), 0.18))
        assert grey == pytest.approx((49.50, 0, 0), abs=0.01)
        slope = np.linspace(0.1, 0.7, len(wavelengths))
        dense = colour.SpectralDistribution(np.interp(whole, wavelengths, slope), whole)
        light = colour.SDS_ILLUMINANTS["D65"].copy().align(dense.shape)
        matching = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(dense.shape)
        xyz = colour.sd_to_XYZ(dense, matching, light, method="Integration")
        assert lab.reflectance_to_lab(wavelengths, slope) == pytest.approx(lab.xyz_to_lab(xyz / 100), abs=0.02)


@pytest.mark.parametrize("wavelengths", [np.linspace(431, 670, 8), np.linspace(430, 669, 8), np.linspace(430, 670, 7)])
def test_a_spectrum_that_covers_too_little_is_refused(wavelengths):
    with pytest.raises(ValueError, match="430 to 670"):
        lab.reflectance_to_lab(wavelengths, np.full(len(wavelengths), 0.5))


def test_srgb_codes_are_those_of_the_standard_both_ways():
    light = np.concatenate([[0, 0.0031308, 0.00313081], np.linspace(0, 1, 501)])
    np.testing.assert_allclose(lab.encode_srgb(light), colour.models.eotf_inverse_sRGB(light), atol=1e-9)
    np.testing.assert_allclose(lab.decode_srgb(lab.encode_srgb(light)), light, atol=2e-8)  # the curve's own seam


def test_srgb_codes_keep_precision_and_take_light_beyond_the_ends():
    assert lab.encode_srgb(np.float32([0.5])).dtype == np.float32
    assert lab.encode_srgb(-0.01) == pytest.approx(-0.1292)
    assert np.isfinite(lab.encode_srgb(np.array([-1.0, 2.0]))).all()

"""Spectra of the renderer against published tables."""

import numpy as np
import pytest

from dyebook.demo.spectra import (
    DYES,
    LIGHTS,
    WAVELENGTH_NM,
    Film,
    film_reflectance,
    illuminant,
    paint_reflectance,
    reflectance_lab,
)
from tests.render.cameras import camera_matrix, ideal_camera, sensor_rgb


def _chromaticity(light):
    from dyebook.demo.spectra import standard_observer

    xyz = light @ standard_observer()
    return xyz[:2] / xyz.sum()


@pytest.mark.parametrize(
    ("name", "xy"),
    [
        ("D65", (0.31272, 0.32903)),  # CIE 15:2004, table T.3
        ("A", (0.44758, 0.40745)),
        ("FL2", (0.3721, 0.3751)),
        ("blackbody 2856", (0.44758, 0.40745)),  # illuminant A is this by definition, but for the constant c2
    ],
)
def test_illuminants_have_the_published_chromaticity(name, xy):
    assert _chromaticity(illuminant(name)) == pytest.approx(xy, abs=6e-4)


def test_every_light_shines():
    for name in (name for family in LIGHTS.values() for name in family):
        assert np.all(illuminant(name) >= 0)


def test_perfect_white_is_the_white_point():
    assert reflectance_lab(np.ones(81)) == pytest.approx((100, 0, 0), abs=1e-9)


def test_clear_film_is_nearly_white():
    # flat aluminium under a clear film of index 1.62, mirror light excluded, illuminant E: 92.30, -0.35, -0.95
    lab = reflectance_lab(film_reflectance(Film(metal=1.0, veil=0.0)))
    assert lab == pytest.approx((92.30, -0.35, -0.95), abs=0.3)


@pytest.mark.parametrize("dye", DYES)
def test_more_dye_is_darker(dye):
    depth = np.array([0.05, 0.1, 0.3, 0.6, 1.0, 2.0])
    lightness = [reflectance_lab(film_reflectance(Film(DYES[dye], float(a))))[0] for a in depth]
    assert np.all(np.diff(lightness) < 0)


def test_longer_path_is_more_dye():
    film = Film(DYES["blue"], 0.4)
    assert film_reflectance(film, 1.2) == pytest.approx(film_reflectance(Film(DYES["blue"], 0.48)))


@pytest.mark.parametrize("lab", [(49.5, 0, 0), (18, 2, -3), (85, -4, 8), (50, 30, 20)])
def test_paint_meets_its_lab(lab):
    spectrum = paint_reflectance(lab)
    assert reflectance_lab(spectrum) == pytest.approx(lab, abs=1e-6)
    assert spectrum.shape == WAVELENGTH_NM.shape


def test_ideal_matrix_gives_rec709_of_the_observer():
    from dyebook.lab import linear_rgb_to_lab

    spectrum = paint_reflectance((55, 20, -15))
    rgb = sensor_rgb(ideal_camera(), illuminant("D65"), spectrum) @ camera_matrix(ideal_camera(), 0.0).T
    assert linear_rgb_to_lab(rgb) == pytest.approx((55, 20, -15), abs=0.02)

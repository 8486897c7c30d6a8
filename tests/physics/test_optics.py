"""The dyed film against closed forms, aluminium's published index, and colour-science."""

import numpy as np
import pytest

from dyebook.physics.optics import (
    BANDS_NM,
    film_reflectance,
    lab_of_xyz_ratio,
    light_weights,
    metal_reflectance,
    reflectance_to_lab,
)

# peak nm, width nm, weight of each band; simulated dyes, true of no product
RED = ((510, 35, 1.0),)
BLUE = ((615, 40, 1.0), (580, 35, 0.4))
BLACK = ((450, 70, 0.8), (570, 80, 1.0), (660, 60, 0.6))


def absorbance(bands, peak):
    return peak * sum(weight * np.exp(-0.5 * ((BANDS_NM - nm) / width) ** 2) for nm, width, weight in bands)


def test_aluminium_reflects_as_its_index_says():
    """Rakic, Appl. Opt. 34 (1995) 4755: R in air and under a film of index 1.62, computed from n and k."""
    in_air, under_film = metal_reflectance(1.0), metal_reflectance(1.62)
    for nm, air, film in [(400, 0.9238, 0.8864), (500, 0.9185, 0.8761), (600, 0.9110, 0.8635), (700, 0.8973, 0.8421)]:
        at = int(np.flatnonzero(nm == BANDS_NM)[0])
        assert in_air[at] == pytest.approx(air, abs=2e-4)
        assert under_film[at] == pytest.approx(film, abs=2e-4)


def test_reflectance_sums_the_inner_bounces():
    """Closed form against the bounces added one by one, for a single-pass transmittance squared of 0.5."""
    outer, metal, inside = 0.056, 0.88, 0.5
    bounces = sum((outer * metal * inside) ** k for k in range(60))
    expected = outer + (1 - outer) ** 2 * metal * inside * bounces
    found = film_reflectance(-np.log10(inside) / 2, metal=metal, outer=outer)
    assert found == pytest.approx(expected, abs=1e-12)
    assert found == pytest.approx(0.45800, abs=1e-5)


def test_black_film_still_mirrors():
    assert film_reflectance(50.0, outer=0.056) == pytest.approx(np.full(31, 0.056))
    assert reflectance_to_lab(film_reflectance(np.full(31, 50.0), outer=0.056))[0] == pytest.approx(28.38, abs=0.02)


def test_white_is_white_under_every_light():
    for light in ("d65", "a", "led"):
        assert light_weights(light)[:, 1].sum() == pytest.approx(1)
        assert reflectance_to_lab(np.ones(31), light) == pytest.approx([100, 0, 0], abs=1e-9)


def test_white_points_are_those_of_the_standard():
    """ASTM E308, 2 degrees: D65 95.047, 100, 108.883; A 109.850, 100, 35.585; sums from 380 nm reach 3e-4 of it."""
    assert light_weights("d65").sum(axis=0) == pytest.approx([0.95047, 1, 1.08883], abs=3e-4)
    assert light_weights("a").sum(axis=0) == pytest.approx([1.09850, 1, 0.35585], abs=3e-4)


@pytest.mark.parametrize(("bands", "peak"), [(RED, 0.6), (BLUE, 0.3), (BLUE, 1.0), (BLACK, 0.3)])
def test_bands_integrate_as_colour_science_does_at_one_nanometre(bands, peak):
    import colour

    spectrum = film_reflectance(absorbance(bands, peak))
    fine = np.arange(360.0, 781.0)
    power = colour.SDS_ILLUMINANTS["D65"]
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    weights = np.stack([np.interp(fine, cmfs.wavelengths, c) for c in cmfs.values.T]).T
    weights = weights * np.interp(fine, power.wavelengths, power.values)[:, None]
    ratio = np.interp(fine, BANDS_NM, spectrum) @ weights / weights.sum(axis=0)
    assert reflectance_to_lab(spectrum) == pytest.approx(lab_of_xyz_ratio(ratio), abs=0.02)


def test_lightness_falls_with_load_and_hue_turns():
    loads = np.array([0.1, 0.3, 0.6, 1.0, 2.0, 4.0])
    for bands in (RED, BLUE, BLACK):
        lab = reflectance_to_lab(film_reflectance(loads[:, None] * absorbance(bands, 1.0)))
        assert np.all(np.diff(lab[:, 0]) < 0)
    red = reflectance_to_lab(film_reflectance(loads[:, None] * absorbance(RED, 1.0)))
    assert red[0, 2] < 0 < red[4, 2]


def test_unknown_light_is_refused():
    with pytest.raises(ValueError, match="led"):
        light_weights("moon")


def test_shipped_table_is_what_its_script_writes():
    """The end bands hold the tails; the table must follow from colour-science by the documented sums."""
    import importlib.util
    from pathlib import Path

    path = Path(__file__).parents[1] / "reference" / "write_spectral_tables.py"
    spec = importlib.util.spec_from_file_location("write_spectral_tables", path)
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    for light, name in script.LIGHTS.items():
        assert light_weights(light) == pytest.approx(script.weights(name), abs=1e-7)

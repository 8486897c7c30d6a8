"""Uptake against published equations and their limits."""

import numpy as np
import pytest

from dyebook.physics.uptake import arrhenius_factor, isotherm_langmuir, ph_bell, uptake_crank1975


def test_diffusion_series():
    """Crank (1975) eq. 4.18, summed to 1e-4 at Dt/L² from 0.01 to 2."""
    x = np.array([0.01, 0.05, 0.1, 0.2, 0.3, 0.5, 1.0, 2.0])
    expected = [0.1128, 0.2523, 0.3568, 0.5041, 0.6132, 0.7640, 0.9313, 0.9942]
    assert uptake_crank1975(1.0, x, 1.0) == pytest.approx(expected, abs=1e-4)


def test_short_dips_follow_the_square_root_law():
    x = np.array([1e-6, 1e-4, 1e-2])
    assert uptake_crank1975(1.0, x, 1.0) == pytest.approx(2 * np.sqrt(x / np.pi), rel=1e-9)


def test_short_and_long_forms_meet():
    below, above = uptake_crank1975(1.0, np.array([0.1 - 1e-12, 0.1 + 1e-12]), 1.0)
    assert below == pytest.approx(above, abs=1e-11)


def test_short_dips_take_up_the_same_in_any_film():
    film = np.array([8.0, 12.0, 20.0])
    taken = film * uptake_crank1975(film, 1.0, 1.0)
    assert taken == pytest.approx(np.full(3, taken[0]), rel=1e-6)


def test_half_ninety_and_ninety_nine_percent_times():
    assert uptake_crank1975(1.0, [0.1967, 0.8481, 1.781], 1.0) == pytest.approx([0.5, 0.9, 0.99], abs=2e-4)


def test_langmuir():
    """Langmuir at K C = 0.1 to 19."""
    strengths = np.array([0.1, 0.5, 1, 2, 4, 9, 19])
    assert isotherm_langmuir(strengths, 1.0) == pytest.approx([0.0909, 0.3333, 0.5, 0.6667, 0.8, 0.9, 0.95], abs=1e-4)


@pytest.mark.parametrize(("energy", "ratio"), [(20, 2.678), (30, 4.383), (40, 7.174), (50, 11.74)])
def test_arrhenius_from_20_to_60_degrees(energy, ratio):
    assert arrhenius_factor(60, energy, 20) == pytest.approx(ratio, rel=1e-3)


@pytest.mark.parametrize(("energy", "ratio"), [(53.2, 2.1), (83.3, 3.2)])
def test_arrhenius_from_15_to_25_degrees(energy, ratio):
    """Activation energies of the oxide's dissolution, Russ. J. Inorg. Chem. 66 (2021) 258."""
    assert arrhenius_factor(25, energy, 15) == pytest.approx(ratio, abs=0.05)


def test_ph_bell_is_one_at_its_best():
    assert ph_bell(5.5, 5.5, 0.8) == 1
    assert ph_bell([4.7, 6.3], 5.5, 0.8) == pytest.approx(np.exp([-0.5, -0.5]))


def test_impossible_films_and_dwells_are_refused():
    with pytest.raises(ValueError, match="film_um"):
        uptake_crank1975(0.0, 1.0, 1.0)
    with pytest.raises(ValueError, match="dwell_min"):
        uptake_crank1975(12.0, -1.0, 1.0)

"""The fit's own forward model: its slopes, and the physics functions it must agree with."""

import numpy as np
import pytest

from dyebook.model.forward import Film, Hyper, Load, SettingLogs, Shape, colours, colours_with_slopes
from dyebook.model.inputs import Settings
from dyebook.model.parameters import SURFACE, UPTAKE, Discrepancy, parameter_values
from dyebook.physics.optics import BANDS_NM, film_reflectance, metal_reflectance, reflectance_to_lab
from dyebook.physics.uptake import arrhenius_factor, isotherm_langmuir, ph_bell, uptake_crank1975

# as many circumstances as a record may have: two that move the load, one that moves the hue
AROUND = (np.array([[0.15, 0.1]]), np.array([[3.0]]))


def isotherm_sips(dye_g_per_l, half_g_per_l, exponent):
    """(C/half)^p / (1 + (C/half)^p), Sips, J. Chem. Phys. 16 (1948) 490."""
    power = (dye_g_per_l / half_g_per_l) ** exponent
    return power / (1 + power)


def uptake_blended(rate_time, order, sharpness):
    """(1 + (kt)^(-order·sharpness))^(-1/sharpness): from t^order to its end, the two meeting at kt = 1."""
    return (1 + rate_time ** (-order * sharpness)) ** (-1 / sharpness)


def test_uptake_holds_the_published_curves_at_its_ends():
    """Second order (Ho & McKay, Process Biochem. 34 (1999) 451) and Crank's diffusion; Langmuir's isotherm at p = 1."""
    x = np.geomspace(1e-3, 30, 60)
    assert uptake_blended(x, 1.0, 1.0) == pytest.approx(x / (1 + x), rel=1e-12)
    assert uptake_blended(4 * x / np.pi, 0.5, 5.8) == pytest.approx(uptake_crank1975(1.0, x, 1.0), abs=0.006)
    assert isotherm_sips(x, 1.0, 1.0) == pytest.approx(isotherm_langmuir(x, 1.0), rel=1e-12)


@pytest.fixture
def settings():
    rng = np.random.default_rng(4)
    return Settings(
        rng.uniform(6, 20, 7),
        rng.uniform(0.5, 8, 7),
        rng.uniform(20, 60, 7),
        rng.uniform(1, 15, 7),
        rng.uniform(5, 6, 7),
    )


@pytest.fixture
def shape(settings):
    return Shape.of(settings, settings[[0]], Discrepancy.learn(settings.scaled(), np.full(5, 1.6)), AROUND)


def test_slopes_are_those_of_the_colours(shape):
    z = 0.7 * np.random.default_rng(1).standard_normal(shape.layout.size)
    _, slopes, *_ = colours_with_slopes(z, shape, Hyper())
    steps = 1e-5 * np.eye(len(z))
    numeric = (colours(z + steps, shape, Hyper()) - colours(z - steps, shape, Hyper())) / 2e-5
    assert slopes == pytest.approx(np.moveaxis(numeric, 0, -1), abs=1e-5)


def test_load_is_the_product_of_the_laws(settings):
    z = np.random.default_rng(2).standard_normal(len(UPTAKE))
    (half, exponent, tau, energy, capacity_energy, order, sharpness, rate_film, capacity_film, rate_dye, best_ph,
     curvature) = parameter_values(UPTAKE, z)  # fmt: skip
    film, temp = settings.film_um / 12, settings.bath_temp_c
    rate_time = arrhenius_factor(temp, energy) * settings.dwell_min / tau * film**-rate_film
    rate_time = rate_time * (settings.dye_g_per_l / 2) ** rate_dye
    expected = np.log(
        film**capacity_film
        * isotherm_sips(settings.dye_g_per_l, half, exponent)
        * arrhenius_factor(temp, capacity_energy)
        * uptake_blended(rate_time, order, sharpness)
        * ph_bell(settings.ph, best_ph, 1 / np.sqrt(curvature))
    )
    assert Load(z, SettingLogs.of(settings)).value == pytest.approx(expected, abs=1e-10)


def test_film_without_spread_is_the_plain_double_pass():
    z = np.zeros(len(SURFACE))
    z[-1] = -20  # the spread of paths goes to nothing
    front, inner, metal, *_ = parameter_values(SURFACE, z)
    absorbance = 0.8 * np.exp(-0.5 * ((BANDS_NM - 520) / 40) ** 2)
    plain = film_reflectance(absorbance, metal_reflectance() * metal, front, inner)
    assert Film(z, absorbance[None, :]).lab()[0] == pytest.approx(reflectance_to_lab(plain), abs=1e-6)

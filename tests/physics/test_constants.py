"""Constants held to scipy's CODATA set; rates of Faraday's law to figures worked out by hand from them."""

import pytest
from scipy import constants as si

from dyebook.physics import rates
from dyebook.physics.rates import FARADAY_BOUND, film_um_per_a_min_dm2


def test_si_values_are_scipys():
    assert pytest.approx(si.physical_constants["Faraday constant"][0], rel=1e-9) == rates.FARADAY_C_PER_MOL
    assert pytest.approx(si.R, rel=1e-12) == rates.GAS_J_PER_MOL_K
    assert si.mil * 1e6 == rates.UM_PER_MIL
    assert pytest.approx(0.01 / si.foot**2, rel=1e-12) == rates.A_PER_DM2_OF_ASF


@pytest.mark.parametrize(
    ("density", "rate"),
    [(2.9, 0.3644), (3.0, 0.3522), (3.1, 0.3409), (3.2, 0.3302), (2.4, 0.4403), (2.6, 0.4064), (2.8, 0.3774)],
)
def test_film_per_charge_by_faraday(density, rate):
    """2 Al + 3 H2O -> Al2O3 + 6 H+ + 6 e-, IUPAC weights; worked out from the constants."""
    assert film_um_per_a_min_dm2(density) == pytest.approx(rate, abs=0.0002)


def test_film_per_coulomb():
    assert film_um_per_a_min_dm2(2.9) / 0.6 == pytest.approx(0.6073, abs=0.0003)


def test_bound_is_the_lightest_film():
    assert pytest.approx(0.4403, abs=0.0003) == FARADAY_BOUND


def test_metal_consumed():
    assert pytest.approx(0.2072, abs=0.0002) == rates.METAL_UM_PER_A_MIN_DM2
    assert pytest.approx(0.5593 / 60 * 3600 / 100, rel=1e-3) == rates.ALUMINIUM_G_PER_AH  # 0.5593 g/m2 per A·min/dm2


def test_efficiency_that_the_720_rule_implies():
    """0.744 at 2.4 g/cm3 and 0.806 at 2.6, for pure oxide."""
    rule = 0.32774
    assert rule / film_um_per_a_min_dm2(2.4) == pytest.approx(0.744, abs=0.002)
    assert rule / film_um_per_a_min_dm2(2.6) == pytest.approx(0.806, abs=0.002)


def test_reaction_heat():
    """CODATA key values: corundum forms with -1675.7 kJ/mol, value from memory; six electrons, 160.8 A·h a mole."""
    assert pytest.approx(1675.7 / (6 * si.physical_constants["Faraday constant"][0] / 3600), abs=0.01) == (
        rates.OXIDE_FORMATION_KJ_PER_AH
    )

"""What a dye bath loses: the textbook link, and what strength checks teach."""

import numpy as np
import pytest

from dyebook.physics.bathcare import LossCheck, UptakeLink, learn_loss, mg_per_dm2_of_absorbance

LINK = UptakeLink(2.0, 0.7, "a guess")


def test_the_weight_of_an_absorbance_is_beer_lambert():
    # A = 1 at 20 000 L/(mol·cm) is 5.0e-8 mol/cm², 0.175 g/m² at 350 g/mol (worked out by hand)
    assert mg_per_dm2_of_absorbance(1.0) == pytest.approx(1.75)
    assert mg_per_dm2_of_absorbance([0.5, 2.0]) == pytest.approx([0.875, 3.5])


def test_without_checks_the_link_stands_and_nothing_ages():
    rate = learn_loss(LINK)
    assert (rate.mg_per_dm2, rate.per_day, rate.basis) == (2.0, 0.0, "a guess")
    lost, sd = rate.lost_g(100.0, 500.0)
    assert (lost, sd) == (pytest.approx(0.2), pytest.approx(0.14))


def test_a_sharp_check_is_the_mass_balance():
    # 1.2 g into 400 dm² within a day: 3 mg/dm²
    rate = learn_loss(LINK, [LossCheck(1.2, 0.001, 400.0, 1e-6)])
    assert rate.mg_per_dm2 == pytest.approx(3.0, rel=0.02)
    assert rate.lost_g(400.0, 0.0)[1] < 0.05


def test_films_and_age_are_told_apart():
    rng = np.random.default_rng(5)
    checks = []
    for load, gram_days in ((300, 50), (20, 900), (500, 100), (40, 1200), (250, 400)):
        lost = 4.0 * load / 1000 + 0.003 * gram_days
        checks.append(LossCheck(lost + rng.normal(0, 0.03), 0.03, load, gram_days))
    rate = learn_loss(LINK, checks)
    assert rate.mg_per_dm2 == pytest.approx(4.0, rel=0.05)
    assert rate.per_day == pytest.approx(0.003, rel=0.05)
    assert "your 5 strength checks" in rate.basis
    assert "a day" in rate.basis


def test_checks_that_show_no_ageing_teach_none():
    checks = [LossCheck(2.0 * load / 1000, 0.05, load, 800.0) for load in (100, 300, 600)]
    assert learn_loss(LINK, checks).per_day < 1e-4


def test_more_checks_leave_less_doubt():
    def doubt(count):
        return learn_loss(LINK, [LossCheck(0.6, 0.1, 300.0, 10.0)] * count).lost_g(300.0, 0.0)[1]

    assert doubt(8) < doubt(2) < doubt(0)

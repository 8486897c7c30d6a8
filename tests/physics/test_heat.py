"""Heat of the tank against worked examples and the closed solution's limits."""

import pytest

from dyebook.errors import RecordError
from dyebook.physics.heat import run_heat_kj, tank_capacity_kj_per_k, warm_tank


def test_joule_heat_of_the_worked_example():
    """16 V, 15 A, 40 min: 576 kJ, 3.6 K in 40 L without cooling; 5.09 kJ per A·h of reaction more.

    (1675.7 - 3 x 285.83) kJ for 6 x 96485 C: the oxide's heat of formation less that of the water it is made from.
    """
    joule, reaction = run_heat_kj(16, 15, 40)
    assert joule == pytest.approx(576)
    assert reaction == pytest.approx(10 * (1675.7 - 3 * 285.83) * 3600 / (6 * 96485.332), rel=1e-6)
    assert joule / tank_capacity_kj_per_k(40) == pytest.approx(3.6, abs=0.05)


def test_two_litre_tank_warms_about_fifteen_degrees():
    plan = warm_tank(2, 15, 3, 40)
    assert plan.rise_c == pytest.approx(15, abs=2)
    assert plan.growth_at_end < 0.6
    assert plan.notes


def test_largest_current_ends_at_the_allowed_temperature():
    plan = warm_tank(2, 15, 3, 40, allowed_temp_c=23)
    again = warm_tank(2, 15, plan.largest_current_a, 40)
    assert again.end_temp_c == pytest.approx(23, abs=0.01)


def test_cooling_and_ice_take_the_excess():
    plan = warm_tank(2, 15, 3, 40, allowed_temp_c=22)
    excess_kj = plan.heat_kj - 2 * tank_capacity_kj_per_k(2)
    assert plan.cooling_w * 40 * 60 / 1000 == pytest.approx(excess_kj, rel=1e-6)
    assert plan.ice_kg * (334 + 4.19 * 22) == pytest.approx(excess_kj, rel=1e-6)


def test_losses_cool_and_small_losses_change_nothing():
    bare = warm_tank(2, 15, 3, 40).end_temp_c
    assert warm_tank(2, 15, 3, 40, loss_w_per_k=3).end_temp_c < bare
    assert warm_tank(2, 15, 3, 40, loss_w_per_k=1e-6).end_temp_c == pytest.approx(bare, abs=1e-3)


def test_strong_loss_reaches_the_steady_end():
    plan = warm_tank(2, 15, 3, 600, loss_w_per_k=20)
    power_w = plan.heat_kj * 1000 / (600 * 60)
    assert plan.end_temp_c == pytest.approx(20 + power_w / 20, abs=0.05)


def test_a_tank_that_would_boil_stops_there():
    plan = warm_tank(2, 15, 30, 60)
    assert plan.end_temp_c == 100
    assert "boil" in plan.notes[0]
    assert plan.rise_c == 80


def test_the_doubt_of_the_heat_weighs_its_two_parts():
    """At a low voltage most of the heat is the reaction's, whose doubt is twice as large."""
    low, high = (warm_tank(2, volts, 3, 10) for volts in (0.1, 20))
    assert low.rise_c_sd / low.rise_c == pytest.approx(0.3, abs=0.02)
    assert high.rise_c_sd / high.rise_c == pytest.approx(0.15, abs=0.03)


@pytest.mark.parametrize(
    ("volume_l", "options", "words"),
    [(0.002, {}, "no tank is run so"), (2, {"start_temp_c": 500}, "temperature"), (2, {"loss_w_per_k": -3}, "room")],
)
def test_a_tank_that_cannot_be_is_refused(volume_l, options, words):
    with pytest.raises(RecordError, match=words):
        warm_tank(volume_l, 15, 3, 40, **options)


def test_impossible_tank_is_refused():
    with pytest.raises(RecordError, match="volume"):
        warm_tank(0, 15, 3, 40)

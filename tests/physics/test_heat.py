"""Heat of the tank against worked examples and the closed solution's limits."""

import pytest

from dyebook.errors import RecordError
from dyebook.physics.heat import run_heat_kj, tank_capacity_kj_per_k, warm_tank


def test_joule_heat_of_the_worked_example():
    """16 V, 15 A, 40 min: 576 kJ, 3.6 K in 40 L without cooling; reaction heat 10.4 kJ per A·h more."""
    joule, reaction = run_heat_kj(16, 15, 40)
    assert joule == pytest.approx(576)
    assert reaction == pytest.approx(104, abs=1)
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


def test_impossible_tank_is_refused():
    with pytest.raises(RecordError, match="volume"):
        warm_tank(0, 15, 3, 40)

"""The shop's own growth rate: a conjugate update against its closed form, and truths it must find."""

import numpy as np
import pytest

from dyebook.errors import RecordError
from dyebook.physics.film import plan_film
from dyebook.physics.growth import GaugedRun, learn_growth_rate, read_gauged_runs
from dyebook.physics.rates import FARADAY_BOUND, growth_rate


def _runs(factor, count, temp_c=20.0, alloy="6063", seed=1, scatter=0.03):
    rng = np.random.default_rng(seed)
    runs = []
    for _ in range(count):
        density, minutes = rng.uniform(1.2, 2), rng.uniform(20, 50)
        film = factor * float(growth_rate(density, temp_c, alloy=alloy).film_um(density, minutes))
        film = film * (1 + scatter * rng.standard_normal()) + 0.3 * rng.standard_normal()
        runs.append(GaugedRun(1.0, density, minutes, film, temp_c, alloy, 0.3))
    return runs


def test_without_readings_the_prior_comes_back():
    own = learn_growth_rate([], alloy="6061")
    prior = growth_rate(alloy="6061")
    assert own.um_per_a_min_dm2 == pytest.approx(prior.um_per_a_min_dm2, rel=0.01)
    assert own.film_sd_fraction == pytest.approx(prior.sd_fraction, abs=0.01)
    assert learn_growth_rate([], electrolyte_temp_c=20).film_sd_fraction == pytest.approx(0.12, abs=0.01)
    assert own.readings == 0


def test_readings_find_the_shop():
    own = learn_growth_rate(_runs(1.12, 20), alloy="6063", electrolyte_temp_c=20)
    assert own.factor == pytest.approx(1.12, abs=0.03)
    assert "your 20 gauge readings" in own.basis


def test_uncertainty_shrinks_but_keeps_the_run_scatter():
    widths = [
        learn_growth_rate(_runs(1.05, count), electrolyte_temp_c=20).film_sd_fraction for count in (0, 1, 4, 16, 64)
    ]
    assert np.all(np.diff(widths) < 0)
    assert widths[-1] > 0.015


def test_intervals_cover_the_next_film():
    """Seven in ten next films lie within one sd, by simulation with its own scatter."""
    inside = 0
    for seed in range(200):
        factor = 1 + 0.1 * np.random.default_rng(seed + 500).standard_normal()
        *taught, new = _runs(factor, 6, seed=seed, scatter=0.05)
        own = learn_growth_rate(taught, alloy="6063", electrolyte_temp_c=20, current_density_a_per_dm2=new.density)
        film = float(own.rate.film_um(new.density, new.minutes))
        inside += abs(film - new.film_measured_um) < film * own.film_sd_fraction
    assert 0.6 < inside / 200 < 0.85


def test_one_exact_reading_is_the_conjugate_mean():
    run = GaugedRun(1.0, 1.5, 40, 22.0, None, None, gauge_sd_um=0.5)
    expected = float(growth_rate(1.5).film_um(1.5, 40))
    own = learn_growth_rate([run])
    ratio = 22.0 / expected
    assert 1 < own.factor < ratio


def test_other_alloys_and_temperatures_count_for_less():
    near = learn_growth_rate(_runs(1.1, 5), alloy="6063", electrolyte_temp_c=20)
    warm = learn_growth_rate(_runs(1.1, 5, temp_c=26), alloy="6063", electrolyte_temp_c=20)
    other = learn_growth_rate(_runs(1.1, 5, alloy="2024"), alloy="6063", electrolyte_temp_c=20)
    assert near.factor > warm.factor > 1
    assert near.film_sd_fraction < other.film_sd_fraction


def test_film_above_faraday_is_refused():
    with pytest.raises(RecordError, match="unphysical"):
        learn_growth_rate([GaugedRun(1.0, 1.5, 20, 20.0)])


def test_the_rate_stays_below_the_bound():
    most = FARADAY_BOUND * 1.5 * 40 * 0.999
    own = learn_growth_rate([GaugedRun(1.0, 1.5, 40, most, gauge_sd_um=0.1)] * 10)
    assert own.um_per_a_min_dm2 < FARADAY_BOUND


def test_a_plan_takes_the_own_rate():
    own = learn_growth_rate(_runs(0.9, 10), alloy="6063", electrolyte_temp_c=20)
    plan = plan_film(1.5, 2.1, minutes=40, own_rate=own.rate)
    assert plan.film_um_sd / plan.film_um == pytest.approx(own.film_sd_fraction)
    assert "gauge readings" in plan.basis


def test_file_of_gauged_runs(tmp_path):
    file = tmp_path / "gauged.csv"
    file.write_text("area_dm2,current_a,minutes,film_measured_um,alloy\n1.5,2.1,40,17.2,6061\n", encoding="utf-8")
    (run,) = read_gauged_runs(file)
    assert run.alloy == "6061"
    assert run.charge == pytest.approx(56)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("area_dm2,current_a,minutes\n1,2,3\n", "film_measured_um"),
        ("area_dm2,current_a,minutes,film_measured_um\n1,2,x,4\n", "line 2"),
        ("area_dm2,current_a,minutes,film_measured_um\n1,2,,4\n", "line 2"),
    ],
)
def test_bad_files_are_refused(tmp_path, text, words):
    file = tmp_path / "gauged.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(RecordError, match=words):
        read_gauged_runs(file)
    with pytest.raises(RecordError, match="opened"):
        read_gauged_runs(tmp_path / "none.csv")


def test_a_run_far_from_its_charge_teaches_nothing():
    sound = [GaugedRun(2.0, 3.0, 30.0, 0.95 * 0.3277 * 45) for _ in range(6)]
    lost = GaugedRun(2.0, 3.0, 30.0, 4.0)
    with_it, without = learn_growth_rate([*sound, lost]), learn_growth_rate(sound)
    assert with_it.factor == without.factor
    assert "1 run is left out" in with_it.notes[0]


def test_rate_and_readings_are_held_to_one_yardstick():
    """A rate without a temperature is told for the temperature of the runs, not for the plain rule."""
    true_rate = 0.29
    runs = [GaugedRun(2.0, 3.0, 30.0, true_rate * 45, electrolyte_temp_c=20.0) for _ in range(12)]
    assert learn_growth_rate(runs).rate.film_um(1.5, 30.0) == pytest.approx(true_rate * 45, rel=0.02)

"""A bath along its own depth."""

import numpy as np
import pandas as pd
import pytest

from dyebook import learn_bath
from dyebook.advice.suggest import run_through_depth
from dyebook.errors import ModelError
from dyebook.model.inputs import Settings

SETTINGS = {"film_um": 12.0, "dye_g_per_l": 3.0, "bath_temp_c": 40.0, "dwell_min": 5.0, "ph": 5.5}


@pytest.fixture(scope="module")
def bath():
    """Five dips of an invented blue, deeper with time."""
    dwell = np.array([1.0, 2.0, 4.0, 8.0, 15.0])
    depth = np.sqrt(dwell / 15)
    frame = pd.DataFrame(SETTINGS, index=range(5))
    return learn_bath(frame.assign(dwell_min=dwell, L=85 - 55 * depth, a=-5 + 18 * depth, b=-8 - 40 * depth))


def test_longer_dips_are_darker(bath):
    run = run_through_depth(bath, SETTINGS, (60, 3, -27))
    assert np.all(np.diff(run.dwell_min) > 0)
    assert np.all(np.diff(run.lab[:, 0]) < 0)
    assert np.all(run.lightness_low <= run.lightness_high)


def test_a_shade_of_the_bath_is_pinned_at_its_own_dwell(bath):
    expected = bath.predict(pd.DataFrame([SETTINGS]))[["L", "a", "b"]].to_numpy()[0]
    run = run_through_depth(bath, SETTINGS, expected)
    # steps of the ribbon are a factor of 1.22 apart
    assert run.dwell_min[run.nearest] == pytest.approx(SETTINGS["dwell_min"], rel=0.23)
    assert run.dip_alike.all()


def test_dips_at_other_settings_are_told_apart(bath):
    assert not run_through_depth(bath, {**SETTINGS, "bath_temp_c": 60.0}, (60, 3, -27)).dip_alike.any()


def test_a_missing_setting_is_named(bath):
    with pytest.raises(ModelError, match="ph"):
        run_through_depth(bath, {name: value for name, value in SETTINGS.items() if name != "ph"}, (60, 3, -27))


def test_the_course_goes_from_a_quarter_of_a_minute_to_half_an_hour(bath):
    run = run_through_depth(bath, SETTINGS, (60, 3, -27))
    assert len(run.dwell_min) == 25
    assert run.dwell_min[[0, -1]] == pytest.approx((0.25, 30))
    assert np.diff(np.log(run.dwell_min)) == pytest.approx(np.log(120) / 24)
    assert run.nearest == np.argmin(run.delta_e00)
    assert run.settings == SETTINGS


def test_eight_of_ten_lightnesses_lie_between_the_bounds(bath):
    """Against the draws themselves, and never the whole of them."""
    run = run_through_depth(bath, SETTINGS, (60, 3, -27), count=2)
    dip = {name: np.full(2, value) for name, value in {**SETTINGS, "dwell_min": 0.0}.items()}
    draws = bath.colour_draws(Settings(**{**dip, "dwell_min": run.dwell_min}))[..., 0]
    inside = ((draws >= run.lightness_low) & (draws <= run.lightness_high)).mean(axis=0)
    assert inside == pytest.approx(0.8, abs=0.02)
    assert np.mean(draws < run.lightness_low, axis=0) == pytest.approx(0.1, abs=0.02)


@pytest.mark.parametrize(("warmer", "alike"), [(0.0, True), (6.0, True), (-6.0, True), (8.5, False), (-8.5, False)])
def test_a_dip_within_some_degrees_belongs_to_the_course(bath, warmer, alike):
    """Six tenths of 12 °C, which is a large ordinary change; judgement, no source. The dwell has no say."""
    run = run_through_depth(bath, {**SETTINGS, "bath_temp_c": 40 + warmer, "dwell_min": 0.3}, (60, 3, -27), count=2)
    assert run.dip_alike.all() == run.dip_alike.any() == alike

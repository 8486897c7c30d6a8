"""A bath along its own depth."""

import numpy as np
import pandas as pd
import pytest

from dyebook import learn_bath
from dyebook.advice.suggest import run_through_depth
from dyebook.errors import ModelError

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

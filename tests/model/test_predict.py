"""A learned bath against simulated truth, and what must hold whatever the records are."""

import numpy as np
import pandas as pd
import pytest

from dyebook.errors import ModelError
from dyebook.lab import delta_e_00
from dyebook.model.predict import learn_model

LAB = ["L", "a", "b"]


@pytest.fixture(scope="module")
def records(bath):
    return bath.records(12, np.random.default_rng(2))


@pytest.fixture(scope="module")
def model(records):
    return learn_model(records)


def test_predicts_dips_it_has_not_seen(model, bath):
    """1.0: a tight decorative tolerance; the readings themselves scatter by 0.5 per axis."""
    fresh = bath.records(40, np.random.default_rng(9))
    miss = delta_e_00(bath.truth(fresh), model.predict(fresh)[LAB].to_numpy())
    assert np.median(miss) < 1.0


def test_uncertainty_grows_away_from_the_records(model):
    dips = pd.DataFrame({"film_um": 12, "dye_g_per_l": 2, "bath_temp_c": [0, 1], "dwell_min": 4, "ph": 5.5})
    usual = float(np.median(model.training.settings.bath_temp_c))
    near, far = model.predict(dips.assign(bath_temp_c=[usual, 20.0]))["L_sd"]
    assert far > near


def test_longer_stronger_hotter_is_darker(model):
    base = {"film_um": 12.0, "dye_g_per_l": 2.0, "bath_temp_c": 45.0, "dwell_min": 4.0, "ph": 5.5}
    for name, values in [
        ("dwell_min", [1, 2, 4, 8, 16]),
        ("dye_g_per_l", [0.7, 1.5, 3, 6]),
        ("bath_temp_c", [30, 40, 50]),
    ]:
        dips = pd.DataFrame([{**base, name: value} for value in values])
        assert np.all(np.diff(model.predict(dips)["L"]) < 0), name


def test_order_of_records_does_not_matter(model, records, bath):
    again = learn_model(records.sample(frac=1, random_state=1))
    dips = bath.records(20, np.random.default_rng(3))
    difference = delta_e_00(model.predict(dips)[LAB].to_numpy(), again.predict(dips)[LAB].to_numpy())
    assert difference.max() < 0.1


def test_same_records_same_answer(model, records):
    assert learn_model(records).predict(records).equals(model.predict(records))


def test_one_spoiled_batch_in_twelve_does_little(records, bath):
    spoiled = records.copy()
    spoiled.loc[3, LAB] += [15.0, -12.0, 10.0]
    dips = bath.records(40, np.random.default_rng(9))
    miss = delta_e_00(bath.truth(dips), learn_model(spoiled).predict(dips)[LAB].to_numpy())
    assert np.median(miss) < 1.5


def test_two_records_are_enough_to_say_something(bath):
    records = bath.records(2, np.random.default_rng(5))
    table = learn_model(records).predict(records)
    assert np.isfinite(table.to_numpy()).all()
    assert table[["L_sd", "a_sd", "b_sd"]].to_numpy().min() > 0


def test_a_thousand_records(bath):
    records = bath.records(1000, np.random.default_rng(5))
    dips = bath.records(40, np.random.default_rng(9))
    miss = delta_e_00(bath.truth(dips), learn_model(records).predict(dips)[LAB].to_numpy())
    assert np.median(miss) < 0.4


@pytest.mark.parametrize("settings", [{"dwell_min": 4}, pd.Series({"dwell_min": 4.0}), [4]])
def test_settings_that_are_no_table_are_refused_in_words(model, settings):
    with pytest.raises(ModelError, match="DataFrame"):
        model.predict(settings)


def test_no_dips_to_predict_give_an_empty_table(model, records):
    answer = model.predict(records.head(0))
    assert list(answer.columns) == [*LAB, "L_sd", "a_sd", "b_sd"]
    assert len(answer) == 0


def test_a_gauge_stands_before_the_plan_as_it_does_in_learning(model, records):
    plain = records.head(3).drop(columns=["film_measured_um"], errors="ignore")
    gauged = plain.assign(film_measured_um=[plain["film_um"].iloc[0] / 2, float("nan"), float("nan")])
    truly = plain.assign(film_um=[plain["film_um"].iloc[0] / 2, *plain["film_um"].iloc[1:]])
    assert model.predict(gauged).equals(model.predict(truly))
    assert not model.predict(gauged).equals(model.predict(plain))

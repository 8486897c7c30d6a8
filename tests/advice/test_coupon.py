"""The coupon that teaches most, against the doubt it leaves when it is really dipped."""

import numpy as np
import pandas as pd
import pytest

from dyebook import learn_bath
from dyebook.advice.coupon import plan_coupon, starting_plan
from dyebook.errors import ModelError

LAB = ["L", "a", "b"]


def test_a_coupon_lowers_the_doubt(bath):
    rng = np.random.default_rng(2)
    records, target = bath.records(3, rng), bath.target(rng)
    model = learn_bath(records)
    coupon = plan_coupon(model, target, film_um=12)
    assert coupon.doubt_after < coupon.doubt_before
    aim = pd.DataFrame([model.suggest(target, film_um=12)[0].settings])
    dip = pd.DataFrame([coupon.settings]).assign(ph=5.5)
    taught = learn_bath(pd.concat([records, bath.noted(dip, rng)], ignore_index=True))
    doubts = [np.linalg.norm(m.predict(aim)[["L_sd", "a_sd", "b_sd"]]) for m in (model, taught)]
    assert doubts[1] < doubts[0]


def test_nothing_free_nothing_to_plan(bath):
    model = learn_bath(bath.records(4, np.random.default_rng(2)))
    fixed = {"film_um": 12, "dye_g_per_l": 2, "bath_temp_c": 40, "dwell_min": 5}
    with pytest.raises(ModelError, match="leave one free"):
        plan_coupon(model, (60, 10, 10), fixed=fixed)


def test_starting_plan_is_enough_to_learn_from(bath):
    dips = pd.DataFrame([coupon.settings for coupon in starting_plan(12.0, 2.0)]).assign(ph=5.5)
    learn_bath(bath.noted(dips, np.random.default_rng(1)))
    assert len({tuple(row) for row in dips.to_numpy()}) == 3


def test_starting_plan_stays_at_a_kept_temperature():
    plan = starting_plan(12.0, 2.0, bath_temp_c=45)
    assert {coupon.settings["bath_temp_c"] for coupon in plan} == {45}
    assert len({coupon.settings["dye_g_per_l"] for coupon in plan}) == 2
    with pytest.raises(ModelError, match="above 0"):
        starting_plan(0.0, 2.0)

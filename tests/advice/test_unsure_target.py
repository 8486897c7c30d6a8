"""How sure a target is read counts in what a further dip, a mix or a coupon promises."""

import numpy as np
import pandas as pd
import pytest

from dyebook import delta_e_00, learn_bath
from dyebook.advice.coupon import plan_coupon
from dyebook.advice.judge import Shade
from dyebook.advice.mix import suggest_mix
from dyebook.advice.redip import advise_redip

DIP = {"film_um": 12.0, "dye_g_per_l": 2.0, "bath_temp_c": 40.0, "dwell_min": 2.0, "ph": 5.5}
DOUBT = 3.0


@pytest.fixture(scope="module")
def model(bath):
    return learn_bath(bath.records(12, np.random.default_rng(2)))


@pytest.fixture(scope="module")
def target(bath):
    return bath.truth(pd.DataFrame([{**DIP, "dwell_min": 8.0}]))[0]


def unsure(lab, doubt=DOUBT):
    return Shade(tuple(lab), {"own": np.eye(3) * doubt**2})


def test_a_further_dip_promises_no_more_than_part_and_target_are_known(model, bath, target):
    part, state = bath.truth(pd.DataFrame([DIP]))[0], {"dry": False, "sealed": False}
    sure = advise_redip(model, DIP, part, target, **state)
    read = advise_redip(model, DIP, part, unsure(target), **state)
    assert read.extra_dwell_min == pytest.approx(sure.extra_dwell_min)
    # nine in ten of the differences that such a doubt alone makes at the target; the bath's own comes on top
    rng = np.random.default_rng(7)
    alone = np.quantile(delta_e_00(target, target + DOUBT * rng.standard_normal((4000, 3))), 0.9)
    assert 0.9 * alone < read.delta_e00_p90 < alone + sure.delta_e00_p90


def test_what_part_and_target_share_does_not_widen_it(model, bath, target):
    part, state = bath.truth(pd.DataFrame([DIP]))[0], {"dry": False, "sealed": False}
    shared = {"parts": {"photo": np.eye(3) * DOUBT**2}, "photo": "one", "setup": "bench"}
    sure = advise_redip(model, DIP, part, target, **state)
    beside = advise_redip(model, DIP, Shade(tuple(part), **shared), Shade(tuple(target), **shared), **state)
    assert beside.delta_e00_p90 == pytest.approx(sure.delta_e00_p90, abs=0.3)


def test_a_mix_and_a_coupon_take_a_target_as_it_was_read(model, baths, target):
    models = {"straw": model, "sky": learn_bath(baths.TUNING[0].bath(22).records(12, np.random.default_rng(1)))}
    sure, read = (suggest_mix(models, one, film_um=12) for one in (target, unsure(target)))
    assert read.settings == sure.settings
    assert read.delta_e00_p90 > sure.delta_e00_p90 + 1
    coupon = plan_coupon(model, unsure(target), film_um=12)
    assert coupon.doubt_after < coupon.doubt_before

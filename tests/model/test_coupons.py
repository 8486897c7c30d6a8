"""Stepped coupons: six bands of one strip teach the shape of a curve, and count as one dip for its height."""

import numpy as np
import pandas as pd
import pytest

from dyebook.lab import delta_e_00
from dyebook.model.inputs import coupon_groups, read_records
from dyebook.model.predict import learn_model

LAB = ["L", "a", "b"]
DWELLS = (12.0, 8.0, 5.0, 3.0, 1.5, 0.75)


def strip(bath, rng, film_error=0.1, name="S1"):
    """What the notebook says of one strip: film, temperature and pH are wrong once, for all of its bands."""
    meant = pd.DataFrame({"film_um": 12.0, "dye_g_per_l": 2.0, "bath_temp_c": 42.0, "dwell_min": DWELLS, "ph": 5.5})
    true = meant.assign(
        film_um=12.0 * np.exp(rng.normal(0, film_error)),
        bath_temp_c=42.0 + rng.normal(0, 0.7),
        ph=5.5 + rng.normal(0, 0.1),
    )
    lab = bath.truth(true) + rng.normal(0, 0.4, (len(DWELLS), 3))
    return meant.assign(L=lab[:, 0], a=lab[:, 1], b=lab[:, 2], coupon=name, film_sd_um=12.0 * film_error)


@pytest.fixture(scope="module")
def records(bath):
    return strip(bath, np.random.default_rng(4))


def test_rows_of_one_strip_belong_together():
    frame = pd.DataFrame({"coupon": ["a", None, "b", "a", np.nan, "", " a "]})
    assert [list(rows) for rows in coupon_groups(frame)] == [[0, 3, 6]], "a strip of one band is a dip of its own"
    assert coupon_groups(frame.drop(columns="coupon")) == []


def test_without_the_column_nothing_changes(bath):
    dips = bath.records(8, np.random.default_rng(1))
    asked = bath.records(5, np.random.default_rng(2))
    plain = learn_model(dips).predict(asked)
    for coupon in (None, np.nan, [f"strip {n}" for n in range(8)]):
        assert learn_model(dips.assign(coupon=coupon)).predict(asked).equals(plain)


def test_what_bands_share_is_taken_from_each_and_given_to_all(records):
    alone, together = read_records(records.drop(columns="coupon")), read_records(records)
    shared = together.settings.around
    assert shared.shape == (len(DWELLS), 2)
    assert together.sd["film_um"] == pytest.approx(0)
    assert together.sd["dwell_min"] == pytest.approx(alone.sd["dwell_min"]), "each band has its own time"
    assert np.all(np.abs(shared[:, 0]) < 1.3 * alone.relative_sd[:, 0]), "load hardly moves faster than the film"
    assert np.all(np.diff(shared[:, 0]) < 0), "a thicker film counts more the nearer it is to full"


def test_many_strips_are_weighted_down_instead(bath):
    rng = np.random.default_rng(3)
    many = pd.concat([strip(bath, rng, name=f"S{n}") for n in range(70)], ignore_index=True)
    training = read_records(many)
    assert training.settings.around.shape == (420, 120)
    assert training.sd["bath_temp_c"][0] == pytest.approx(0.7 * np.sqrt(6)), "the oldest ten"
    assert training.sd["bath_temp_c"][-1] == 0


def test_six_bands_are_not_six_dips(bath):
    """With a film wrong by 10 %, the mean of a strip's depth is off; the doubt must know that.

    Misses along the depth, in units of the stated standard deviation: their root mean square is 1 for an honest model.
    """
    asked = pd.DataFrame({"film_um": 12.0, "dye_g_per_l": 2.0, "bath_temp_c": 42.0, "dwell_min": [2.0, 6.0], "ph": 5.5})
    truth = bath.truth(asked)[:, 0]
    scaled = {"together": [], "as six": []}
    for seed in range(8):
        records = strip(bath, np.random.default_rng([seed, 5]))
        for name, table in (("together", records), ("as six", records.drop(columns="coupon"))):
            answer = learn_model(table).predict(asked)
            scaled[name].append((answer["L"].to_numpy() - truth) / answer["L_sd"].to_numpy())
    honest, bold = (float(np.sqrt(np.mean(np.square(misses)))) for misses in scaled.values())
    assert honest < 1.3
    assert bold > 1.3 * honest


def test_a_strip_still_teaches(bath, records):
    """The shape of the curve comes through: shades between the bands, in spite of one wrong film, to about 1."""
    asked = pd.DataFrame(
        {"film_um": 12.0, "dye_g_per_l": 2.0, "bath_temp_c": 42.0, "dwell_min": [1, 2, 4, 6, 10], "ph": 5.5}
    )
    exact = strip(bath, np.random.default_rng(6), film_error=0.001)
    miss = delta_e_00(bath.truth(asked), learn_model(exact).predict(asked)[LAB].to_numpy())
    assert np.median(miss) < 1.0

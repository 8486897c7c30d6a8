"""Alloys, seals and days: what differs from dip to dip is learned where records have it, and ignored where not."""

import numpy as np
import pandas as pd
import pytest

from dyebook.advice.learn import learn_bath
from dyebook.lab import delta_e_00
from dyebook.model.inputs import Circumstances
from dyebook.model.predict import learn_model

LAB = ["L", "a", "b"]


@pytest.fixture(scope="module")
def dips(bath):
    return bath.records(24, np.random.default_rng(8))


def read_as_if(bath, dips, changed):
    """The dips with colours as if they had been made with `changed` settings."""
    lab = bath.truth(changed) + np.random.default_rng(1).normal(0, 0.3, (len(dips), 3))
    return dips.assign(L=lab[:, 0], a=lab[:, 1], b=lab[:, 2])


def test_what_does_not_vary_costs_nothing(dips):
    around, hue = Circumstances.learn(dips.assign(alloy="6061", sealed=False)).encode(dips)
    assert around.shape == (24, 0)
    assert hue.shape == (24, 0)


def test_an_alloy_that_takes_less_dye(bath, dips):
    """Every third dip is of an alloy that colours as if it had been in the dye for 60 % of the time."""
    alloy = np.where(np.arange(24) % 3 == 0, "5052", "6061")
    shorter = dips.assign(dwell_min=dips["dwell_min"] * np.where(alloy == "5052", 0.6, 1))
    model = learn_model(read_as_if(bath, dips, shorter).assign(alloy=alloy))
    fresh = bath.records(30, np.random.default_rng(9))
    truth = bath.truth(fresh.assign(dwell_min=fresh["dwell_min"] * 0.6))
    answer = delta_e_00(truth, model.predict(fresh.assign(alloy="5052"))[LAB].to_numpy())
    untold = delta_e_00(truth, model.predict(fresh)[LAB].to_numpy())
    assert np.median(answer) < 0.6
    assert np.median(answer) < 0.4 * np.median(untold)


def test_a_seal_that_bleeds(bath, dips):
    sealed = np.arange(24) % 2 == 0
    paler = dips.assign(dwell_min=dips["dwell_min"] * np.where(sealed, 0.75, 1))
    records = read_as_if(bath, dips, paler).assign(sealed=sealed)
    records.loc[sealed, "b"] += 1.5
    model = learn_model(records)
    fresh = bath.records(20, np.random.default_rng(9))
    before, after = (model.predict(fresh.assign(sealed=state))[LAB].to_numpy() for state in (False, True))
    bled = bath.truth(fresh.assign(dwell_min=fresh["dwell_min"] * 0.75)) + np.array([0, 0, 1.5])
    assert np.median(delta_e_00(bath.truth(fresh), before)) < 0.5
    assert np.median(delta_e_00(bled, after)) < 0.5
    assert np.median(delta_e_00(bled, after)) < 0.5 * np.median(delta_e_00(bled, before))


def test_a_bath_that_weakens(bath, dips):
    """A bath that has lost a third of its dye in 90 days is predicted as it is today."""
    age = np.linspace(0, 90, 24)
    weaker = dips.assign(dye_g_per_l=dips["dye_g_per_l"] * np.exp(-0.4 * age / 90))
    dates = (pd.Timestamp("2026-01-01") + pd.to_timedelta(age, unit="D")).strftime("%Y-%m-%dT%H:%M")
    records = read_as_if(bath, dips, weaker)
    fresh = bath.records(30, np.random.default_rng(9))
    truth = bath.truth(fresh.assign(dye_g_per_l=fresh["dye_g_per_l"] * np.exp(-0.4)))
    dated = delta_e_00(truth, learn_model(records.assign(dyed_at=dates)).predict(fresh)[LAB].to_numpy())
    undated = delta_e_00(truth, learn_model(records).predict(fresh)[LAB].to_numpy())
    assert np.median(dated) < np.median(undated)


def test_unknown_words_and_states_are_as_usual(dips):
    known = Circumstances.learn(dips.assign(alloy=["6061", "5052"] * 12, sealed=[True, False] * 12))
    blank = known.encode(dips.assign(alloy=None, sealed=None))
    bare = known.encode(dips)
    assert blank[0] == pytest.approx(bare[0])
    assert blank[1] == pytest.approx(bare[1])


def test_doubt_grows_after_the_latest_dip(dips):
    """A random walk of 0.015 a root day: 100 days after the latest dip log load is unsure by 0.15 more."""
    dates = pd.date_range("2026-01-01", periods=24, freq="2D").strftime("%Y-%m-%d")
    model = learn_model(dips.assign(dyed_at=dates))
    asked = dips.iloc[[0]]
    undated, soon, late = (
        model.predict(asked if day is None else asked.assign(dyed_at=day)) for day in (None, "2026-02-16", "2026-05-27")
    )
    assert undated[LAB].to_numpy() == pytest.approx(soon[LAB].to_numpy(), abs=0.05), "no date means the latest"
    assert late[LAB].to_numpy() == pytest.approx(soon[LAB].to_numpy(), abs=0.05), "nothing says which way it went"
    assert late["L_sd"].iloc[0] > 1.5 * soon["L_sd"].iloc[0]
    assert model.as_of("2026-05-27").predict(asked)["L_sd"].iloc[0] == pytest.approx(late["L_sd"].iloc[0])


def test_doubt_grows_after_a_single_day_of_dips(dips):
    model = learn_model(dips.assign(dyed_at="2026-01-01"))
    asked = dips.iloc[[0]]
    early, late = (model.predict(asked.assign(dyed_at=day))["L_sd"].iloc[0] for day in ("2026-01-01", "2026-06-01"))
    assert late > 1.5 * early


def test_a_suggestion_says_less_the_longer_nobody_dipped(dips, bath):
    model = learn_bath(dips.assign(dyed_at="2026-01-01"))
    target = bath.target(np.random.default_rng(7))
    today, later = (one.suggest(target, film_um=12)[0] for one in (model, model.as_of("2026-09-01")))
    assert later.delta_e00_p90 > today.delta_e00_p90


@pytest.mark.parametrize("kind", ["object", "boolean"])
def test_a_state_that_some_rows_do_not_tell_may_be_empty_in_any_way(dips, kind):
    answer = [True, False, None] * 8
    states = pd.array(answer, dtype="boolean") if kind == "boolean" else answer
    around, hue = Circumstances.learn(dips.assign(sealed=states)).encode(dips.assign(sealed=states))
    known, _ = Circumstances.learn(dips.assign(sealed=answer)).encode(dips.assign(sealed=[True, False, False] * 8))
    assert np.isfinite(hue).all()
    # as many read sealed as not: what nobody told counts as the unsealed, the usual state
    assert around == pytest.approx(known)

"""The bath that comes next for a part its own bath does not bring home, against films whose absorbances really add."""

import numpy as np
import pandas as pd
import pytest

from dyebook import delta_e_00, learn_bath
from dyebook.advice.redip import advise_next

DIP = {"film_um": 12.0, "dye_g_per_l": 2.0, "bath_temp_c": 45.0, "dwell_min": 3.0, "ph": 5.5}
OPEN = {"dry": False, "sealed": False}


@pytest.fixture(scope="module")
def pair(baths):
    """Two baths on the same metal."""
    one, two = baths.TUNING[0].bath(3), baths.TUNING[0].bath(22)
    two.surface = one.surface
    return {"straw": one, "sky": two}


@pytest.fixture(scope="module")
def models(pair):
    rng = np.random.default_rng(0)
    return {name: learn_bath(bath.records(20, rng)) for name, bath in pair.items()}


def truth(pair, first=3.0, second=0.0, at=None):
    """True colour after so many minutes in the first bath, and so many in the second `at` settings of its own."""
    from tests.bench import baths

    dips = pd.DataFrame([{**DIP, "dwell_min": first}, {**(at or DIP), "dwell_min": max(second, 1e-6)}])
    absorbance = 0.0
    for bath, (_, dip) in zip(pair.values(), dips.iterrows(), strict=True):
        figures = [np.array([dip[name]]) for name in ("film_um", "dye_g_per_l", "bath_temp_c", "dwell_min")]
        for spectrum, laws, strength in bath.dyes:
            load = strength * baths.UPTAKES[bath.world.uptake](*figures, laws)
            load = load * np.exp(-0.5 * ((dip["ph"] - laws["ph"]) / laws["ph_width"]) ** 2)
            absorbance = absorbance + load[:, None] * spectrum
    return baths.to_lab(pair["straw"].surface.reflect(absorbance))[0]


def test_another_hue_comes_from_another_bath(models, pair):
    """2.5: the mix itself is predicted to 2.0, see the tests of mixes."""
    target, part = truth(pair, 3.0, 2.0), truth(pair, 3.0)
    advice = advise_next(models, "straw", DIP, part, target, **OPEN, fixed={"sky": {"dye_g_per_l": 2.0}})
    assert advice.action == "next_bath"
    assert advice.bath == "sky"
    assert advice.settings["dye_g_per_l"] == 2.0
    assert advice.settings["film_um"] == pytest.approx(12.0)
    reached = truth(pair, 3.0, advice.settings["dwell_min"], advice.settings)
    assert delta_e_00(target, reached) < 2.5
    assert delta_e_00(target, reached) < 0.6 * delta_e_00(target, part)
    assert advice.to_dict()["next_bath"] == "sky"
    # what is said of it: as far as the bath is unsure, and no nearer than it comes
    assert delta_e_00(advice.lab, reached) < 2.5
    assert delta_e_00(target, advice.lab) < advice.delta_e00 < advice.delta_e00_p90 < advice.delta_e00_now
    assert "rinse it well" in advice.caution


def test_dyes_that_compete_leave_another_bath_less_sure(models, pair, monkeypatch):
    """A limit: where a second dye takes what the first left, the doubt is that of the second bath alone."""
    spread = []
    for competition in (0.0, 0.2, 0.4):
        monkeypatch.setattr("dyebook.advice.redip.COMPETITION_SD", competition)
        advice = advise_next(models, "straw", DIP, truth(pair, 3.0), truth(pair, 3.0, 2.0), **OPEN)
        spread.append(advice.delta_e00_p90)
    assert spread == sorted(spread)
    assert spread[0] < 2.5 < spread[2]  # the mix itself is predicted to 2.0, see the tests of mixes


@pytest.mark.parametrize("harder", [{"WORTH_IT": 0.999}, {"_BETTER_BY": 100.0}])
def test_another_bath_must_be_worth_its_trouble(models, pair, monkeypatch, harder):
    (name, value) = next(iter(harder.items()))
    monkeypatch.setattr(f"dyebook.advice.redip.{name}", value)
    advice = advise_next(models, "straw", DIP, truth(pair, 3.0), truth(pair, 3.0, 2.0), **OPEN)
    assert (advice.action, advice.bath) == ("strip", "")


def test_more_time_in_the_same_bath_comes_first(models, pair):
    advice = advise_next(models, "straw", DIP, truth(pair, 3.0), truth(pair, 9.0), **OPEN)
    assert advice.action == "more_time"
    assert advice.to_dict()["next_bath"] is None


def test_no_bath_makes_a_part_lighter(models, pair):
    advice = advise_next(models, "straw", DIP, truth(pair, 9.0), truth(pair, 1.0), **OPEN)
    assert advice.action == "strip"


@pytest.mark.parametrize("state", [{"dry": True, "sealed": False}, {"dry": False, "sealed": True}])
def test_a_closed_film_goes_nowhere(models, pair, state):
    assert advise_next(models, "straw", DIP, truth(pair, 3.0), truth(pair, 3.0, 2.0), **state).action == "strip"


def test_the_state_of_the_surface_is_asked_before_another_bath(models, pair):
    advice = advise_next(models, "straw", DIP, truth(pair, 3.0), truth(pair, 3.0, 2.0))
    assert (advice.action, advice.why.code, advice.settings) == ("ask", "shade.ask_before_next", {})
    assert "sky next may help" in advice.why
    assert advice.bath == ""


def test_one_bath_alone_is_asked_as_ever(models, pair):
    target, part = truth(pair, 9.0), truth(pair, 3.0)
    alone = advise_next({"straw": models["straw"]}, "straw", DIP, part, target, **OPEN)
    assert alone == models["straw"].redip(DIP, part, target, **OPEN)

"""A part that is off: the way ahead on the bath's own curve, and what dyeing cannot do."""

import numpy as np
import pandas as pd
import pytest

from dyebook import delta_e_00, learn_bath
from dyebook.advice.redip import Redip, advise_redip
from dyebook.errors import ModelError
from dyebook.lab import Lab
from dyebook.record import Reading

DIP = {"film_um": 12.0, "dye_g_per_l": 2.0, "bath_temp_c": 40.0, "dwell_min": 2.0, "ph": 5.5}


@pytest.fixture(scope="module")
def model(bath):
    return learn_bath(bath.records(12, np.random.default_rng(2)))


def colour(bath, **changed):
    return bath.truth(pd.DataFrame([{**DIP, **changed}]))[0]


def test_too_pale_gets_the_time_that_is_missing(model, bath):
    target, part = colour(bath, dwell_min=8), colour(bath)
    advice = advise_redip(model, DIP, part, target, dry=False, sealed=False)
    assert advice.action == "more_time"
    reached = colour(bath, dwell_min=2 + advice.extra_dwell_min)
    assert delta_e_00(target, reached) < 1.0
    # 8 minutes less 2 are missing; a saturated film would take any longer time as well
    assert advice.extra_dwell_min == pytest.approx(6, rel=0.25)
    assert f"{int(advice.extra_dwell_min)}:" in advice.why
    assert advice.delta_e00 < advice.delta_e00_now


def test_too_dark_is_not_dyed_lighter(model, bath):
    advice = advise_redip(model, DIP, colour(bath, dwell_min=12), colour(bath, dwell_min=1), dry=False, sealed=False)
    assert advice.action == "strip"
    assert "no further dyeing lightens" in advice.why
    assert "hydrogen" in advice.caution
    assert "licensed" in advice.caution


def test_a_sealed_film_takes_no_dye(model, bath):
    state = {"dry": False, "sealed": True}
    assert advise_redip(model, DIP, colour(bath), colour(bath, dwell_min=8), **state).action == "strip"


def test_a_film_that_only_dried_is_tried_before_it_is_stripped(model, bath):
    """Kuroda and Uji (1967): affinity for dye falls in water, and is kept for long where the film is dry."""
    advice = advise_redip(model, DIP, colour(bath), colour(bath, dwell_min=8), dry=True, sealed=False)
    assert advice.action == "more_time"
    assert "dip one minute and look" in advice.caution


def test_the_state_of_the_surface_is_asked_for(model, bath):
    assert advise_redip(model, DIP, colour(bath), colour(bath, dwell_min=8)).action == "ask"


def test_close_enough_is_accepted(model, bath):
    assert (
        advise_redip(model, DIP, colour(bath), colour(bath, dwell_min=2.05), dry=False, sealed=False).action == "accept"
    )


def test_settings_are_needed(model):
    with pytest.raises(ModelError, match="dwell_min"):
        advise_redip(model, {"bath_temp_c": 40}, (50, 0, 0), (40, 0, 0))


def test_what_cannot_be_told_from_a_match_is_looked_at_first(model, bath):
    unsure = Reading(lab=Lab(*colour(bath)), lab_sd=(1, 1, 1), lab_u=(3.0, 3.0, 3.0))
    advice = advise_redip(model, DIP, unsure, colour(bath, dwell_min=2.05), dry=False, sealed=False)
    assert (advice.action, advice.why.code) == ("ask", "shade.look_first")


def test_advice_as_plain_values_says_what_it_holds():
    held = Redip(
        "next_bath", 1.236, Lab(40.126, 2.0, -3.0), 1.126, 2.126, 9.126, "why", "care", "Ember", {"ph": 5.1236}
    )
    assert held.to_dict() == {
        "action": "next_bath",
        "extra_dwell_min": 1.24,
        "lab": [40.13, 2.0, -3.0],
        "delta_e00": 1.13,
        "delta_e00_p90": 2.13,
        "delta_e00_now": 9.13,
        "why": "why",
        "caution": "care",
        "next_bath": "Ember",
        "next_settings": {"ph": 5.124},
    }


def predicted(model, **changed):
    return model.predict(pd.DataFrame([{**DIP, **changed}]))[["L", "a", "b"]].to_numpy()[0]


@pytest.mark.parametrize(("beside", "action"), [(0.0, "more_time"), (6.0, "more_time"), (12.0, "strip")])
def test_a_further_dip_must_take_off_a_third_of_the_miss(model, beside, action):
    """Common practice, no source. A shade beside the bath's course, greener by so much, is never reached."""
    part, target = predicted(model), predicted(model, dwell_min=8.0) - [0, beside, 0]
    open_film = {"dry": False, "sealed": False}
    best = min(delta_e_00(target, predicted(model, dwell_min=minutes)) for minutes in np.geomspace(2, 20, 40))
    left = best / delta_e_00(target, part)
    assert left < 0.6 if action == "more_time" else left > 0.72
    assert advise_redip(model, DIP, part, target, **open_film).action == action


def test_no_more_than_twenty_minutes_are_advised_at_once(model):
    """The range of dwells that baths are learned over; longer ones are guesses."""
    advice = advise_redip(model, DIP, predicted(model), predicted(model, dwell_min=40.0), dry=False, sealed=False)
    assert advice.action == "more_time"
    assert advice.extra_dwell_min == pytest.approx(20.0)

"""Mixes and over-dips against a film whose absorbances really add."""

import numpy as np
import pandas as pd
import pytest

from dyebook import delta_e_00, learn_bath
from dyebook.advice.mix import mix_colours, suggest_mix
from dyebook.errors import ModelError
from dyebook.model.inputs import Settings
from dyebook.report.shade import worth_trying

DIP = {"film_um": 12.0, "dye_g_per_l": 2.0, "bath_temp_c": 45.0, "dwell_min": 4.0, "ph": 5.5}


@pytest.fixture(scope="module")
def pair(baths):
    """Two baths on the same metal, and the same metal dipped in one after the other."""
    one, two = baths.TUNING[0].bath(3), baths.TUNING[0].bath(22)
    two.surface = one.surface
    both = baths.TUNING[0].bath(3)
    both.dyes = one.dyes + two.dyes
    return one, two, both


@pytest.fixture(scope="module")
def models(pair):
    rng = np.random.default_rng(0)
    return {name: learn_bath(bath.records(20, rng)) for name, bath in zip(("straw", "sky"), pair, strict=False)}


def test_colours_of_a_mix_are_those_of_added_absorbances(models, pair):
    """2.0: the spectra are known only from colours, so a mix is less sure than a single bath."""
    dips = pd.DataFrame([DIP, {**DIP, "dwell_min": 8.0}, {**DIP, "bath_temp_c": 50.0}])
    settings = Settings(*(dips[name].to_numpy() for name in DIP))
    found = mix_colours(models["straw"], settings, models["sky"], settings)
    assert np.median(delta_e_00(pair[2].truth(dips), found)) < 2.0


def test_a_mix_reaches_what_neither_bath_does(models, pair):
    target = pair[2].truth(pd.DataFrame([DIP]))[0]
    mixed = suggest_mix(models, target, film_um=12)
    alone = min(model.suggest(target, film_um=12)[0].delta_e00 for model in models.values())
    assert mixed.reachable
    assert mixed.delta_e00 < alone
    assert mixed.settings[0]["bath_temp_c"] == mixed.settings[1]["bath_temp_c"]
    assert "coupon" in mixed.why


def test_one_after_the_other_has_two_dips(models, pair):
    target = pair[2].truth(pd.DataFrame([DIP]))[0]
    after = suggest_mix(models, target, film_um=12, kind="after")
    assert after.dyes == ("straw", "sky")
    assert after.reachable
    assert after.delta_e00_p90 >= after.delta_e00


def test_a_mix_has_two_dyes(models):
    with pytest.raises(ModelError, match="two dyes"):
        suggest_mix({"straw": models["straw"]}, (50, 0, 0))


def test_only_mixes_that_help_are_worth_trying(models, pair):
    """A bright red that neither dye has: two of them come no nearer than one, unless that one is very far."""
    mix = suggest_mix(models, (45, 70, 50), film_um=12)
    assert not mix.reachable
    assert worth_trying([mix], alone=mix.delta_e00 - 1) == []
    assert worth_trying([mix], alone=mix.delta_e00 + 1) == [mix]
    reached = suggest_mix(models, pair[2].truth(pd.DataFrame([DIP]))[0], film_um=12)
    assert worth_trying([reached], alone=0.0) == [reached]

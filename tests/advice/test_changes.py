"""Changes played through a learned bath: they do to the colour what physics says, and the true one is the likeliest."""

import numpy as np
import pandas as pd
import pytest

from dyebook import learn_bath
from dyebook.advice.changes import CHANGES, change_likelihoods, simulate_changes
from dyebook.advice.drift import dips_before

NAMES = list(CHANGES)
U = np.diag(np.full(3, 0.8**2))


@pytest.fixture(scope="module")
def bath(baths):
    """A blue whose film fills up, so that film, dye, time and heat all matter."""
    return baths.TUNING[0].bath(4)


@pytest.fixture(scope="module")
def model(bath):
    return learn_bath(bath.records(20, np.random.default_rng(5)))


@pytest.fixture(scope="module")
def plan(bath):
    return {"film_um": float(bath.habit["film"]), "dye_g_per_l": 2.0, "bath_temp_c": float(bath.habit["bath_temp_c"]),
            "dwell_min": 8.0, "ph": 5.5}  # fmt: skip


@pytest.fixture(scope="module")
def simulated(model, plan):
    return simulate_changes(model, plan)


def middle(simulated, name):
    return np.median(simulated[name], axis=0)


def test_less_dye_is_paler_and_more_is_deeper(simulated):
    """Signs that every published uptake table has: lightness falls with dye, time, temperature and film."""
    for name in ("thinner film", "weaker bath", "colder bath", "shorter dip", "less taken up"):
        assert middle(simulated, name)[0] > middle(simulated, "as set")[0] + 1
    assert middle(simulated, "more dye")[0] < middle(simulated, "as set")[0] - 1


def test_a_veil_lightens_and_a_grey_metal_darkens(simulated):
    assert middle(simulated, "veiled")[0] > middle(simulated, "as set")[0]
    assert middle(simulated, "greyed")[0] < middle(simulated, "as set")[0]
    assert np.hypot(*middle(simulated, "veiled")[1:]) < np.hypot(*middle(simulated, "as set")[1:])


def test_a_dip_as_set_is_most_likely_as_set(bath, simulated, plan):
    lab = bath.truth(pd.DataFrame([plan]))[0]
    found = dict(zip(NAMES, change_likelihoods(simulated, lab, U), strict=True))
    for name in ("weaker bath", "more dye", "foreign dye", "another dye", "veiled", "greyed"):
        assert found["as set"] > found[name]


@pytest.mark.parametrize(
    ("truly", "name"),
    [
        ({"bath_temp_c": -22.0}, "colder bath"),
        ({"dwell_min": -6.0}, "shorter dip"),
        ({"dye_g_per_l": -1.7}, "weaker bath"),
    ],
)
def test_a_change_that_was_made_is_far_likelier_than_none(bath, simulated, plan, truly, name):
    moved = plan | {key: plan[key] + step for key, step in truly.items()}
    found = dict(zip(NAMES, change_likelihoods(simulated, bath.truth(pd.DataFrame([moved]))[0], U), strict=True))
    assert found[name] > 5 * found["as set"]
    assert found[name] > 5 * found["another dye"]


def test_likelihoods_are_densities(simulated):
    """Closed form: over a grid that covers one change's simulated a density adds up to one."""
    at = simulated["as set"]
    axes = [np.arange(low - 12, high + 12, 2.0) for low, high in zip(at.min(axis=0), at.max(axis=0), strict=True)]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    only = dict.fromkeys(NAMES, at[:40])
    total = 8.0 * sum(change_likelihoods(only, lab, U)[0] for lab in grid)
    # five in a thousand lie anywhere at all
    stray = 0.005 * 1e-6 * 8.0 * len(grid)
    assert total - stray == pytest.approx(0.995, abs=0.02)


def test_a_gauged_film_is_no_change_any_more(model, plan):
    gauged = simulate_changes(model, plan | {"film_measured_um": 0.6 * plan["film_um"]})
    assert np.linalg.norm(middle(gauged, "thinner film") - middle(gauged, "as set")) < 1.0


def test_the_dips_before_tell_a_faded_bath(bath, model, plan):
    faded = pd.DataFrame([plan | {"dwell_min": minutes} for minutes in (6.0, 8.0, 10.0)])
    lab = bath.truth(faded.assign(dye_g_per_l=1.0))
    pale, sound = lab, bath.truth(faded)
    assert "weaker bath" in dips_before(model, faded.assign(L=pale[:, 0], a=pale[:, 1], b=pale[:, 2])).note
    assert "as they should" in dips_before(model, faded.assign(L=sound[:, 0], a=sound[:, 1], b=sound[:, 2])).note
    turned = faded.assign(L=sound[:, 0] - 4, a=sound[:, 1] - 9, b=sound[:, 2] + 12)
    assert "off too" in dips_before(model, turned).note
    assert dips_before(model, faded.head(1)) is None

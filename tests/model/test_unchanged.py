"""A bath learned from the same dips says what it said: a change of any figure is meant, and seen.

What it said stands in `unchanged.json`; it says nothing of how right that is, which `tests.bench.suggest` measures.
Whoever changes the model and finds it better there renews the file: `python -m tests.model.test_unchanged`.
"""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dyebook import learn_bath
from dyebook.advice.redip import advise_redip
from dyebook.advice.suggest import run_through_depth

KEPT = Path(__file__).with_name("unchanged.json")
# shares of the figures, and ΔE: other processors round otherwise on the way to the best fit
SAME_SHARE, SAME_DELTA_E = 0.1, 0.3
# few, some, and more than the hypotheses are explored on
DIPS_LEARNED = (3, 12, 60, 130)
DIPS = [
    {"film_um": 12.0, "dye_g_per_l": 2.0, "bath_temp_c": 45.0, "dwell_min": 4.0, "ph": 5.5},
    {"film_um": 18.0, "dye_g_per_l": 4.0, "bath_temp_c": 55.0, "dwell_min": 12.0, "ph": 5.5},
    {"film_um": 8.0, "dye_g_per_l": 1.0, "bath_temp_c": 35.0, "dwell_min": 1.0, "ph": 6.0},
]


def said_by(dips):
    """What a bath of so many dips predicts, with its doubt, suggests for the first of `DIPS`, and says of a part."""
    from tests.bench import baths

    bath = baths.TUNING[0].bath(3)
    model = learn_bath(bath.records(dips, np.random.default_rng(2)))
    told = model.predict(pd.DataFrame(DIPS))
    target = bath.truth(pd.DataFrame(DIPS[:1]))[0]
    (best,) = model.suggest(target, film_um=12.0, fixed={"bath_temp_c": 45.0}, count=1)
    part = bath.truth(pd.DataFrame([{**DIPS[0], "dwell_min": 2.0}]))[0]
    again = advise_redip(model, {**DIPS[0], "dwell_min": 2.0}, part, target, dry=False, sealed=False)
    course = run_through_depth(model, DIPS[0], target, count=3)
    return {
        "lab": told[["L", "a", "b"]].round(3).to_numpy().tolist(),
        "sd": told[["L_sd", "a_sd", "b_sd"]].round(3).to_numpy().tolist(),
        "suggested": [round(best.settings["dwell_min"], 3), round(best.delta_e00_p90, 3)],
        "moves": [round(v, 3) for v in (best.per_10_s, best.per_degree, best.lamp_a, best.lamp_led)],
        "redip": [round(v, 3) for v in (again.extra_dwell_min, again.delta_e00, again.delta_e00_p90)],
        "course": np.round([*course.dwell_min, *course.lightness_low, *course.lightness_high], 3).tolist(),
    }


@pytest.mark.parametrize("dips", DIPS_LEARNED)
def test_a_bath_says_what_it_said(dips):
    then, now = json.loads(KEPT.read_text(encoding="utf-8"))[str(dips)], said_by(dips)
    assert np.abs(np.subtract(now["lab"], then["lab"])).max() < SAME_DELTA_E
    assert np.array(now["sd"]) == pytest.approx(np.array(then["sd"]), rel=SAME_SHARE)
    assert np.abs(np.subtract(now["course"], then["course"])).max() < SAME_DELTA_E
    for what in ("suggested", "moves", "redip"):
        assert now[what] == pytest.approx(then[what], rel=SAME_SHARE), what


if __name__ == "__main__":
    KEPT.write_text(json.dumps({dips: said_by(dips) for dips in DIPS_LEARNED}) + "\n", encoding="utf-8")

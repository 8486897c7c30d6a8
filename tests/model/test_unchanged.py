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

KEPT = Path(__file__).with_name("unchanged.json")
# shares of the figures, and ΔE: other processors round otherwise on the way to the best fit
SAME_SHARE, SAME_DELTA_E = 0.1, 0.3
DIPS = [
    {"film_um": 12.0, "dye_g_per_l": 2.0, "bath_temp_c": 45.0, "dwell_min": 4.0, "ph": 5.5},
    {"film_um": 18.0, "dye_g_per_l": 4.0, "bath_temp_c": 55.0, "dwell_min": 12.0, "ph": 5.5},
    {"film_um": 8.0, "dye_g_per_l": 1.0, "bath_temp_c": 35.0, "dwell_min": 1.0, "ph": 6.0},
]


def said_by(dips):
    """What a bath of so many dips predicts, with its doubt, and suggests for the first of `DIPS`."""
    from tests.bench import baths

    bath = baths.TUNING[0].bath(3)
    model = learn_bath(bath.records(dips, np.random.default_rng(2)))
    told = model.predict(pd.DataFrame(DIPS))
    (best,) = model.suggest(bath.truth(pd.DataFrame(DIPS[:1]))[0], film_um=12.0, fixed={"bath_temp_c": 45.0}, count=1)
    return {
        "lab": told[["L", "a", "b"]].round(3).to_numpy().tolist(),
        "sd": told[["L_sd", "a_sd", "b_sd"]].round(3).to_numpy().tolist(),
        "suggested": [round(best.settings["dwell_min"], 3), round(best.delta_e00_p90, 3)],
    }


@pytest.mark.parametrize("dips", [3, 12])
def test_a_bath_says_what_it_said(dips):
    then, now = json.loads(KEPT.read_text(encoding="utf-8"))[str(dips)], said_by(dips)
    assert np.abs(np.subtract(now["lab"], then["lab"])).max() < SAME_DELTA_E
    assert np.array(now["sd"]) == pytest.approx(np.array(then["sd"]), rel=SAME_SHARE)
    assert now["suggested"] == pytest.approx(then["suggested"], rel=SAME_SHARE)


if __name__ == "__main__":
    KEPT.write_text(json.dumps({dips: said_by(dips) for dips in (3, 12)}) + "\n", encoding="utf-8")

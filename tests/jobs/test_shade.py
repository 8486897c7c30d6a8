"""Several baths and one target: the right bath first, and two dyes where one does not do."""

import numpy as np
import pandas as pd
import pytest

from dyebook.errors import ModelError
from dyebook.jobs.shade import learned_baths


def dips(a, b):
    """Six dips of an invented dye whose a* and b* grow with the square root of dwell."""
    load = np.sqrt(np.array([1.0, 2.0, 3.0, 5.0, 8.0, 12.0]))
    table = pd.DataFrame({"film_um": 12, "dye_g_per_l": 3, "bath_temp_c": 40, "dwell_min": load**2, "ph": 5.5})
    return table.assign(L=90 - 7 * load, a=a * load, b=b * load)


BATHS = {"brick": dips(12, 5), "sky": dips(-4, -9), "empty": dips(1, 1).head(0)}


def test_the_bath_of_the_hue_comes_first():
    advice = learned_baths(BATHS, {}).suggest((72, 31, 13), film_um=12)
    assert [name for name, _ in advice.suggestions] == ["brick", "sky"]
    assert advice.mixes == []
    assert "0 of 0 records" in advice.left_out["empty"]


def test_two_dyes_where_one_does_not_do():
    advice = learned_baths(BATHS, {}).suggest((58, 22, -14), film_um=12)
    assert not any(one.reachable for _, one in advice.suggestions)
    assert advice.mixes[0].delta_e00 < advice.suggestions[0][1].delta_e00


def test_no_bath_no_answer():
    with pytest.raises(ModelError, match="no bath is known well enough yet"):
        learned_baths({"empty": BATHS["empty"]}, {}).suggest((50, 0, 0))

"""Real dyed coupons and handbook behaviour, which had no part in the model.

Coupons of AA1100 by dwell: Donahue & Exline, J. Chem. Educ. 91 (2014) 711, figures 4 to 6, colours read from the
pictures beside white paper taken as neutral with a reflectance of 0.80; film 1.5 A/dm² for 30 min at 20 °C. Strength
and temperature of those two-step baths are stand-ins: each series is held at one of each.
"""

import numpy as np
import pandas as pd
import pytest

from dyebook import diagnose, learn_bath
from dyebook.lab import delta_e_00

# minutes, L*, a*, b*
GOLD = [(3, 81.1, 1.3, 59.6), (4, 87.1, -2.5, 55.2), (5, 80.7, 8.7, 71.9), (6, 68.2, 25.7, 72.6)]
BLUE = [(7, 20.8, 25.6, -52.2), (9, 20.7, 44.8, -69.1), (12, 9.3, 31.7, -47.6)]
COPPER = [(8, 42.0, 33.7, 21.0), (10, 40.9, 39.5, 21.5), (12, 31.8, 41.4, 26.6)]
AXES = ["L", "a", "b"]


def _frame(rows, **settings):
    frame = pd.DataFrame(rows, columns=["dwell_min", *AXES])
    held = {"film_um": 14.7, "dye_g_per_l": 10.0, "bath_temp_c": 50.0, "ph": np.nan, **settings}
    return frame.assign(**held, L_sd=2.0, a_sd=2.0, b_sd=2.0)


@pytest.mark.parametrize("series", [GOLD[2:], GOLD, BLUE, COPPER], ids=["two golds", "gold", "blue", "copper"])
def test_real_coupons_teach_and_longer_is_darker(series):
    """Darkness by dwell: 5 < 6 min gold, 7 < 9 < 12 min blue, 8 < 10 < 12 min copper; colours beyond sRGB survive."""
    predicted = learn_bath(_frame(series)).predict(_frame(series))
    assert np.isfinite(predicted[AXES].to_numpy()).all()
    assert np.all(np.diff(predicted["L"]) < 0)


def test_the_odd_gold_coupon_stands_out():
    """The four-minute coupon is paler than the three-minute one: no bath of the others gives it."""
    model = learn_bath(_frame([row for row in GOLD if row[0] != 4]))
    odd, sound = (_frame([GOLD[place]]).iloc[0] for place in (1, 2))
    causes = {cause.id: cause.probability for cause in diagnose(odd, model=model)}
    assert causes["sound"] < 0.05
    assert diagnose(sound, model=model)[0].id == "sound"
    (dip,) = model.predict(_frame([GOLD[1]])).to_dict("records")
    assert GOLD[1][1] - dip["L"] > 3 * np.hypot(dip["L_sd"], 2.0)


def test_twice_the_strength_moves_a_full_shade_less_than_half_the_film_does():
    """Metal Finishing Guidebook 2012-13, p. 481: 100 % more dye changes a full shade little; film decides its depth."""
    model = learn_bath(_frame(COPPER, dye_g_per_l=2.0, bath_temp_c=60.0))
    full = {"film_um": 14.7, "dye_g_per_l": 2.0, "bath_temp_c": 60.0, "dwell_min": 30.0, "ph": np.nan}
    shades = model.predict(pd.DataFrame([full, full | {"dye_g_per_l": 4.0}, full | {"film_um": 7.35}]))[AXES].to_numpy()
    assert delta_e_00(shades[0], shades[1]) < 0.7 * delta_e_00(shades[0], shades[2])

"""The invented shop's year holds what it promises, and its photos are small and marked as rendered."""

from itertools import pairwise

import numpy as np
import pytest

from dyebook.demo.year import BATH_LIFE, SHOP_DYES, dyed_film, film_lab, photo_of, shop_year
from dyebook.lab import delta_e_00

YEAR = shop_year()


def _lab(planned):
    return np.array(film_lab(planned.film))


def _days(job, bath, since, until):
    return [one for one in YEAR if one.job == job and one.settings["bath"] == bath and until <= one.days_ago <= since]


def test_the_year_is_the_same_every_time_and_in_order():
    assert shop_year() == YEAR
    assert all(a.days_ago >= b.days_ago for a, b in pairwise(YEAR))
    assert YEAR[-1].days_ago == 0


def test_an_ember_bath_fades_until_it_is_topped_up():
    before = [_lab(one)[0] for one in _days("knobs", "E1", 363, 161)]
    assert before[-1] - before[0] > 4, "knobs come out paler"
    after = _days("knobs", "E1", 160, 143)
    assert min(_lab(one)[0] for one in after if one.film.absorbance > 1) < before[-1] - 3


def test_a_heather_bath_goes_foul_and_is_made_up_fresh():
    sound, foul = _days("grips", "H1", 363, 130)[-1], _days("grips", "H1", 120, 97)[0]
    assert delta_e_00(_lab(sound), _lab(foul)) > 5
    assert any(life[1] == "H1" and life[3] == "thrown_out" for life in BATH_LIFE)
    assert all(one.settings["bath"] == "H2" for one in YEAR if one.settings["dye"] == "Heather" and one.days_ago < 94)


def test_a_lost_contact_gives_a_pale_batch_that_is_done_again():
    again = next(one for one in YEAR if one.replaces is not None)
    pale = YEAR[again.replaces]
    assert pale.settings["film_measured_um"] < 0.5 * pale.settings["film_um"]
    assert _lab(pale)[0] > _lab(again)[0] + 3


@pytest.mark.parametrize("dye", SHOP_DYES)
def test_longer_dips_and_stronger_baths_are_darker(dye):
    longer = [dyed_film(dye, 12, 3, 50, dwell, 5.5).absorbance for dwell in (1, 2, 4, 8)]
    stronger = [dyed_film(dye, 12, grams, 50, 4, 5.5).absorbance for grams in (1, 2, 4, 8)]
    assert np.all(np.diff(longer) > 0)
    assert np.all(np.diff(stronger) > 0)


def test_shipped_photos_show_their_batches_and_say_that_they_are_rendered():
    from PIL import Image

    pictured = [one for one in YEAR if photo_of(one)]
    assert len(pictured) == 8
    assert sum(photo_of(one).stat().st_size for one in pictured) < 2 * 2**20
    for one in pictured:
        with Image.open(photo_of(one)) as shipped:
            assert shipped.getexif()[0x010E] == "rendered, not photographed"
            assert max(shipped.size) == 1200

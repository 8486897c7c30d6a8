"""Words for a suggestion fit its figures and the tolerance that was agreed."""

import pytest

from dyebook.advice.suggest import REACH_DELTA_E00, Suggestion
from dyebook.lab import Lab
from dyebook.report.shade import AWAY, MAY_REACH, NEAR, REACHES, likely_text, outlook_text, reach_word


def _suggestion(delta_e00, reachable):
    moves = {"per_10_s": 0.3, "per_degree": 0.2, "lamp_a": 1.0, "lamp_led": 0.5}
    words = {"why": "close to a dip on record", "miss": "a little greener"}
    return Suggestion({}, Lab(50, 10, 10), delta_e00, 1.6 * delta_e00, reachable, **moves, **words)


@pytest.mark.parametrize(
    ("delta_e00", "reachable", "tolerance", "word"),
    [
        (1.2, True, None, REACHES),
        (3.1, True, None, MAY_REACH),
        (3.1, True, 3.5, REACHES),
        (2.5, False, 3.0, REACHES),
        (3.1, False, None, NEAR),
        (3.1, False, 1.0, AWAY),
        (9.0, False, None, AWAY),
    ],
)
def test_the_word_fits_the_number_and_the_tolerance(delta_e00, reachable, tolerance, word):
    one = _suggestion(delta_e00, reachable)
    assert reach_word(one, tolerance) == word
    assert f"ΔE00 {delta_e00:.1f}" in outlook_text(one, tolerance)


def test_without_a_tolerance_it_is_the_one_the_advice_is_given_by():
    assert reach_word(_suggestion(REACH_DELTA_E00, True)) == REACHES
    assert reach_word(_suggestion(REACH_DELTA_E00 + 0.01, True)) == MAY_REACH


def test_figures_that_lie_further_apart_than_what_is_expected_are_explained():
    # one lightness unit at L* 50 is about ΔE00 1.0 (CIEDE2000's weight S_L is 1 there): five units, and 2.0 expected
    line = likely_text((55, 10, 10), _suggestion(2.0, True))
    assert "ΔE00 4." in line or "ΔE00 5." in line
    assert "the likeliest lies about 2.0 from this dip" in line
    assert not likely_text((51, 10, 10), _suggestion(2.0, True))

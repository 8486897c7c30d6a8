"""Parts of one photo: what two, three and more of them can tell."""

import numpy as np
import pytest

from dyebook import diagnose
from dyebook.advice.causes import STATES
from dyebook.advice.evidence import part_evidence


def row(*lightness, boxes=True):
    parts = [{"lab": [light, 10, -20], "box": [100 * k, 0, 100 * k + 50, 50]} for k, light in enumerate(lightness)]
    return [part if boxes else {"lab": part["lab"]} for part in parts]


def answer(parts):
    (seen,) = part_evidence(parts)
    return dict(zip(STATES["parts"], np.array(seen.likelihoods) / max(seen.likelihoods), strict=True))


@pytest.mark.parametrize("parts", [row(40), [{"lab": None}, {"lab": [40, 1, 1]}], []])
def test_one_part_tells_nothing_of_others(parts):
    assert part_evidence(parts) == []


def test_alike_or_not_is_a_matter_of_how_far():
    far = [answer(row(40, 40 + step, 40.2))["alike"] for step in (0.5, 3, 4, 15)]
    assert far[0] == 1
    assert 1 > far[2] > far[3]
    assert far[3] < 1e-3


def test_two_parts_that_differ_may_be_anything_but_alike():
    """Which of two is off, and whether a third would go on that way, nobody can see."""
    seen = answer(row(40, 52))
    assert seen.pop("alike") < 0.01
    assert set(seen.values()) == {1}


def test_three_in_even_steps_are_a_slope_and_one_far_off_is_not():
    slope, odd, mixed = answer(row(40, 45, 50)), answer(row(40, 41, 52)), answer(row(40, 50, 44))
    assert max(slope, key=slope.get) == "graded"
    assert max(odd, key=odd.get) == "one pale"
    assert max(mixed, key=mixed.get) == "spread"
    assert slope["spread"] == pytest.approx(1 / 3)  # three at random stand in order two times in six


def test_four_in_order_are_a_slope_from_either_end():
    assert answer(row(40, 44, 47, 50))["graded"] == answer(row(50, 47, 44, 40))["graded"] == 1
    assert answer(row(40, 40.5, 54, 40.2))["one pale"] == 1


def test_without_places_a_slope_cannot_be_ruled_out():
    assert answer(row(40, 44, 47, 50, boxes=False))["graded"] > 0.9


def test_a_slope_along_the_jig_is_the_current():
    assert diagnose({}, measurement={"parts": row(40, 44, 47, 50)})[0].id == "uneven_run"

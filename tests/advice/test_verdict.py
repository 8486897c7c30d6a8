"""Verdicts against published differences, the normal law of conformance, and the grey scale's table."""

from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from dyebook.advice.judge import Shade, grey_grade, judge_shade, split_difference
from dyebook.errors import RecordError
from dyebook.lab import delta_e_76

PAIRS = np.loadtxt(Path(__file__).parents[1] / "reference" / "ciede2000_pairs.csv", delimiter=",", skiprows=2)
SURE = (0, 0, 0)


def judge(target, sample, tolerance=1.5, u=SURE, **options):
    return judge_shade(Shade(target, SURE), Shade(sample, u), tolerance, **options)


@pytest.mark.parametrize("row", PAIRS, ids=lambda row: f"pair {row[0]:.0f}")
def test_ciede2000_decides_as_published(row):
    """Sharma, Wu & Dalal 2005, Table 1: a tolerance just above the difference passes it, just below does not."""
    target, sample, published = row[1:4], row[4:7], row[7]
    assert judge(target, sample).delta_e == pytest.approx(published, abs=1e-4)
    assert judge(target, sample, published + 2e-4).verdict == "in"
    assert judge(target, sample, published - 2e-4).verdict == "out"


def test_conformance_follows_the_normal_law():
    """JCGM 106:2012, 7: with one normal doubt, P(in) is Φ((T - y)/u) (the far side is 10 u away)."""
    for off in (0.2, 1.0, 1.8):
        found = judge((50, 0, 0), (50 + 6 + off, 0, 0), 7.0, u=(0.6, 0, 0), measure="76")
        assert found.probability_in == pytest.approx(norm.cdf((1 - off) / 0.6), abs=0.02)


@pytest.mark.parametrize(("step", "verdict"), [(1.0, "in"), (2.9, "cannot_tell"), (3.1, "cannot_tell"), (5.0, "out")])
def test_guard_band(step, verdict):
    assert judge((50, 0, 0), (50 + step, 0, 0), 3.0, u=(0.5, 0.5, 0.5), measure="76").verdict == verdict


# ISO 105-A02 / EN 20105-A02: the CIELAB difference and tolerance of each pair of the grey scale
GREY_SCALE = [
    ("5", 0.0, 0.2), ("4-5", 0.8, 0.2), ("4", 1.7, 0.3), ("3-4", 2.5, 0.35), ("3", 3.4, 0.4),
    ("2-3", 4.8, 0.5), ("2", 6.8, 0.6), ("1-2", 9.6, 0.7), ("1", 13.6, 1.0),
]  # fmt: skip


@pytest.mark.parametrize(("grade", "middle", "width"), GREY_SCALE)
def test_grey_scale(grade, middle, width):
    assert {grey_grade(max(middle + k * width, 0)) for k in (-1, 0, 1)} == {grade}


def test_parts_of_a_difference_add_up_to_it():
    """ISO/CIE 11664-4: ΔE² = ΔL² + ΔC² + ΔH²; hue crosses 0 without a jump."""
    rng = np.random.default_rng(3)
    one, two = rng.uniform([0, -60, -60], [100, 60, 60], (2, 500, 3))
    assert np.linalg.norm(split_difference(one, two), axis=-1) == pytest.approx(delta_e_76(one, two), abs=1e-9)
    across = split_difference((50, 30, -1), (50, 30, 1))
    assert across[2] == pytest.approx(2.0, abs=0.01)
    assert split_difference((50, 30, 1), (50, 30, -1))[2] == pytest.approx(-2.0, abs=0.01)


def test_cmc_takes_the_target_as_standard():
    one, two = (50, 5, 5), (50, 25, 25)
    assert judge(one, two, measure="cmc").delta_e > 1.3 * judge(two, one, measure="cmc").delta_e


def test_one_photo_is_surer_than_two():
    sides = Shade((50, 10, -30), (1, 1, 1)), Shade((50.3, 10, -30), (1, 1, 1))
    apart, together = judge_shade(*sides, 2.0), judge_shade(*sides, 2.0, together=True)
    assert together.delta_e_u < 0.5 * apart.delta_e_u
    assert (apart.verdict, together.verdict) == ("cannot_tell", "in")
    assert any("one photo" in note for note in together.notes)


def test_unlike_states_are_said_and_doubted():
    dry, wet = Shade((50, 10, -30), SURE, wet=False), Shade((49, 10, -30), SURE, wet=True)
    found = judge_shade(dry, wet, 1.5)
    assert found.verdict == "cannot_tell"
    assert any("like with like" in note for note in found.notes)
    assert judge_shade(dry, Shade((49, 10, -30), SURE), 1.5).verdict == "in"


def test_limit_samples():
    limits = ((56, 10, -30), (48, 10, -36))
    assert judge((52, 10, -33), (55, 10, -31), 1.0, limits=limits).verdict == "in"
    assert judge((52, 10, -33), (47, 10, -37), 1.0, limits=limits).verdict == "out"
    assert judge((52, 10, -33), (52, 18, -33), 1.0, limits=limits).verdict == "out"


def test_words():
    assert judge((50, 10, -30), (53, 9, -30)).words == "lighter and a little greener"


@pytest.mark.parametrize("lab", [(50, 10), (float("nan"), 0, 0), (400, 0, 0)])
def test_no_colour_is_refused(lab):
    with pytest.raises(RecordError, match="no colour"):
        Shade(lab)
    with pytest.raises(RecordError, match="tolerance"):
        judge((50, 0, 0), (51, 0, 0), 0)

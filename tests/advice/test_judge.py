"""The judge against published differences, the normal law of conformance, and what sharing an error must do."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from dyebook.advice.judge import (
    _SAME_WAY,
    CAMERA_LENGTH_DELTA_E,
    ERROR_PARTS,
    GUARD,
    Shade,
    difference_covariance,
    judge,
    one_photo_error,
    own_error,
    split_difference,
)
from dyebook.errors import RecordError
from dyebook.lab import Lab, delta_e_00, delta_e_76
from dyebook.record import Reading

PAIRS = np.loadtxt(Path(__file__).parents[1] / "reference" / "ciede2000_pairs.csv", delimiter=",", skiprows=2)
BLUE = (40.0, 8.0, -38.0)


def read(lab, own=(0.0, 0.0, 0.0), **more):
    """A shade that was read, with independent errors of its own in L*, a*, b*."""
    return Shade(lab, own_error(own), **more)


def covariance(draw):
    """A 3 x 3 covariance from nine numbers."""
    root = np.reshape(draw, (3, 3))
    return root @ root.T


covariances = st.lists(st.floats(-3, 3), min_size=9, max_size=9).map(covariance)
labs = st.tuples(st.floats(5, 95), st.floats(-60, 60), st.floats(-60, 60))


@pytest.mark.parametrize("row", PAIRS, ids=lambda row: f"pair {row[0]:.0f}")
def test_ciede2000_decides_as_published(row):
    """Sharma, Wu & Dalal 2005, Table 1: a tolerance just above the difference passes it, just below does not."""
    target, sample, published = row[1:4], row[4:7], row[7]
    assert judge(target, sample).delta_e00 == pytest.approx(published, abs=1e-4)
    assert judge(target, sample, published + 2e-4).verdict == "in"
    assert judge(target, sample, published - 2e-4).verdict == "out"


# JCGM 106:2012: value, standard uncertainty and upper limit of worked examples, with the probability of conformance
# that it gives (values from memory; 7.4, Zener diode; 7.5, a value one u inside its limit)
JCGM_106 = [(5.40 - 0.07, 0.05, 5.40, 0.92), (5.40 - 0.05, 0.05, 5.40, 0.84)]


@pytest.mark.parametrize(("value", "u", "limit", "probability"), JCGM_106)
def test_guard_band_is_95_in_100_of_conformance(value, u, limit, probability):
    """Along L* about 50, CIEDE2000 is the difference in L* itself, so that a verdict is one normal law."""
    assert norm.cdf((limit - value) / u) == pytest.approx(probability, abs=0.005)
    found = judge((50 - value / 2, 0, 0), read((50 + value / 2, 0, 0), (u, 0, 0)), limit)
    assert found.delta_e00_u == pytest.approx(u, rel=0.02)
    assert found.verdict == "cannot_tell"  # below 0.95
    just = value + u * norm.ppf(0.95)
    assert judge((50 - value / 2, 0, 0), read((50 + value / 2, 0, 0), (u, 0, 0)), just + 0.01).verdict == "in"
    assert judge((50 - value / 2, 0, 0), read((50 + value / 2, 0, 0), (u, 0, 0)), just - 0.01).verdict == "cannot_tell"
    low = value - u * norm.ppf(0.95)
    assert judge((50 - value / 2, 0, 0), read((50 + value / 2, 0, 0), (u, 0, 0)), low - 0.01).verdict == "out"


def test_a_wide_reading_is_never_out():
    for u in (5, 12, 60):
        found = judge((41, 47, 52), read((41, 47, 52), (u, u, u)))
        assert found.verdict == "cannot_tell"
        assert found.smallest_tolerance == pytest.approx(GUARD * found.delta_e00_u)
        at_it = judge((41, 47, 52), read((41, 47, 52), (u, u, u)), found.smallest_tolerance + 1e-6)
        assert at_it.verdict == "in"


def test_a_perfect_match_is_in():
    assert judge((41, 47, 52), (41, 47, 52)).verdict == "in"


def test_uncertainty_follows_the_direction_of_the_difference():
    """A difference in lightness is blurred by the doubt in lightness alone."""
    sample = read((56.0, 0.0, 0.0), (0.1, 2.0, 2.0))
    assert judge((44, 0, 0), sample).delta_e00_u == pytest.approx(0.1, rel=0.1)
    near = judge((56, 0, 0), sample)
    assert near.delta_e00_u > 2  # near nought the widest direction counts


@given(labs, covariances)
@settings(max_examples=60)
def test_equal_covariances_fully_shared_cancel(lab, cov):
    """Closed form: A + A - 2 A = 0; and nothing shared adds up."""
    one = Shade(lab, {"shape": cov}, setup="bench", photo="1", shape="tag")
    other = replace(one, photo="2")
    scale = max(np.abs(cov).max(), 1e-6)
    assert np.allclose(difference_covariance(one, other), 0, atol=1e-5 * scale + 1e-6)
    assert np.allclose(difference_covariance(one, replace(other, shape="pen")), 2 * cov)
    assert np.allclose(difference_covariance(one, replace(other, setup="window")), 2 * cov)


def test_geometric_mean_of_unequal_sizes():
    """Closed form for commuting covariances: (s1 - s2)² on each axis, and somewhat less by the thickness of both."""
    one, other = np.array([4.0, 9.0, 1.0]), np.array([1.0, 9.0, 16.0])
    pair = (Shade(BLUE, {"photo": np.diag(variances)}, photo="p") for variances in (one, other))
    thick = _SAME_WAY**2 * (one + other).sum() / 2
    left = one + other - 2 * (np.sqrt((one + thick) * (other + thick)) - thick)
    found = difference_covariance(*pair)
    assert np.allclose(found, np.diag(left), atol=1e-6)
    assert np.all(np.diag(found) <= np.array([1.0, 0.0, 9.0]) + 1e-6)
    assert np.all(np.diag(found) >= 0.7 * np.array([1.0, 0.0, 9.0]) - 1e-6)


def test_one_gain_moves_near_colours_alike():
    """An exposure error of 8 % in two readings of 2 apart: their difference keeps 8 % of itself, not of the colours."""
    one, other = np.array(BLUE), np.add(BLUE, (1.5, 1.0, -1.0))
    ways = [np.add(lab, (16, 0, 0)) * 0.08 / 3 for lab in (one, other)]
    pair = [Shade(lab, {"photo": np.outer(way, way)}, photo="p") for lab, way in zip((one, other), ways, strict=True)]
    apart = np.sqrt(np.diag(difference_covariance(*(replace(shade, photo=None) for shade in pair))))
    together = np.sqrt(np.diag(difference_covariance(*pair)))
    assert np.all(together < 0.3 * apart)


@given(labs, labs, covariances, covariances, covariances, st.sampled_from(["camera", "shape", "photo"]))
@settings(max_examples=100)
def test_sharing_more_never_widens_a_difference(lab, other_lab, mine, theirs, moved, part):
    """With the totals kept, error moved from own to shared leaves every direction as sure or surer."""
    keys = {"setup": "bench", "photo": "p", "shape": "tag"}
    pair = [Shade(one, {part: cov, "own": cov + moved}, **keys) for one, cov in ((lab, mine), (other_lab, theirs))]
    shared = [Shade(one, {part: cov + moved, "own": cov}, **keys) for one, cov in ((lab, mine), (other_lab, theirs))]
    gained = difference_covariance(*pair) - difference_covariance(*shared)
    assert np.linalg.eigvalsh(gained)[0] > -1e-2
    for covs in (pair, shared):
        assert np.linalg.eigvalsh(difference_covariance(*covs))[0] > -1e-2


@given(labs, labs, covariances, covariances, st.floats(0.2, 12))
@settings(max_examples=60)
def test_swapping_target_and_sample_changes_nothing(lab, other_lab, mine, theirs, tolerance):
    keys = {"setup": "bench", "photo": "p", "shape": "tag"}
    one, other = Shade(lab, {"camera": mine, "own": mine}, **keys), Shade(other_lab, {"camera": theirs}, **keys)
    there, back = judge(one, other, tolerance), judge(other, one, tolerance)
    assert there.delta_e00 == pytest.approx(back.delta_e00)
    assert np.allclose(difference_covariance(one, other), difference_covariance(other, one), atol=1e-6)
    if abs(there.delta_e00_u - back.delta_e00_u) < 1e-9 * max(there.delta_e00_u, 1):
        assert there.verdict == back.verdict


def test_the_cameras_part_is_shared_by_near_colours_only():
    def u(step):
        one = Shade((50, 0, 0), {"camera": np.diag([9.0, 9.0, 9.0])}, setup="bench")
        return difference_covariance(one, replace(one, lab=Lab(50, step, 0)))[0, 0]

    assert u(0) == pytest.approx(0, abs=1e-3)
    assert np.all(np.diff([u(step) for step in (0, 5, 10, 30, 90)]) > 0)
    assert u(CAMERA_LENGTH_DELTA_E) == pytest.approx(18 * (1 - np.exp(-0.5)), rel=1e-3)
    assert u(2 * CAMERA_LENGTH_DELTA_E) == pytest.approx(18 * (1 - np.exp(-2)), rel=1e-3)


def test_two_readings_of_one_photo_split_what_is_known_of_each():
    """The parts add up to the whole; common practice, no source: nine tenths of the variance are the photo's."""
    parts = one_photo_error((1, 2, 3))
    assert np.diag(sum(parts.values())) == pytest.approx((1, 4, 9))
    pair = [Shade((50, 0, 0), parts, photo="1") for _ in range(2)]
    assert np.diag(difference_covariance(*pair)) == pytest.approx((0.2, 0.8, 1.8), abs=0.01)


@pytest.mark.parametrize("lab", [(50, 0, 0), BLUE, (60, 40, 55), (35, 15, 50)])
def test_near_nought_the_widest_direction_counts(lab):
    """The ellipse of the doubt, walked around: the farthest it reaches in CIEDE2000, lightness to hue."""
    cov = np.array([[1.0, 0.3, -0.2], [0.3, 2.0, 1.1], [-0.2, 1.1, 1.5]])
    ways = np.random.default_rng(1).standard_normal((20_000, 3))
    ways = 1e-3 * ways / np.linalg.norm(ways, axis=1, keepdims=True) @ np.linalg.cholesky(cov).T
    widest = delta_e_00(np.array(lab), np.array(lab) + ways).max() / 1e-3
    assert judge(lab, Shade(lab, {"own": cov})).delta_e00_u == pytest.approx(widest, rel=0.005)


def test_calibrated_over_ten_thousand_draws():
    """Differences read with errors as stated: of those said "in" or "out", 95 in 100 and more are right."""
    rng = np.random.default_rng(8)
    shared = np.diag([6.0, 20.0, 20.0])
    photo = np.array([[0.3, 0.1, -0.1], [0.1, 0.2, 0.0], [-0.1, 0.0, 0.25]])
    own = np.diag([0.05, 0.05, 0.05])
    target = np.array(BLUE)
    right = {"in": [], "out": []}
    roots = [np.linalg.cholesky(cov) for cov in (shared, photo + own)]
    for index in range(10_000):
        way = rng.standard_normal(3)
        sample = target + way / np.linalg.norm(way) * rng.uniform(0, 9)
        common = roots[0] @ rng.standard_normal(3)
        seen = [lab + common + roots[1] @ rng.standard_normal(3) for lab in (target, sample)]
        if index % 8:
            continue  # every draw moves the generator; one in eight is judged, as a judgement takes milliseconds
        parts = {"shape": shared, "photo": photo, "own": own}
        pair = [Shade(lab, parts, "bench", str(place), "tag") for place, lab in enumerate(seen)]
        verdict = judge(*pair).verdict
        if verdict != "cannot_tell":
            right[verdict].append((delta_e_00(target, sample) <= 2.0) == (verdict == "in"))
    assert min(map(len, right.values())) > 100
    assert all(np.mean(found) >= 0.95 for found in right.values()), {k: np.mean(v) for k, v in right.items()}


def test_unlike_states_add_a_step_and_are_named():
    dry, wet = Shade((50, 10, -30), wet=False), Shade((50, 10, -30), wet=True)
    assert judge(dry, wet).notes[0].code == "trouble.unlike_wet"
    assert judge(dry, wet).verdict == "cannot_tell"
    assert judge(dry, wet).would_decide[0].code == "trouble.like_states"
    assert judge(dry, replace(wet, wet=False)).verdict == "in"
    assert judge(dry, replace(wet, wet=None)).verdict == "in"
    instrument = Shade((50, 10, -30), own_error((0.1, 0.1, 0.1)), geometry="45/0")
    assert judge(replace(instrument, geometry="d/8 included"), instrument).notes[0].code == "trouble.unlike_geometry"


def test_what_unlike_states_may_do():
    """A seal moves a colour by 1 to 3 ΔE (trade practice); water and another geometry by more, and are seen at a glance
    (common practice, no source)."""
    alike = Shade((50, 10, -30), wet=False, sealed=False, geometry="45/0")
    for state, least, most in (({"sealed": True}, 1, 3), ({"wet": True}, 2, 5), ({"geometry": "d/8 included"}, 2, 5)):
        found = difference_covariance(alike, replace(alike, **state))
        assert found == pytest.approx(found[0, 0] * np.eye(3))
        assert least <= np.sqrt(found[0, 0]) <= most
    both = difference_covariance(alike, replace(alike, wet=True, sealed=True))[0, 0]
    assert both == pytest.approx(
        sum(difference_covariance(alike, replace(alike, **one))[0, 0] for one in ({"wet": True}, {"sealed": True}))
    )


def codes(verdict):
    return [one.code.removeprefix("trouble.") for one in verdict.would_decide]


def test_what_would_decide():
    errors = {"shape": np.diag([16.0, 1.0, 1.0]), "photo": np.eye(3) * 0.1, "own": np.eye(3) * 0.1}
    cap = Shade(BLUE, errors, "bench", "1", "cap")
    body = Shade(BLUE, errors, "bench", "2", "body")
    assert codes(judge(cap, body)) == ["same_shape"]
    assert "photograph_sample" in codes(judge(BLUE, replace(body, shape="cap")))
    own = Shade(BLUE, {"own": np.eye(3) * 1.6}, "bench", "1", "cap")
    assert "more_photos" in codes(judge(own, replace(own, photo="2")))
    assert codes(judge((0, 0, 0), read((0, 0, 0), (50, 50, 50)))) == ["wider_tolerance"]


@pytest.mark.parametrize("part", ["photo", "own"])
@pytest.mark.parametrize(("u", "settles"), [(0.95, True), (1.05, False)])
def test_the_mean_of_three_photos_leaves_a_third_of_the_variance(part, u, settles):
    """JCGM 100:2008, 4.2.3: the variance of a mean of three is a third. About L* 50 a verdict is one normal law."""
    sample = Shade((50.5, 0, 0), {part: np.diag([3 * (u / GUARD) ** 2, 0, 0])})
    found = judge((49.5, 0, 0), sample, 2.0)  # a margin of 1
    assert found.verdict == "cannot_tell"
    assert ("more_photos" in codes(found)) == settles


def test_readings_and_their_dicts_are_taken_as_they_are():
    reading = Reading(lab=Lab(*BLUE), lab_sd=(1, 1, 1), lab_u=(0.5, 0.6, 0.7))
    for form in (reading, reading.to_dict()):
        shade = Shade.of(form, sealed=True)
        assert set(shade.parts) == {"own"}
        assert np.sqrt(np.diag(shade.parts["own"])) == pytest.approx((0.5, 0.6, 0.7))
        assert shade.sealed is True
    parts = {name: (np.eye(3) * 0.04).tolist() for name in ERROR_PARTS}
    answer = {"lab": BLUE, "lab_u": (0.4, 0.4, 0.4), "lab_cov_parts": parts, "setup": {"name": None, "key": "k"}}
    answer |= {"photo_sha256": "s", "shape_key": "tag", "finish": None}
    shade = Shade.of(answer)
    assert (shade.setup, shade.photo) == ("k", "s")
    assert judge(answer, answer).delta_e00_u == pytest.approx(np.sqrt(0.08), rel=0.15)  # only own is left


def test_parts_of_a_difference_add_up_to_it():
    """ISO/CIE 11664-4: ΔE² = ΔL² + ΔC² + ΔH²; hue crosses 0 without a jump."""
    rng = np.random.default_rng(3)
    one, two = rng.uniform([0, -60, -60], [100, 60, 60], (2, 500, 3))
    assert np.linalg.norm(split_difference(one, two), axis=-1) == pytest.approx(delta_e_76(one, two), abs=1e-9)
    across = split_difference((50, 30, -1), (50, 30, 1))
    assert across[2] == pytest.approx(2.0, abs=0.01)
    assert split_difference((50, 30, 1), (50, 30, -1))[2] == pytest.approx(-2.0, abs=0.01)


def test_limit_samples():
    limits = ((56, 10, -30), (48, 10, -36))
    assert judge((52, 10, -33), (55, 10, -31), 1.0, limits=limits).verdict == "in"
    assert judge((52, 10, -33), (47, 10, -37), 1.0, limits=limits).verdict == "out"
    assert judge((52, 10, -33), (52, 18, -33), 1.0, limits=limits).verdict == "out"
    near = read((55.8, 10, -30.2), (1.0, 0.1, 0.1))
    assert judge((52, 10, -33), near, 1.0, limits=limits).verdict == "cannot_tell"
    # what limit and sample share cancels: one that was read as the sample was decides
    shared = {"setup": "bench", "photo": "one", "shape": "flat"}
    own = {"photo": np.diag([1.0, 0.01, 0.01])}
    beside = [Shade(one, own, **shared) for one in limits]
    assert judge((52, 10, -33), Shade((55, 10, -31), own, **shared), 1.0, limits=beside).verdict == "in"
    assert judge((52, 10, -33), Shade((55, 10, -31), own, **shared), 1.0, limits=limits).verdict == "cannot_tell"
    with pytest.raises(RecordError, match="two different"):
        judge((52, 10, -33), (52, 10, -33), 1.0, limits=(limits[0], limits[0]))


@pytest.mark.parametrize("lab", [(50, 10), (float("nan"), 0, 0), (400, 0, 0), "blue", None])
def test_no_colour_is_refused(lab):
    with pytest.raises(RecordError, match="no colour"):
        Shade(lab)


@pytest.mark.parametrize("tolerance", [0, -1, float("nan"), float("inf")])
def test_no_tolerance_is_refused(tolerance):
    with pytest.raises(RecordError, match="tolerance"):
        judge((50, 0, 0), (51, 0, 0), tolerance)


def test_broken_covariances_are_refused():
    for cov in ([[1, 2], [3, 4]], np.full((3, 3), np.nan), [[1, 2, 0], [0, 1, 0], [0, 0, 1]]):
        with pytest.raises(RecordError, match="covariance"):
            Shade(BLUE, {"own": cov})
    with pytest.raises(RecordError, match="no part"):
        Shade(BLUE, {"luck": np.eye(3)})

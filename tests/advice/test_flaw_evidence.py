"""Flaws as evidence: where, how many and of what form, from drawn outlines whose truth is plain."""

import numpy as np
import pytest

from dyebook import diagnose
from dyebook.advice.evidence import flaw_evidence

PART = {"outline": [[0, 0], [400, 0], [400, 150], [0, 150]], "box": [0, 0, 400, 150], "lab": [40, 10, -20]}
TURN = np.linspace(0, 2 * np.pi, 24, endpoint=False)
RING = np.stack([np.cos(TURN), np.sin(TURN)], axis=1)


def flaw(kind, centre, reach, size=8.0, share=0.03):
    outline = np.asarray(centre) + RING * reach
    low, high = outline.min(axis=0), outline.max(axis=0)
    return {"kind": kind, "outline": outline.tolist(), "box": [*low, *high], "delta_e00": size, "area_fraction": share}


def states(*flaws, part=PART):
    found = flaw_evidence([part | {"flaws": list(flaws)}])
    return {item.kind: item.note for item in found}


@pytest.mark.parametrize(
    ("centre", "words"), [((20, 75), "at an end"), ((200, 20), "at an edge"), ((200, 75), "inside the outline")]
)
def test_places(centre, words):
    assert words in states(flaw("pale_zone", centre, (20, 20)))["place"]


def test_sought_in_vain_is_evidence_and_not_sought_is_none():
    seen = flaw_evidence([PART | {"flaws": []}])
    assert {item.note for item in seen} == {"a look for flaws found none"}
    assert flaw_evidence([PART | {"flaws": [], "flags": ["flaws_not_sought"]}]) == []
    assert flaw_evidence([PART | {"flaws": [flaw("pit", (200, 75), (5, 5))], "flags": ["flaws_not_sought"]}])
    clean = {"parts": [PART | {"flaws": []}], "flags": []}
    looked, unlooked = (diagnose({}, measurement=clean | {"flags": flags})[0] for flags in ([], ["flaws_not_sought"]))
    assert looked.id == unlooked.id == "sound"
    assert looked.probability > 1.3 * unlooked.probability
    assert "a look for flaws found none" in looked.because


def test_the_kind_that_most_flaws_are_of():
    """Prints and smears against one streak from a hole: most of the flaws say which."""
    spots = [flaw("spot", (60 * k, 75), (12, 12)) for k in range(1, 6)]
    streaks = [flaw("streak", (60 * k, 75), (20, 4)) for k in range(1, 6)]
    assert "most of the flaws are spots" in states(*spots, streaks[0]).values()
    assert "most of the flaws are streaks" in states(*streaks, spots[0]).values()
    assert "leads" not in states(*spots)
    first = {"surface_contamination": (*spots, streaks[0]), "acid_bleed_out": (*streaks, spots[0])}
    for cause, flaws in first.items():
        assert diagnose({}, measurement={"parts": [PART | {"flaws": list(flaws)}]})[0].id == cause


def test_places_follow_a_turned_part():
    angle = np.radians(35)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    part = PART | {"outline": (np.array(PART["outline"]) @ turn).tolist()}
    spot = flaw("pale_zone", np.array([20, 75]) @ turn, (18, 18))
    assert "at an end" in states(spot, part=part)["place"]


def test_forms():
    assert "round" in states(flaw("spot", (200, 75), (20, 18)))["form"]
    assert "long" in states(flaw("streak", (200, 75), (60, 8)))["form"]
    crescent = flaw("spot", (200, 75), (20, 20))
    inner = np.array([200, 85]) + RING[13:23][::-1] * [-18, 18] * [-1, 1]
    crescent["outline"] = [*(np.array([200, 75]) + RING[12:] * 20).tolist(), *inner.tolist()]
    assert "crescent" in states(crescent)["form"]


def test_numbers_and_extents():
    many = [flaw("spot", (40 + 50 * i, 75), (8, 8), share=0.004) for i in range(6)]
    found = states(*many)
    assert "many spots" in found["count"]
    assert "0.4 % of the part" in found["extent"]
    assert "one spot" in states(many[0])["count"]


def test_bare_flaws_are_enough_and_unsought_ones_say_nothing():
    assert set(states({"kind": "spot"})) >= {"spot", "count"}
    assert flaw_evidence([{"lab": [40, 10, -20]}]) == []


def test_a_faint_flaw_says_less_than_a_clear_one():
    def chance(size):
        causes = diagnose({}, measurement={"parts": [PART | {"flaws": [flaw("two_tone", (200, 75), (90, 70), size)]}]})
        return next(one.probability for one in causes if one.id == "level_line")

    assert chance(1.2) < 0.5 * chance(9.0)


@pytest.mark.parametrize(
    ("kind", "cause", "doubt"),
    [
        ("two_tone", "level_line", "uneven_light"),
        ("gradient", "uneven_run", "directed_light"),
        ("pit", "pitting", "glare"),
    ],
)
def test_a_flaw_under_doubtful_light_says_less(kind, cause, doubt):
    def chance(flags):
        part = PART | {"flaws": [flaw(kind, (200, 75), (90, 70), 6.0)], "flags": flags}
        return next(one.probability for one in diagnose({}, measurement={"parts": [part]}) if one.id == cause)

    assert chance([doubt]) < 0.8 * chance([])


def test_light_from_one_side_draws_no_pits():
    part = PART | {"flaws": [flaw("pit", (200, 75), (90, 70))]}
    lit, plain = (flaw_evidence([part | {"flags": flags}]) for flags in (["directed_light"], []))
    assert [item.likelihoods for item in lit] == [item.likelihoods for item in plain]


def test_a_part_very_uneven_is_not_taken_for_sound():
    """Though a look for flaws found none; light from one side makes a part look so, and then it says nothing."""
    part = PART | {"flaws": [], "uniformity": 9.0}
    first = diagnose({}, measurement={"parts": [part]})[0]
    assert first.id != "sound"
    assert "very uneven (ΔE00 9.0)" in str(first.because)
    lit = diagnose({}, measurement={"parts": [part | {"flags": ["directed_light"]}]})[0]
    assert lit.id == "sound"
    assert "uneven" not in str(lit.because)


def test_a_shade_that_changes_step_by_step_along_the_jig_is_an_uneven_run():
    parts = [{"lab": [35 + 5 * i, 10, -20], "box": [200 * i, 0, 200 * i + 150, 400]} for i in range(5)]
    assert diagnose({}, measurement={"parts": parts})[0].id == "uneven_run"
    # a look that found no flaw on any of them speaks for sound parts, and leaves it the first of the faults
    looked = diagnose({}, measurement={"parts": [part | {"flaws": []} for part in parts]})
    assert next(one.id for one in looked if one.id != "sound") == "uneven_run"

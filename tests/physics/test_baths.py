"""Dye bath and seal sums: mass balance, handbook windows."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dyebook.errors import RecordError
from dyebook.physics.bathcare import bath_age, check_level, check_window, estimate_strength, make_up_bath, top_up_bath
from dyebook.physics.sealing import PREPARATION, SEALS, judge_seal, plan_seal, wet_steps


def test_make_up():
    assert make_up_bath(3, 2.5).dye_g == pytest.approx(7.5)
    assert make_up_bath(20, 1).notes  # handbook range 0.25 to 10 g/L


@given(st.floats(0.5, 10), st.floats(1, 100), st.floats(0, 1), st.floats(0, 0.3))
def test_dye_is_conserved(strength, volume, dyed_share, evaporated_share):
    """Left in the bath + taken by the work + carried out = what was there."""
    dyed = dyed_share * 100 * volume / 10
    now, _, left = estimate_strength(
        strength, volume, dyed_dm2=dyed, uptake_mg_per_dm2=2.0, evaporated_l=evaporated_share * volume
    )
    dragged_l = 1.5e-3 * dyed
    assert now * left + 2.0e-3 * dyed + strength * dragged_l == pytest.approx(strength * volume)


def test_evaporation_alone_needs_water_only():
    top = top_up_bath(3, 2, evaporated_l=0.2)
    assert top.water_l == pytest.approx(0.2)
    assert top.dye_g == pytest.approx(0, abs=1e-12)
    assert top.strength_g_per_l == pytest.approx(3 * 2 / 1.8)


def test_top_up_restores_strength_and_level():
    top = top_up_bath(3, 2, measured_g_per_l=2.2, present_volume_l=1.9)
    assert (2.2 * 1.9 + top.dye_g) / (1.9 + top.water_l) == pytest.approx(3)


def test_a_bath_too_strong_is_thinned():
    top = top_up_bath(3, 2, measured_g_per_l=4)
    assert top.dye_g == 0
    assert 4 * (2 - top.dilute_l) / 2 == pytest.approx(3)
    assert top.notes


def test_used_up_baths_are_refused():
    with pytest.raises(RecordError, match="leaves"):
        top_up_bath(0.1, 1, dyed_dm2=900, film_um=20)
    with pytest.raises(RecordError, match="level"):
        top_up_bath(3, 2, measured_g_per_l=2, present_volume_l=3)


def test_level_line():
    line = check_level(1.0, 1.0, 90)
    assert line.depth_mm == pytest.approx(100)
    assert not line.covers
    assert line.missing_l == pytest.approx(0.1)
    assert check_level(1.0 + line.missing_l, 1.0, 90).covers
    assert check_level(1.0, 1.0, 90, part_volume_l=0.1).rise_mm == pytest.approx(10)


def test_age_and_window():
    assert not bath_age(100, 2, 30).worn_out
    assert bath_age(100, 2, 30, limit_dm2_per_l=50).worn_out
    assert bath_age(10, 2, 30, limit_days=30).worn_out
    assert check_window("ph", 5.5, 5, 6) is None
    assert "below" in check_window("ph", 4.5, 5, 6)
    with pytest.raises(RecordError):
        check_window("ph", 15, 5, 6)


def test_hot_water_takes_two_to_three_minutes_per_um():
    """Architectural practice, values from memory."""
    plan = plan_seal(12)
    assert (plan.minutes_low, plan.minutes_high) == (24, 36)
    assert plan.minutes_low <= plan.minutes <= plan.minutes_high
    assert plan.temp_c == (96, 100)


def test_nickel_acetate_window_is_the_handbooks():
    """Metal finishing guidebook 2012-13: 200 °F, pH 5.3 to 5.5."""
    assert SEALS["nickel_acetate"].temp_c[1] == pytest.approx((200 - 32) / 1.8, abs=0.1)
    assert SEALS["nickel_acetate"].ph == (5.3, 5.5)


@pytest.mark.parametrize("kind", SEALS)
def test_every_seal_names_its_source_and_cautions(kind):
    plan = plan_seal(10, kind)
    assert any(word in plan.basis for word in ("handbook", "usual practice"))
    assert len(plan.cautions) >= 3
    assert plan_seal(10, kind, min_per_um=2).minutes == 20
    assert "your own" in plan_seal(10, kind, min_per_um=2).basis


def test_nickel_on_skin_is_flagged():
    assert any("skin" in text for text in plan_seal(10, "nickel_acetate", skin_or_food=True).cautions)
    assert not any("skin" in text for text in plan_seal(10, "hot_water", skin_or_food=True).cautions[:-1])


def test_steps_rinse_cold_first_and_dye_wet():
    steps = wet_steps(12, 8, "nickel_acetate", skin_or_food=True)
    assert next(step.name for step in steps) == "cold rinse"
    assert "never dried" in next(step.what for step in steps if step.name == "dye")
    assert "nickel_skin" in steps[4].cautions
    assert all(step.source for step in (*steps, *PREPARATION))


def test_unknown_seal():
    with pytest.raises(RecordError, match="unknown"):
        plan_seal(10, "magic")


@pytest.mark.parametrize(("stain", "passes"), [(0, True), (2, True), (3, False), (5, False)])
def test_a_dye_spot_of_two_or_less_passes(stain, passes):
    """ISO 2143: graded 0 to 5, accepted to 2; values from memory."""
    assert judge_seal(stain, 12.0, "6061", "hot_water").passes is passes


@pytest.mark.parametrize("part", [{"film_um": 2.0}, {"alloy": "2024"}, {"alloy": "A356"}])
def test_outside_its_scope_the_dye_spot_cannot_tell(part):
    """Scope of ISO 2143:2017: not below 3 µm, above 2 % copper or 4 % silicon."""
    found = judge_seal(1, **part)
    assert found.passes is None
    assert "cannot tell" in found.notes[0]


def test_a_nickel_seal_weakens_a_pass_and_the_scale_ends():
    assert any("says less" in note for note in judge_seal(1, kind="nickel_acetate").notes)
    assert not any("says less" in note for note in judge_seal(1, kind="hot_water").notes)
    with pytest.raises(RecordError, match="from 0"):
        judge_seal(6)

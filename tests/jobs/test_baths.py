"""Baths in the book: events, the strength between them, the shop's own windows and limits."""

from datetime import UTC, datetime

import pytest

from dyebook.errors import RecordError
from dyebook.jobs import baths
from dyebook.jobs.strength import strength_line
from dyebook.physics.bathcare import DRAG_OUT_ML_PER_DM2
from dyebook.record import DyeRecord


def _dip(book, day, area_dm2):
    settings = {"film_um": 10, "dye_g_per_l": 3, "bath_temp_c": 50, "dwell_min": 6}
    book.add_batch(DyeRecord("Ember", bath="E1", dyed_at=f"2026-03-{day:02d}", area_dm2=area_dm2, **settings))


def test_strength_falls_by_what_films_take_and_drops_carry(book, ember):
    baths.set_dye_rules(book, "Ember", uptake_mg_per_dm2=5.0)
    _dip(book, 2, 10.0)
    _dip(book, 3, 10.0)
    points = strength_line(book, ember).points
    assert [point.kind for point in points] == ["made_up", "dip", "dip"]
    # mass balance by hand: 6 g, less 5 mg/dm² x 20 dm², less what 20 dm² drag out at 3 g/L
    dragged_l = DRAG_OUT_ML_PER_DM2 * 20 / 1000
    left = (3.0 * (2.0 - dragged_l) - 0.1) / (2.0 - dragged_l)
    assert points[-1].dye_g_per_l == pytest.approx(left)


def test_a_measured_strength_starts_the_estimate_anew(book, ember):
    _dip(book, 2, 10.0)
    baths.note_bath(book, ember, "measured", "2026-03-03", dye_g_per_l=2.7)
    line = strength_line(book, ember, now=datetime(2026, 3, 4, tzinfo=UTC))
    assert [point.kind for point in line.points] == ["made_up", "dip", "measured", "now"]
    assert line.points[-2].dye_g_per_l == line.noted_g_per_l == 2.7
    assert line.now.dye_g_per_l == pytest.approx(2.7, rel=1e-2)
    assert line.dyed_dm2 == 0


def test_dips_without_an_area_are_told_not_guessed(book, ember):
    _dip(book, 2, float("nan"))
    line = strength_line(book, ember)
    assert (len(line.points), line.without_area) == (1, 1)


def test_the_age_is_held_against_the_shops_own_limits(book, ember):
    _dip(book, 2, 30.0)
    now = datetime(2026, 3, 11, 8, tzinfo=UTC)
    assert not baths.age_of_bath(book, ember, now).worn_out
    baths.set_dye_rules(book, "Ember", limit_dm2_per_l=14.0)
    age = baths.age_of_bath(book, ember, now)
    assert age.dm2_per_l == 15
    assert age.days == pytest.approx(10, abs=0.6)
    assert age.worn_out


def test_windows_speak_only_when_left(book, ember):
    baths.set_dye_rules(book, "Ember", ph=(5.0, 6.0), bath_temp_c=(45.0, 55.0))
    assert baths.outside_window(book, "Ember", ph=5.5, bath_temp_c=50.0) == []
    assert "below what this dye is kept at" in baths.outside_window(book, "Ember", ph=4.2, bath_temp_c=50.0)[0]
    with pytest.raises(RecordError, match="lower end goes first"):
        baths.set_dye_rules(book, "Ember", ph=(6.0, 5.0))


def test_a_bath_thrown_out_is_no_longer_on_the_bench(book, ember):
    assert list(baths.baths_by_name(book)) == ["Ember, E1"]
    baths.note_bath(book, ember, "thrown_out", "2026-04-01")
    assert baths.baths_by_name(book) == {}


def test_an_electrolyte_counts_the_charge_of_its_runs(book):
    tank = baths.electrolyte_named(book, "Tank", 2.0)
    assert baths.electrolyte_named(book, " Tank ") == tank
    baths.note_electrolyte(book, tank, "made_up", "2026-03-01", electrolyte_g_per_l=165.0, bath_volume_l=2.0)
    book.add("runs", electrolyte_id=tank, charge_ah=12.0, started_at="2026-03-02")
    assert baths.life_of_electrolyte(book, tank).ah_per_l == 6

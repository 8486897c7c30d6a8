"""The strength line: what films, drops, air and time do to a bath; two dyes in one tank; topping up."""

from datetime import UTC, datetime

import numpy as np
import pytest

from dyebook.errors import BookError
from dyebook.jobs import baths
from dyebook.jobs.bath_state import bath_line, bath_state, bath_states
from dyebook.jobs.paper import bath_facts
from dyebook.jobs.strength import learn_dips, loads_of_dips, strength_line, top_up_of
from dyebook.record import DyeRecord

NOW = datetime(2026, 4, 1, 12, tzinfo=UTC)


def _dip(book, day, area_dm2, **settings):
    answer = {"film_um": 10, "dye_g_per_l": 3, "bath_temp_c": 50, "dwell_min": 6, **settings}
    return book.add_batch(DyeRecord("Ember", bath="E1", dyed_at=f"2026-03-{day:02d}", area_dm2=area_dm2, **answer))


def test_water_lost_to_the_air_makes_it_stronger(book, ember):
    baths.set_dye_rules(book, "Ember", evaporation_l_per_day=0.01)
    now = strength_line(book, ember, now=NOW).now
    days = (NOW.timestamp() - datetime(2026, 3, 1, 8).astimezone().timestamp()) / 86400
    assert now.kind == "now"
    assert now.dye_g_per_l == pytest.approx(6.0 / (2.0 - 0.01 * days))


def test_a_noted_level_tells_the_strength(book, ember):
    baths.note_bath(book, ember, "filtered", "2026-03-10", bath_volume_l=1.6)
    line = strength_line(book, ember, now=NOW)
    assert line.points[-1].dye_g_per_l == pytest.approx(6.0 / 1.6)
    assert line.present_volume_l == 1.6
    _, plan = top_up_of(line, 2.0)
    assert (plan.dye_g, plan.water_l) == (pytest.approx(0), pytest.approx(0.4))


def test_checks_of_the_shop_replace_the_rule_of_thumb(book, ember):
    for day in (2, 3, 4, 5):
        _dip(book, day, 50.0)
    thumb = strength_line(book, ember, now=NOW)
    assert "rule of thumb" in thumb.basis
    # 200 dm² at 5 mg/dm², and the drops of 200 dm² at 3 g/L and 1.5 mL/dm²
    left = (3.0 * (2.0 - 0.3) - 1.0) / (2.0 - 0.3)
    baths.note_bath(book, ember, "measured", "2026-03-06", dye_g_per_l=left)
    line = strength_line(book, ember, now=NOW)
    assert "your 1 strength check" in line.basis
    assert thumb.uptake_mg_per_dm2 == pytest.approx(2.0)
    assert thumb.uptake_mg_per_dm2 < line.uptake_mg_per_dm2 < 5.5
    assert line.uptake_mg_per_dm2_sd / line.uptake_mg_per_dm2 < 0.7


def test_two_dyes_in_one_tank_share_what_films_hold(book, ember):
    other = baths.find_bath(book, "Heather", "E1", 2.0)
    baths.note_bath(book, other, "made_up", "2026-03-01T08:00", dye_g_per_l=1.0, bath_volume_l=2.0)
    batch = _dip(book, 2, 40.0)
    dye = book.row("baths", other)["dye_id"]
    book.add(
        "dips", batch_id=batch, position=2, dye_id=dye, bath_id=other, dye_g_per_l=1.0, bath_temp_c=50, dwell_min=6
    )
    first, second = strength_line(book, ember, now=NOW), strength_line(book, other, now=NOW)
    # 2 mg/dm² by the rule of thumb at 10 µm, three to one
    assert first.uptake_mg_per_dm2 == pytest.approx(1.5)
    assert second.uptake_mg_per_dm2 == pytest.approx(0.5)
    assert baths.dyes_met_together(book, ember) == {other}


def test_the_learned_bath_shares_uptake_out(book, ember):
    rng = np.random.default_rng(3)
    for place, dwell in enumerate((1, 2, 4, 8, 12, 1.5, 3, 6, 10)):
        batch = _dip(book, place + 2, 10.0, dwell_min=dwell)
        deep = 1 - np.exp(-dwell / 4)
        book.add_reading(batch, lab=(75 - 45 * deep + rng.normal(0, 0.3), 40 * deep, 55 * deep), source="photo")
    model = learn_dips("", book.frame(bath="E1"))
    with book.reading() as connection:
        from dyebook.book.life import dips_in_bath

        dips = dips_in_bath(connection, ember)
    loads, link = loads_of_dips(dips, None, model)
    assert loads[0] < loads[2] < loads[4], "a longer dip takes more"
    assert link.mg_per_dm2 == pytest.approx(1.75)
    own, figure = loads_of_dips(dips, 4.0, model)
    assert figure.mg_per_dm2 * sorted(own)[len(own) // 2] == pytest.approx(4.0)
    line = bath_line(book, ember, now=NOW)
    assert "the learned bath's absorbance" in line.basis
    assert 0 < line.uptake_mg_per_dm2 < 12
    assert strength_line(book, ember, now=NOW).now.dye_g_per_l != pytest.approx(line.now.dye_g_per_l, rel=1e-3)
    # wherever somebody looks, it is the same strength
    state = bath_state(book, baths.bath_called(book, "E1"), now=NOW)
    seen = [state.strength_g_per_l, bath_states(book, book.batches(20))[0].line.now.dye_g_per_l]
    seen.append(bath_facts(book, ember).line.now.dye_g_per_l)
    assert seen == pytest.approx([line.now.dye_g_per_l] * 3)


def test_a_bath_state_says_what_wants_doing(book, ember):
    baths.set_dye_rules(book, "Ember", ph=(5.0, 6.0), limit_days=10.0, tank_area_dm2=2.0)
    baths.note_bath(book, ember, "ph_moved", "2026-03-02", ph=4.4)
    _dip(book, 3, float("nan"))
    state = bath_state(book, baths.bath_called(book, "E1"), now=NOW)
    assert state.worn_out
    assert state.depth_mm == pytest.approx(100)
    assert any("bath pH 4.4 is below" in note for note in state.notes)
    assert any("1 dips" in note for note in state.notes)
    with pytest.raises(BookError, match="Ember, E1"):
        baths.bath_called(book, "E9")

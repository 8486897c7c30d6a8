"""Baths as they stand today, and what waits on the way from plan to verdict."""

from datetime import timedelta

import pytest

from dyebook.errors import RecordError
from dyebook.jobs import orders
from dyebook.jobs.bath_state import bath_states
from dyebook.jobs.baths import find_bath, note_bath, set_dye_rules, want_strength
from dyebook.jobs.run import finish_run, note_current, plan_run, start_run, this_moment
from dyebook.jobs.strength import strength_line
from dyebook.jobs.today import look_over
from dyebook.record import DyeRecord
from dyebook.report.baths import care_pairs, waiting_text


def _dip(book, day, area=10.0, dye="Ember", bath="E1", **more):
    return book.add_batch(DyeRecord(dye, 10, 3, 50, 6, bath=bath, area_dm2=area, dyed_at=day, **more))


def _care(book):
    return bath_states(book, book.batches(200))[0]


def test_the_newest_part_of_the_line_is_the_end_of_the_whole_line(book):
    bath = find_bath(book, "Ember", "E1", 2)
    note_bath(book, bath, "made_up", "2026-01-01T08:00", dye_g_per_l=3, bath_volume_l=2)
    _dip(book, "2026-01-02")
    note_bath(book, bath, "topped_up", "2026-02-01T08:00", dye_g_per_l=3)
    _dip(book, "2026-02-01T07:00")
    _dip(book, "2026-02-02")
    whole, newest = strength_line(book, bath), strength_line(book, bath, newest=True)
    assert newest.points == whole.points[-2:]
    assert (newest.dyed_dm2, newest.bath_volume_l) == (whole.dyed_dm2, whole.bath_volume_l) == (10, 2)


def test_a_bath_wants_topping_up_once_a_tenth_of_its_dye_is_gone(book):
    bath = find_bath(book, "Ember", "E1", 2)
    set_dye_rules(book, "Ember", uptake_mg_per_dm2=6.0)
    note_bath(book, bath, "made_up", "2026-01-01", dye_g_per_l=3, bath_volume_l=2)
    # 0.6 g of 6 g at 6 mg/dm2 and next to nothing dragged out: 100 dm2
    assert _care(book).due_in_dm2 == pytest.approx(100)
    _dip(book, "2026-01-02", area=60)
    assert 0 < _care(book).due_in_dm2 < 41
    _dip(book, "2026-01-03", area=60)
    care = _care(book)
    assert care.due_in_dm2 < 0
    # 120 dm2 take 0.72 g of dye and drag 0.18 L of bath out, which held 0.54 g
    assert care.top_up.dye_g == pytest.approx(0.72 + 0.54, rel=0.02)
    assert dict(care_pairs(care))["top-up"].startswith("due: 1.3")


def test_what_was_not_noted_is_not_guessed(book):
    _dip(book, "2026-01-02")
    care = _care(book)
    assert (care.wanted_g_per_l, care.line.noted_g_per_l, care.top_up, care.due_in_dm2, care.age) == (None,) * 5
    assert dict(care_pairs(care)) == {"kept at": "50 °C, as last dipped", "strength": "not noted"}
    set_dye_rules(book, "Ember", bath_temp_c=(48, 52))
    assert dict(care_pairs(_care(book)))["kept at"] == "48–52 °C"


@pytest.mark.parametrize(
    ("wanted", "g_per_l", "words"),
    [
        ("made", 3.0, "wanted 3 g/L, as topped up"),
        ("recipe", 3.5, "wanted 3.5 g/L, as in the recipe"),
        ("measured", 2.4, "wanted 2.4 g/L, as measured"),
        (2.75, 2.75, "wanted 2.75 g/L, as set"),
    ],
)
def test_the_strength_wanted_is_a_setting_of_the_bath(book, wanted, g_per_l, words):
    """The grams and the area until they are due follow it; closed form: grams are litres times what is missing."""
    bath = find_bath(book, "Ember", "E1", 2.0)
    note_bath(book, bath, "made_up", "2026-01-01", dye_g_per_l=2.9, bath_volume_l=2)
    note_bath(book, bath, "measured", "2026-01-02", dye_g_per_l=2.4)
    note_bath(book, bath, "topped_up", "2026-01-03", dye_g_per_l=3, bath_volume_l=2)
    note_bath(book, bath, "measured", "2026-01-04", dye_g_per_l=2.4)
    set_dye_rules(book, "Ember", dye_g_per_l=3.5, uptake_mg_per_dm2=6)
    want_strength(book, bath, wanted)
    care = _care(book)
    assert care.wanted_g_per_l == g_per_l
    now = care.strength_g_per_l
    assert care.top_up.dye_g == pytest.approx(max(2 * (g_per_l - now), 0.0), abs=1e-9)
    assert care.due_in_dm2 == pytest.approx((now - 0.9 * g_per_l) * 2 * 1000 / care.uptake_mg_per_dm2)
    assert dict(care_pairs(care))["strength"].endswith(words)


def test_without_a_recipe_the_bath_goes_by_what_it_was_made_to(book):
    bath = find_bath(book, "Ember", "E1", 2.0)
    want_strength(book, bath, "recipe")
    note_bath(book, bath, "made_up", "2026-01-01", dye_g_per_l=2.9, bath_volume_l=2)
    assert (_care(book).wanted_g_per_l, _care(book).line.wanted_as) == (2.9, "made_up")
    with pytest.raises(RecordError, match="strength"):
        want_strength(book, bath, 4000.0)


def test_a_bath_worked_out_empty_asks_for_a_measurement(book):
    bath = find_bath(book, "Ember", "E1", 2)
    note_bath(book, bath, "made_up", "2026-01-01", dye_g_per_l=0.1, bath_volume_l=2)
    _dip(book, "2026-01-02", area=900)
    assert "measure its strength first" in dict(care_pairs(_care(book)))["top-up"]


def test_the_bath_dipped_last_comes_first_and_one_thrown_out_not_at_all(book):
    for name in ("E1", "E2", "E3"):
        _dip(book, "2026-01-02", bath=name)
    note_bath(book, 3, "thrown_out")
    find_bath(book, "Heather", "H1")
    assert [state.name for state in bath_states(book, book.batches(200))] == ["E2", "E1", "H1"]


def test_work_is_followed_from_plan_to_verdict(book):
    assert look_over(book).next_step == "plan"
    run = plan_run(book, area_dm2=2.0, current_a=3.0, film_um=12.0, minutes=24)
    assert (look_over(book).next_step, look_over(book).waiting["run"]) == ("run", [run])
    begin = this_moment()
    start_run(book, run, at=begin - timedelta(minutes=25))
    assert look_over(book).next_step == "run"
    note_current(book, run, 3.0, at=begin)
    finish_run(book, run)
    assert (look_over(book).next_step, look_over(book).waiting["dye"]) == ("dye", [run])
    book.delete("runs", run)

    batch = _dip(book, "2026-01-02")
    assert (look_over(book).next_step, look_over(book).waiting["photo"]) == ("photo", [batch])
    order = orders.take_order(book, "Knobs")
    assert look_over(book).waiting["shade"] == [order]
    target = orders.set_target(book, order, (40, 40, 44))
    orders.answer_order(book, order, batch)
    book.add_reading(batch, lab=(40, 40, 44), wet=False)
    assert (look_over(book).next_step, look_over(book).waiting["photo"]) == ("photo", [batch])
    orders.decide(book, batch, target, "pass")
    assert look_over(book).next_step == "plan"


def test_what_waits_is_said_in_words():
    assert waiting_text("dye", 2) == "2 to dye"
    assert waiting_text("photo", 0) == ""

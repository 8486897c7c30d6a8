"""What stands on the bench: todos of the latest batches, and baths that have moved."""

import pytest

from dyebook.jobs.today import look_at_baths, look_over
from dyebook.record import DyeRecord


def _dip(book, lab=None, u=0.5, flags=None, wet=False, **changes):
    settings = {"dye": "Ember", "bath": "E1", "film_um": 12, "dye_g_per_l": 3, "bath_temp_c": 50, "dwell_min": 6}
    number = book.add_batch(DyeRecord(**{**settings, **changes}))
    if lab is not None:
        spread = {"L_sd": u, "a_sd": u, "b_sd": u}
        book.add_reading(number, lab=lab, flags=flags, wet=wet, sealed=False, **spread)
    return number


def test_an_empty_book_wants_nothing(book):
    today = look_over(book)
    assert (today.recent, today.todos, look_at_baths(book)) == ((), (), ((), ()))


def test_unread_comes_before_doubtful_before_wet(book):
    wet = _dip(book, (40, 40, 44), wet=True)
    doubtful = _dip(book, (40, 40, 44), flags=["glare"])
    _dip(book, (40, 40, 44))
    unread = _dip(book)
    todos = look_over(book).todos
    assert [(one.kind, one.batch) for one in todos] == [("unread", unread), ("doubtful", doubtful), ("wet", wet)]
    assert todos[1].doubts == ("glare",)


def test_a_fading_bath_has_moved(book):
    for step in range(5):
        _dip(book, (40 + 1.5 * step, 40, 44))
    (bath,) = look_at_baths(book)[0]
    assert (bath.before.batch, bath.last.batch, bath.dips) == (1, 5, 5)
    assert bath.moved


def test_what_the_readings_cannot_tell_is_not_called_moved(book):
    _dip(book, (40, 40, 44), u=3)
    _dip(book, (44, 40, 44), u=3)
    (bath,) = look_at_baths(book)[0]
    assert bath.delta_e00 > 2
    assert not bath.moved


@pytest.mark.parametrize("other", [{"dwell_min": 8}, {"film_um": 15}, {"bath_temp_c": 55}, {"dye_g_per_l": 4}])
def test_another_recipe_is_not_compared(book, other):
    _dip(book, (40, 40, 44))
    _dip(book, (60, 40, 44), **other)
    (bath,) = look_at_baths(book)[0]
    assert bath.before is None


def test_open_orders_stand_by_their_day(book):
    book.add("orders", name="Knobs", due_on="2026-04-01")
    book.add("orders", name="Tags")
    book.add("orders", name="Pegs", due_on="2026-03-01")
    book.add("orders", name="Grips", due_on="2026-02-01", done_at="2026-01-30")
    assert [stand.order["name"] for stand in look_over(book).orders] == ["Pegs", "Knobs", "Tags"]


def test_a_bath_that_was_thrown_out_is_not_on_the_bench(book):
    _dip(book, (40, 40, 44))
    _dip(book, (40, 40, 44), bath="E2")
    baths = {row["name"]: row["id"] for row in book.rows("baths")}
    book.add("bath_events", bath_id=baths["E1"], at="2026-03-01", kind="thrown_out")
    assert [bath.bath for bath in look_at_baths(book)[0]] == ["E2"]
    book.add("bath_events", bath_id=baths["E1"], at="2026-03-02", kind="made_up")
    assert {bath.bath for bath in look_at_baths(book)[0]} == {"E1", "E2"}

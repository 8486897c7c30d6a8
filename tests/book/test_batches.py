"""What goes into the book comes out of it, and nothing is lost on the way."""

import math

import pytest

from dyebook.book.store import open_book
from dyebook.errors import BookError, RecordError
from dyebook.lab import Lab


def test_a_batch_comes_back_as_it_was_set(store, dip):
    record = dip(
        (41.0, 3.5, -38.25), bath="Tank 2", film_measured_um=11.4, rinse_temp_c=18, alloy="6061", note="first µ 🎨"
    )
    number = store.add_batch(record)
    row = store.batch(number)
    for name in ("dye", "bath", "film_um", "dye_g_per_l", "bath_temp_c", "dwell_min", "ph", "film_measured_um"):
        assert getattr(row, name) == getattr(record, name), name
    assert (row.rinse_temp_c, row.alloy, row.note) == (18, "6061", "first µ 🎨")
    assert row.lab == Lab(41.0, 3.5, -38.25)
    assert row.lab_u == pytest.approx((0.8, 0.9, 1.0))
    assert math.isnan(row.area_dm2)
    assert row.to_dict()["area_dm2"] is None
    assert row.added_by == "Ada"


def test_newest_come_first_and_pages_follow(store, dip):
    numbers = [store.add_batch(dip(dwell_min=minutes)) for minutes in (1, 2, 3, 4)]
    assert [row.batch for row in store.batches()] == numbers[::-1]
    assert [row.dwell_min for row in store.batches(2, offset=1)] == [3, 2]


def test_filters(store, dip):
    store.add_batch(dip(dye="Ember", alloy="6061", dyed_at="2026-03-01T23:30"))
    store.add_batch(dip(bath="Tank 2", note="100 % of rim", dyed_at="2026-03-02"))
    assert [row.dye for row in store.batches(dye="Ember")] == ["Ember"]
    assert [row.bath for row in store.batches(bath="Tank 2")] == ["Tank 2"]
    assert [row.dye for row in store.batches(alloy="6061")] == ["Ember"]
    assert [row.bath for row in store.batches(text="100 %")] == ["Tank 2"]
    assert store.batches(text="100 _") == []
    assert [row.dye for row in store.batches(since="2026-03-01", until="2026-03-01")] == ["Ember"]
    assert [row.dye for row in store.batches(since="1.3.2026", until="2026-3-1")] == ["Ember"]
    for nonsense in ("31.02.2026", "March", "nan", "inf,0,0"):
        for name in ("since", "until"):
            with pytest.raises(RecordError, match="year-month-day"):
                store.batches(**{name: nonsense})
    with pytest.raises(RecordError, match="2026-04-03 or 2026-03-04"):
        store.batches(until="03/04/2026")
    with pytest.raises(RecordError, match="year 1"):
        store.batches(since="0001-01-01")


def test_a_redo_points_to_the_batch_it_replaces(store, dip):
    first = store.add_batch(dip())
    assert store.batch(store.add_batch(dip(), replaces_id=first)).replaces == first
    with pytest.raises(BookError, match="refused a row"):
        store.add_batch(dip(), replaces_id=99)
    assert len(store.batches()) == 2


def test_a_second_opening_sees_it_all_without_the_migration_library(store, dip, book_url, tmp_path):
    store.add_batch(dip())
    with open_book(book_url, photos=tmp_path / "photos") as again:
        assert len(again.batches()) == 1


def test_settings_hold_any_json(store):
    assert store.setting("card_lab", [49.5, 0, 0]) == [49.5, 0, 0]
    store.set_setting("card_lab", [48.1, 0.2, -0.4])
    store.set_setting("supply_max_a", 3)
    assert store.settings() == {"card_lab": [48.1, 0.2, -0.4], "supply_max_a": 3}
    store.set_setting("supply_max_a", 5)
    assert store.history("settings")[-1]["old"] == {"supply_max_a": 3}


def test_a_batch_can_be_done_again_with_the_same_settings(store, dip):
    first = store.batch(store.add_batch(dip((40, 0, 0), bath="Tank 1", rinse_temp_c=18, note="once")))
    again = store.batch(store.add_batch(first.record()))
    assert again.record() == first.record()
    assert (again.lab, again.note) == (None, None)

"""What goes into the book comes out of it, and nothing is lost on the way."""

import hashlib
import math

import pandas as pd
import pytest

from dyebook.book.store import open_book
from dyebook.errors import BookError, PhotoError, RecordError
from dyebook.lab import Lab
from dyebook.record import Measurement, Reading


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


def test_the_newest_dips_of_each_bath_are_those_of_the_whole_table(store, dip):
    for number in range(12):
        read = (40.0 + number, 3.5, -38.25) if number % 4 else None
        store.add_batch(dip(read, dye=("Ember", "Moss")[number % 2], bath=(None, "B1")[number // 6], note=str(number)))
    whole = store.frame()
    expected = whole.groupby(["dye", "bath"], dropna=False).tail(2).reset_index(drop=True)
    pd.testing.assert_frame_equal(store.frame(newest=2), expected)
    assert store.frame(newest=2, dye="Moss")["batch"].tolist() == expected[expected["dye"] == "Moss"]["batch"].tolist()
    assert store.frame(newest=1, dye="Moss", bath="B1")["note"].tolist() == ["11"]
    assert len(store.frame(newest=2, dye="Nettle")) == 0


def test_filters(store, dip):
    store.add_batch(dip(dye="Ember", alloy="6061", dyed_at="2026-03-01T23:30"))
    store.add_batch(dip(bath="Tank 2", note="100 % of rim", dyed_at="2026-03-02"))
    assert [row.dye for row in store.batches(dye="Ember")] == ["Ember"]
    assert [row.bath for row in store.batches(bath="Tank 2")] == ["Tank 2"]
    assert [row.dye for row in store.batches(alloy="6061")] == ["Ember"]
    assert [row.bath for row in store.batches(text="100 %")] == ["Tank 2"]
    assert store.batches(text="100 _") == []
    assert [row.dye for row in store.batches(since="2026-03-01", until="2026-03-01")] == ["Ember"]
    with pytest.raises(RecordError, match="year-month-day"):
        store.batches(until="01.03.2026")


def test_a_photo_is_kept_byte_by_byte_under_its_hash(store, dip, photo, tmp_path):
    path = tmp_path / "rim.jpg"
    path.write_bytes(photo)
    row = store.batch(store.add_batch(dip(), path))
    assert row.photo == hashlib.sha256(photo).hexdigest()
    assert store.photo_bytes(row.photo) == photo
    assert store.photos.path(row.photo).read_bytes() == photo
    assert store.rows("photos")[0]["name"] == "rim.jpg"
    assert store.check() == []


def test_one_photo_may_show_two_batches(store, dip, photo):
    first, second = store.add_batch(dip(), photo), store.add_batch(dip(), photo)
    assert store.batch(first).photo == store.batch(second).photo
    assert len(list(store.photos.names())) == 1


def test_a_photo_that_is_none_leaves_nothing_behind(store, dip):
    with pytest.raises(PhotoError, match="is no photo; give a JPEG"):
        store.add_batch(dip(), b"%PDF-1.7 hello")
    with pytest.raises(PhotoError, match="empty"):
        store.add_batch(dip(), b"")
    with pytest.raises(PhotoError, match="cannot be read"):
        store.add_batch(dip(), "no such file.jpg")
    assert store.batches() == []
    assert list(store.photos.names()) == []


def test_a_measurement_keeps_the_way_back_to_its_card(store, dip, photo):
    part = Reading(
        Lab(40, 5, -30), (1.0, 1.1, 1.2), (0.4, math.nan, 0.6), outline=((1, 2), (3, 4), (5, 0)), flags=("glare",)
    )
    told = Measurement(
        "rim.jpg", (4000, 3000), "grey", ((0, 0), (9, 0), (9, 9), (0, 9)), Lab(49.5, 0, 0), (part,), ("uneven_light",)
    )
    number = store.add_batch(dip(sealed=False, wet=True), photo, told)
    (reading,) = store.rows("readings", batch_id=number)
    assert reading["card"]["quad"][2] == [9, 9]
    assert reading["outline"] == [[1, 2], [3, 4], [5, 0]]
    assert reading["flags"] == ["uneven_light", "glare"]
    assert (reading["L_sd"], reading["a_sd"], reading["L_spread"]) == (0.4, None, 1.0)
    assert (reading["wet"], reading["sealed"]) == (True, False)
    assert store.row("photos", reading["photo_id"])["batch_id"] == number
    with pytest.raises(BookError, match="part 3 was asked for"):
        store.add_batch(dip(), photo, told, part_index=3)
    assert len(store.batches()) == 1


def test_readings_in_one_state_are_averaged_and_the_newest_state_counts(store, dip):
    number = store.add_batch(dip((40, 0, -30), sealed=False))
    store.add_reading(number, (42, 0, -30), sealed=False, L_sd=1.0, a_sd=1.0, b_sd=1.0)
    assert store.batch(number).lab == Lab(41, 0, -30)
    store.add_reading(number, (38, 1, -29), sealed=True)
    row = store.batch(number)
    assert (row.lab, row.sealed, row.readings, row.lab_u) == (Lab(38, 1, -29), True, 3, None)


def test_a_reading_needs_its_batch_and_possible_values(store, dip):
    with pytest.raises(BookError, match="no number 7"):
        store.add_reading(7, (40, 0, 0))
    number = store.add_batch(dip())
    with pytest.raises(RecordError, match=r"L\* is 140"):
        store.add_reading(number, (140, 0, 0))
    assert store.rows("readings") == []


def test_a_redo_points_to_the_batch_it_replaces(store, dip):
    first = store.add_batch(dip())
    assert store.batch(store.add_batch(dip(), replaces_id=first)).replaces == first
    with pytest.raises(BookError, match="refused a row"):
        store.add_batch(dip(), replaces_id=99)
    assert len(store.batches()) == 2


def test_frame_has_the_contracts_columns(store, dip):
    number = store.add_batch(dip((40, 1, -30), bath="Tank 2", sealed=False))
    store.add_reading(number, (38, 1, -30), sealed=True)
    store.add_batch(dip())  # never read: nothing to learn from
    frame = store.frame()
    assert {"film_um", "dye_g_per_l", "bath_temp_c", "dwell_min", "ph", "L", "a", "b", "L_sd"} <= set(frame)
    assert frame["L"].tolist() == [40, 38]
    assert frame["L_sd"].tolist()[0] == 0.8
    assert store.frame(unsealed_only=True)["L"].tolist() == [40]
    assert len(store.frame(dye="Ember")) == 0
    assert store.frame(dye="Ember")["film_um"].dtype == float


def test_frame_leaves_out_two_colour_work_that_does_not_say_which_dip_was_read(store, dip):
    number = store.add_batch(dip((40, 1, -30)))
    ember = store.add("dyes", name="Ember")
    second = store.add("dips", batch_id=number, position=2, dye_id=ember, dwell_min=2, masked="left half")
    assert len(store.frame()) == 0
    store.add_reading(number, (55, 40, 40), dip_id=second)
    frame = store.frame()
    assert (frame["dye"].tolist(), frame["L"].tolist(), frame["dwell_min"].tolist()) == (["Ember"], [55], [2])
    assert store.batch(number).dips == 2


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


def test_the_frame_averages_as_the_list_does(store, dip):
    number = store.add_batch(dip((40, 1, -30)))
    store.add_reading(number, (43, 2, -33), L_sd=2.0, a_sd=2.0, b_sd=2.0)
    store.add_reading(number, (46, 3, -36))  # says nothing of its uncertainty
    (row,), frame = store.batches(), store.frame()
    assert frame[["L", "a", "b"]].iloc[0].tolist() == pytest.approx(row.lab)
    assert frame[["L_sd", "a_sd", "b_sd"]].iloc[0].tolist() == pytest.approx(row.lab_u)
    assert row.lab_u[0] == pytest.approx(math.sqrt((0.8**2 + 2**2) / 2))
    assert frame["wet"].iloc[0] is None


def test_a_reading_typed_in_says_so(store, dip):
    number = store.add_batch(dip((41.0, 3.5, -38.25)))
    assert [reading["source"] for reading in store.rows("readings", batch_id=number)] == ["typed"]

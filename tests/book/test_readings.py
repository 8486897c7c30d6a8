"""Readings: what they keep of their photo, what a batch's readings come to, and those that wait for another method."""

import math

import pytest

from dyebook.book.readings import count_waiting, put_in_place, waiting_photos
from dyebook.errors import BookError, RecordError
from dyebook.lab import Lab
from dyebook.record import Measurement, Reading


def test_a_measurement_keeps_the_way_back_to_its_card(store, dip, photo):
    part = Reading(
        Lab(40, 5, -30), (1.0, 1.1, 1.2), (0.4, math.nan, 0.6), outline=((1, 2), (3, 4), (5, 0)), flags=("glare",)
    )
    answer = Measurement(
        "rim.jpg", (4000, 3000), "grey", ((0, 0), (9, 0), (9, 9), (0, 9)), Lab(49.5, 0, 0), (part,), ("uneven_light",)
    )
    number = store.add_batch(dip(sealed=False, wet=True), photo, answer)
    (reading,) = store.rows("readings", batch_id=number)
    assert reading["card"]["quad"][2] == [9, 9]
    assert reading["outline"] == [[1, 2], [3, 4], [5, 0]]
    assert reading["flags"] == ["uneven_light", "glare"]
    assert (reading["L_sd"], reading["a_sd"], reading["L_spread"]) == (0.4, None, 1.0)
    assert (reading["wet"], reading["sealed"]) == (True, False)
    assert store.row("photos", reading["photo_id"])["batch_id"] == number
    with pytest.raises(BookError, match="part 3 was asked for"):
        store.add_batch(dip(), photo, answer, part_index=3)
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


def test_a_reading_typed_in_says_so(store, dip):
    number = store.add_batch(dip((41.0, 3.5, -38.25)))
    assert [reading["source"] for reading in store.rows("readings", batch_id=number)] == ["typed"]


def test_readings_by_photo_wait_until_a_method_has_made_them(store, dip, photo):
    batch = store.add_batch(dip())
    number = store.add_reading(batch, lab=(10, 0, 0), photo=photo, source="photo", wet=True, outline=[[0, 0], [1, 1]])
    store.add_reading(batch, lab=(10, 0, 0))
    (waiting,) = waiting_photos(store, "m")
    assert [one["id"] for one in waiting.readings] == [number]
    assert put_in_place(store, "m", [(number, {"L": 1, "a": 2, "b": 3, "source": "photo"})]) == [number]
    assert (count_waiting(store, "m"), count_waiting(store, "n")) == (0, 1)
    (new,) = (row for row in store.rows("readings") if row["source"] == "photo")
    assert new["wet"] is True or new["wet"] == 1
    assert new["measured_with"] == {"method": "m", "instead_of": number}
    assert [row["id"] for row in store.rows("readings", deleted=True)] == [number]
    assert store.check() == []


def test_a_reading_that_was_deleted_meanwhile_stays_deleted(store, dip, photo):
    batch = store.add_batch(dip())
    number = store.add_reading(batch, lab=(10, 0, 0), photo=photo, source="photo")
    store.delete("readings", number)
    assert put_in_place(store, "m", [(number, {"L": 1, "a": 2, "b": 3, "source": "photo"})]) == []
    assert store.rows("readings") == []


def test_pages_follow_one_another(store, dip, photo, monkeypatch):
    monkeypatch.setattr("dyebook.book.readings._PAGE", 2)
    batch = store.add_batch(dip())
    for number in range(5):
        store.add_reading(batch, lab=(10, 0, 0), photo=photo + bytes([number]), source="photo")
    numbers = [one.photo_id for one in waiting_photos(store, "m")]
    assert numbers == sorted(set(numbers))
    assert len(numbers) == 5

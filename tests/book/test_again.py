"""Readings that wait to be measured again, in both kinds of database."""

from dyebook.book.readings import count_waiting, put_in_place, waiting_photos


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

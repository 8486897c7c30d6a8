"""Stepped coupons in the book: bands that share a film and a moment, found again by the learning and by tables."""

import numpy as np
import pytest

from dyebook.book.coupons import add_strip
from dyebook.book.store import open_book
from dyebook.errors import BookError, RecordError
from dyebook.record import Measurement, Reading

LABS = [(25, 15, -45), (40, 5, -38), (60, -5, -20)]
DWELLS = (12.0, 4.0, 1.0)


@pytest.fixture
def measurement():
    parts = tuple(Reading(lab, (0.5, 0.5, 0.5), (0.8, 0.9, 1.0)) for lab in LABS)
    return Measurement("strip.jpg", (640, 480), "grey", None, (49.5, 0, 0), parts)


@pytest.fixture
def strip(store, dip, photo, measurement):
    """Numbers of the batches of a strip, kept with its photo between two plain dips."""
    store.add_batch(dip((50, 0, 0)))
    numbers = add_strip(store, dip(bath="B1", dyed_at="2026-03-01T10:00", wet=True), DWELLS, photo, measurement)
    store.add_batch(dip((70, 0, 0)))
    return numbers


def test_each_band_is_a_batch_of_one_run(store, strip):
    rows = [store.batch(number) for number in strip]
    assert [row.dwell_min for row in rows] == list(DWELLS)
    assert [tuple(row.lab) for row in rows] == LABS
    assert len({row["run_id"] for row in store.rows("batches") if row["id"] in strip}) == 1
    assert len({row.photo for row in rows}) == 1
    assert all(row.wet for row in rows)
    assert store.check() == []


def test_learning_sees_which_dips_are_bands(store, strip):
    frame = store.frame()
    assert list(frame["coupon"].fillna("")) == ["", *[str(strip[0])] * 3, ""]
    assert list(frame["dwell_min"]) == [5.0, *DWELLS, 5.0]


def test_a_strip_of_which_one_band_is_left_is_none(store, strip):
    for number in strip[:2]:
        store.delete("batches", number)
    assert store.frame()["coupon"].isna().all()


def test_the_film_is_corrected_for_all_bands_at_once(store, strip):
    store.correct_batch(strip[1], {"film_um": 9.5})
    assert [store.batch(number).film_um for number in strip] == [9.5, 9.5, 9.5]


def test_bands_stay_together_through_a_table(store, strip, tmp_path):
    store.export_file(tmp_path / "all.csv")
    with open_book(tmp_path / "other.dyebook") as other:
        answer = other.import_file(tmp_path / "all.csv")
        assert answer.batches == 5
        assert other.frame()["coupon"].equals(store.frame()["coupon"])
        again = other.import_file(tmp_path / "all.csv", duplicates="skip")
        assert (again.batches, again.skipped) == (0, 5)


def test_bands_with_two_films_are_refused(store, tmp_path):
    head = "dye,film_um,dye_g_per_l,bath_temp_c,dwell_min,coupon"
    (tmp_path / "notes.csv").write_text(f"{head}\nEmber,12,3,40,5,S1\nEmber,11,3,40,2,S1\n")
    with pytest.raises(BookError, match="row 3: coupon S1 has another film_um than row 2"):
        store.import_file(tmp_path / "notes.csv")
    assert store.batches() == []


def test_a_band_without_its_part_is_a_mistake(store, dip, measurement):
    with pytest.raises(ValueError, match="3 parts for 2 dwells"):
        add_strip(store, dip(), (4.0, 2.0), None, measurement)


def test_all_bands_or_none(store, dip):
    with pytest.raises(RecordError, match="time in dye is inf min"):
        add_strip(store, dip(), (4.0, np.inf))
    assert store.batches() == []

"""Lots of dyes and chemicals: the day a tin was opened, and which batches were dyed from it."""

import pytest

from dyebook.errors import RecordError
from dyebook.jobs import wet
from dyebook.jobs.baths import lot_in_use, open_lot


def test_the_lot_in_use_is_the_one_opened_last_by_that_day(book):
    open_lot(book, "Ember", "L1", "2026-03-01")
    open_lot(book, "Ember", " L2 ", "2026-05-01")
    open_lot(book, "Heather", "H9", "2026-04-01")
    days = ("2026-02-28", "2026-03-01", "2026-04-30T23:00", "2026-05-01T08:00", None)
    assert [lot_in_use(book, "Ember", day) for day in days] == [None, "L1", "L1", "L2", "L2"]
    with pytest.raises(RecordError, match="number on its tin"):
        open_lot(book, "Ember", "")


def test_a_batch_of_a_run_names_the_lot_of_its_day(book):
    open_lot(book, "Ember", "L1", "2026-03-01")
    open_lot(book, "Ember", "L2", "2026-05-01")
    dip = {"dye_g_per_l": 3.0, "bath_temp_c": 50.0, "dwell_min": 6.0}
    kept = []
    for own in ({}, {"dye_lot": "by hand"}):
        part = wet.take_part(book, 12.0)
        dyed = {"dye": "Ember", "bath": "E1", "dip": dip | own, "dyed_at": "2026-04-02T10:00"}
        kept.append(wet.keep_batch(book, part, **dyed))
    assert [book.batch(number).dye_lot for number in kept] == ["L1", "by hand"]


def test_a_seal_test_stands_with_the_seal_and_in_the_list(book):
    part = wet.take_part(book, 12.0)
    dip = {"dye_g_per_l": 3.0, "bath_temp_c": 50.0, "dwell_min": 6.0}
    number = wet.keep_batch(book, part, dye="Ember", bath="E1", dip=dip, seal=wet.seal_values("hot_water", 30.0))
    assert wet.keep_seal_test(book, part, 3).passes is False
    assert book.batch(number).seal_stain == 3
    assert book.rows("seals", batch_id=number)[0]["seal_stain"] == 3

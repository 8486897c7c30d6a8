"""Orders from the customer's words to the verdict."""

import numpy as np
import pytest

from dyebook.errors import DyebookError, RecordError
from dyebook.jobs import orders
from dyebook.jobs.trouble import judge_batch, target_for
from dyebook.lab import Lab
from dyebook.record import DyeRecord, Measurement, Reading

PHOTO = b"\xff\xd8\xff\xe0 as good as a photo to the book, which keeps bytes"
WANTED = Lab(40, 40, 44)


def _dip(book, lab=None, u=0.3, **state):
    number = book.add_batch(DyeRecord("Ember", 12, 3, 50, 6, bath="E1"))
    if lab is not None:
        book.add_reading(number, lab=lab, **dict.fromkeys(("L_sd", "a_sd", "b_sd"), u), **state)
    return number


def _seen(*labs):
    error = {"photo": np.diag([0.5] * 3).tolist(), "own": np.diag([0.14] * 3).tolist()}
    told = {"outline": ((0, 0), (9, 0), (9, 9)), "box": (0, 0, 9, 9), "lab_cov_parts": error}
    parts = tuple(Reading(Lab(*lab), (0.5,) * 3, (0.8,) * 3, **told) for lab in labs)
    return Measurement("sample.jpg", (10, 10), "grey", ((0, 0), (1, 0), (1, 1), (0, 1)), Lab(49.5, 0, 0), parts)


def test_an_order_needs_a_name_of_its_own(book):
    orders.take_order(book, " Lamp  knobs ", "a lamp maker", "our old orange", "2026-12-01", True)
    (row,) = book.rows("orders")
    assert (row["name"], row["due_on"], row["skin_contact"]) == ("Lamp knobs", "2026-12-01", True)
    with pytest.raises(RecordError, match="in the book already"):
        orders.take_order(book, "Lamp knobs")
    with pytest.raises(RecordError, match="no name"):
        orders.take_order(book, "  ")


def test_open_orders_come_by_their_day(book):
    for name, day in (("late", None), ("second", "2026-12-07"), ("first", "2026-12-01"), ("gone", "2026-11-01")):
        orders.take_order(book, name, due_on=day)
    orders.close_order(book, 4)
    assert [stand.order["name"] for stand in orders.open_orders(book)] == ["first", "second", "late"]
    orders.reopen_order(book, 4)
    assert orders.open_orders(book)[0].order["name"] == "gone"


def test_the_nearest_batch_answers_and_the_newest_target_counts(book):
    number = orders.take_order(book, "Knobs")
    assert orders.order_stand(book, number).target is None
    orders.set_target(book, number, (60, 0, 0))
    orders.set_target(book, number, WANTED, 2.0)
    far, near, unread = _dip(book, (50, 40, 44)), _dip(book, (40.5, 40, 44)), _dip(book)
    for batch in (far, near, unread):
        orders.answer_order(book, number, batch)
    stand = orders.order_stand(book, number)
    assert stand.lab == WANTED
    assert [row.batch for row in stand.batches] == [unread, near, far]
    assert stand.best.batch == near
    assert 0 < stand.verdict.delta_e00 < 1
    assert stand.verdict == judge_batch(book, near)
    orders.answer_order(book, None, near)
    assert orders.order_stand(book, number).best.batch == far


def test_a_sample_in_a_photo_becomes_the_target_with_its_evidence(book):
    number = orders.take_order(book, "Knobs")
    orders.keep_order_sample(book, number, _seen((20, 0, 0), WANTED), 1, PHOTO, 1.5)
    target = orders.target_of(book, number)
    assert (target["L"], target["tolerance_de00"], target["name"]) == (40, 1.5, "Knobs, as the sample")
    (reading,) = book.rows("readings", sample_id=target["sample_id"])
    photo = book.row("photos", reading["photo_id"])
    assert book.photo_bytes(photo["sha256"]) == PHOTO
    assert reading["part_index"] == 1


def test_a_part_that_is_not_in_the_photo_keeps_nothing(book):
    number = orders.take_order(book, "Knobs")
    with pytest.raises(DyebookError, match="part 3"):
        orders.keep_order_sample(book, number, _seen(WANTED), 3, PHOTO)
    assert not book.rows("samples")
    assert not book.rows("photos")


@pytest.mark.parametrize(
    ("lab", "u", "verdict"), [((40.2, 40, 44), 0.3, "in"), ((50, 40, 44), 0.3, "out"), ((42, 41, 44), 3, "cannot_tell")]
)
def test_a_batch_is_judged_with_its_own_doubt(book, lab, u, verdict):
    number = orders.take_order(book, "Knobs")
    batch = _dip(book, lab, u)
    assert target_for(book, batch) is None, "no order yet"
    orders.answer_order(book, number, batch)
    assert target_for(book, batch) is None, "no target yet"
    orders.set_target(book, number, WANTED, 2.0)
    assert target_for(book, batch)["order_id"] == number
    assert judge_batch(book, batch).verdict == verdict


def test_sample_and_part_in_one_photo_are_judged_together(book):
    number = orders.take_order(book, "Knobs")
    orders.keep_order_sample(book, number, _seen(WANTED), 0, PHOTO)
    batch = _dip(book)
    orders.answer_order(book, number, batch)
    book.add_reading(batch, measurement=_seen((41, 40, 44)))
    apart = judge_batch(book, batch)
    book.add_photo(PHOTO, batch)
    together = judge_batch(book, batch)
    assert together.delta_e00 == apart.delta_e00
    assert together.delta_e00_u < apart.delta_e00_u


def test_a_decision_is_kept_and_can_be_taken_back(book):
    number = orders.take_order(book, "Knobs")
    target = orders.set_target(book, number, WANTED)
    batch = _dip(book, (40.2, 40, 44))
    orders.answer_order(book, number, batch)
    verdict = orders.decide(book, batch, target, "pass", 0.204)
    assert orders.order_stand(book, number).decided["delta_e00"] == 0.2
    book.delete("verdicts", verdict)
    assert orders.order_stand(book, number).decided is None

"""The invented shop's book: Kittiwake Yard, its customers, its year and its check coupon, for looking around in."""

from datetime import datetime, timedelta
from functools import partial

import numpy as np

from dyebook.demo.bench import lay_out_bench, run_of, set_up_tank, write_baths
from dyebook.demo.year import dyed_film, film_lab, photo_of, shop_year
from dyebook.jobs import say_nothing
from dyebook.jobs.check_coupon import put_right
from dyebook.jobs.orders import answer_order
from dyebook.jobs.photo import record_dip
from dyebook.lab import Lab, delta_e_00
from dyebook.record import DyeRecord

__all__ = ["EDITION", "SHOP_NAME", "fill_book", "write_coupon_days"]

SHOP_NAME = "Kittiwake Yard"
# raise it when the shop changes: older demo books are then laid out afresh
EDITION = 5

_READ_SD = (0.5, 0.7, 0.8)
_READ_U = {"L_sd": 0.9, "a_sd": 1.3, "b_sd": 1.4}

# order, customer, words, job of the year, the dip whose colour the customer's sample has, days until it is due
_ORDERS = (
    ("Lamp knobs", "a lamp maker", "the orange of our old knobs", "knobs", ("Ember", 12, 3, 50, 6, 5.5), 6),
    (
        "Paddle ferrules",
        "a rowing club",
        "club blue, as on the oars",
        "paddles",
        ("Harbour blue", 15, 4, 55, 13, 5.6),
        12,
    ),
    (
        "Tool grips",
        "a bicycle workshop",
        "violet, never mind how deep",
        "grips",
        ("Heather", 12, 2, 45, 5.5, 5.2),
        None,
    ),
    ("Ear studs", "a market stall", "a clear blue, worn in the ear", "studs", ("Harbour blue", 10, 4, 55, 3, 5.6), 9),
)
_FOR_SKIN = ("Ear studs",)
_TOLERANCE_DE00 = 3.0


def fill_book(book, now=None, progress=say_nothing) -> list[int]:
    """Write the shop's year into an empty book.

    Numbers of the batches come back, oldest first. `now` (datetime, optional): the day the year ends; today if left
    out. `progress`: called with words before each batch.
    """
    now = now or datetime.now()
    book.set_setting("shop", f"{SHOP_NAME} (invented)")
    rng = np.random.default_rng(1812)
    targets = _take_orders(book, now)
    year = shop_year()
    moment = partial(_moment, now)
    tank = set_up_tank(book, moment)
    numbers = []
    for planned in year:
        progress(f"Laying out the demo book: batch {len(numbers) + 1} of {len(year)}")
        replaces = None if planned.replaces is None else numbers[planned.replaces]
        numbers.append(_write_batch(book, planned, rng, now, replaces, tank))
        _judge(book, planned, numbers[-1], targets)
    _answer_orders(book, year, numbers, targets)
    write_baths(book, moment)
    write_coupon_days(book, now)
    lay_out_bench(book, numbers, tank, now)
    return numbers


def _moment(now, days_ago, hour=8):
    day = now.date() - timedelta(days=days_ago)
    return datetime(day.year, day.month, day.day, hour).isoformat(timespec="minutes")


def _write_batch(book, planned, rng, now, replaces, tank):
    record = DyeRecord(**planned.settings, dyed_at=_moment(now, planned.days_ago, planned.hour), wet=False, sealed=True)
    photo = photo_of(planned)
    kept = record_dip(book, record, photo, replaces_id=replaces, run=run_of(planned, record.dyed_at, tank))
    if photo is None and planned.days_ago:
        lab = np.array(film_lab(planned.film)) + rng.normal(0, _READ_SD)
        state = {"wet": False, "sealed": True, "source": "photo", "read_at": record.dyed_at}
        book.add_reading(kept.batch, lab=lab, note="its photo is not part of the demo book", **state, **_READ_U)
    return kept.batch


def _take_orders(book, now):
    """Orders with the customers' samples and the targets read from them, by job."""
    targets = {}
    for name, customer, wish, job, dip, due_in in _ORDERS:
        asked = _moment(now, 300)
        ends = {"done_at": _moment(now, 37)} if due_in is None else {"due_on": _moment(now, -due_in)[:10]}
        asked_for = {"customer": customer, "words": wish, "note": f"taken {asked[:10]}", **ends}
        order_id = book.add("orders", name=name, skin_contact=True if name in _FOR_SKIN else None, **asked_for)
        sample_id = book.add("samples", order_id=order_id, name=f"{name}: the customer's piece")
        lab = Lab(*(round(float(value), 1) for value in film_lab(dyed_film(*dip))))
        axes = dict(zip(("L", "a", "b"), lab, strict=True))
        book.add("readings", sample_id=sample_id, source="photo", read_at=asked, **axes, **_READ_U)
        target = {"name": f"{name}, as the sample", "tolerance_de00": _TOLERANCE_DE00, **axes}
        targets[job] = book.add("targets", order_id=order_id, sample_id=sample_id, **target), lab
    return targets


def _judge(book, planned, number, targets):
    """The shop's verdict on a batch that was ordered."""
    lab = book.batch(number).lab
    if planned.job not in targets or planned.days_ago > 300 or lab is None:
        return
    target_id, wanted = targets[planned.job]
    difference = float(delta_e_00(wanted, lab))
    passed = difference <= _TOLERANCE_DE00
    verdict = "pass" if passed else "redo" if difference > 3 * _TOLERANCE_DE00 else "fail"
    book.add("verdicts", batch_id=number, target_id=target_id, verdict=verdict, delta_e00=round(difference, 2))


def _answer_orders(book, year, numbers, targets):
    """The newest batch of each job went to its order."""
    newest = {planned.job: number for planned, number in zip(year, numbers, strict=True)}
    for job in set(targets) & set(newest):
        target_id = targets[job][0]
        answer_order(book, book.row("targets", target_id)["order_id"], newest[job])


# a thumb soiled the grey card and it was cleaned: days ago
_DAYS, _SOILED, _CLEANED = 200, 48, 27
_WEEKDAYS = (0, 3)  # Mondays and Thursdays
_COLOUR, _SD, _DIRT = (52.0, 38.0, 47.0), (0.3, 0.35, 0.35), 1.6


def write_coupon_days(book, now):
    """Write the coupon's readings up to yesterday, and the day on which the card was cleaned."""
    rng, coupon = np.random.default_rng(1815), book.add("coupons", name="check coupon", kind="check")
    for ago in range(_DAYS, 0, -1):
        day, scatter = now.date() - timedelta(days=ago), rng.normal(0, _SD)
        if day.weekday() not in _WEEKDAYS:
            continue
        soiled = np.array((_DIRT * (_CLEANED < ago <= _SOILED), 0, 0))
        lab = np.add(_COLOUR, scatter) + soiled
        axes = dict(zip("Lab", map(float, lab), strict=True))
        book.add("readings", coupon_id=coupon, source="photo", read_at=day.isoformat(), **axes)
    put_right(book, "", (now.date() - timedelta(days=_CLEANED)).isoformat())

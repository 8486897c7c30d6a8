"""Orders from the customer's words to the batch that answers them: sample, target, verdict."""

from dataclasses import dataclass

from dyebook.advice.judge import Verdict
from dyebook.book.readings import measured_values
from dyebook.errors import BookError, RecordError
from dyebook.jobs.verdict import judge_against, judge_perfect, limits_of, target_shade
from dyebook.lab import Lab, delta_e_00
from dyebook.record import check_tolerance
from dyebook.units import shop_now

__all__ = [
    "OrderStand", "answer_order", "close_order", "decide", "is_for_skin", "keep_instrument_sample",
    "keep_order_sample", "open_order_names",
    "open_orders", "order_named", "order_of_run", "order_stand", "reopen_order", "sample_verdict", "set_target",
    "take_order", "target_of",
]  # fmt: skip

_MOST_BATCHES = 50


@dataclass(frozen=True)
class OrderStand:
    """Where an order stands."""

    order: dict  # its row in the book
    target: dict | None  # the newest target row taken for it
    batches: tuple = ()  # of BatchRow: those dyed for it, newest first
    best: object = None  # BatchRow or None: the one nearest to the target
    verdict: Verdict | None = None  # of that one against the target
    decided: dict | None = None  # the newest verdict row on any of them

    @property
    def lab(self):
        """The shade wanted, or None."""
        return None if self.target is None else Lab(self.target["L"], self.target["a"], self.target["b"])


def take_order(
    book,
    name: str,
    customer: str | None = None,
    words: str | None = None,
    due_on: str | None = None,
    skin_contact: bool | None = None,
):
    """Write an order into the book and return its number.

    Parameters
    ----------
    customer, words
        Who it is for, and what was asked for in the customer's own words.
    due_on
        ISO date.
    skin_contact
        Worn on the skin, or used with food.
    """
    name = " ".join((name or "").split())
    if not name:
        raise RecordError("the order has no name; give it one, such as what is to be dyed")
    if book.rows("orders", name=name):
        raise RecordError(f"an order called {name!r} is in the book already; add a date or a number to the name")
    asked = {"customer": customer or None, "words": words or None, "due_on": due_on, "skin_contact": skin_contact}
    return book.add("orders", name=name, **asked)


def open_order_names(book):
    """Return the names of the orders that are not done yet, oldest first."""
    return [row["name"] for row in book.rows("orders", done_at=None)]


def order_named(book, name: str) -> dict:
    """Return the row of an order; RecordError with the open ones where there is none of that name."""
    found = book.rows("orders", name=name)
    if not found:
        known = ", ".join(open_order_names(book)) or "none"
        raise RecordError(f"the book has no order {name!r}; open ones: {known}")
    return found[0]


def order_of_run(book, run):
    """Return the name of the order that a run was planned for; None without one."""
    order_id = ((run["trace"] or {}).get("plan") or {}).get("order_id")
    return None if order_id is None else book.row("orders", order_id)["name"]


def is_for_skin(book, name: str | None) -> bool:
    """Whether an order is worn on the skin or used with food; False where it was not said."""
    return name is not None and bool(order_named(book, name)["skin_contact"])


def set_target(book, order_id: int, lab, tolerance_de00: float | None = None, **read_of) -> int:
    """Take a shade as an order's target, with the shop's usual tolerance where none is given; return its number.

    `**read_of`: `sample_id` or `batch_id` of what the shade was read of; a stated one has neither.
    """
    name = f"{book.row('orders', order_id)['name']}, " + ("as the sample" if "sample_id" in read_of else "as agreed")
    axes = dict(zip(("L", "a", "b"), map(float, lab), strict=True))
    tolerance_de00 = check_tolerance(tolerance_de00 or book.setting("tolerance_de00"))
    values = {"name": name, "tolerance_de00": tolerance_de00, **axes}
    return book.add("targets", order_id=order_id, **read_of, **values)


def keep_order_sample(
    book, order_id: int, measurement, part_index: int, photo, tolerance_de00: float | None = None, finish=None
) -> int:
    """Keep what a customer brought: photo, sample, reading, and the target read from it.

    The target's number comes back. BookError if the photo shows no such part; nothing is kept then.

    Parameters
    ----------
    part_index
        Which part of the photo the sample is, from 0, left to right.
    photo : path or bytes
    tolerance_de00
        The shop's usual one without it.
    finish : str, optional
        The sample's surface, such as blasted.
    """
    values = measured_values(measurement, part_index)
    values["finish"] = values["finish"] or finish
    sha = book.add_photo(photo)
    photo_id = book.rows("photos", sha256=sha)[-1]["id"]
    name = f"{book.row('orders', order_id)['name']}: the customer's piece"
    sample_id = book.add("samples", order_id=order_id, name=name)
    book.add("readings", sample_id=sample_id, photo_id=photo_id, **values)
    return set_target(book, order_id, measurement.parts[part_index].lab, tolerance_de00, sample_id=sample_id)


def keep_instrument_sample(book, order_id: int, values: dict, tolerance_de00: float | None = None) -> int:
    """Keep what an instrument read on a customer's piece, of `typed_instrument`, and the target it makes."""
    sample_id = book.add("samples", order_id=order_id, name=f"{book.row('orders', order_id)['name']}: by instrument")
    book.add("readings", sample_id=sample_id, **values)
    return set_target(book, order_id, [values[axis] for axis in "Lab"], tolerance_de00, sample_id=sample_id)


def answer_order(book, order_id: int | None, batch_id: int, version: int | None = None):
    """Note that a batch, of the version looked at, was dyed for an order; None takes it off again."""
    book.batch(batch_id)
    book.correct("batches", batch_id, {"order_id": order_id}, version)


def target_of(book, order_id: int):
    """Return the newest target row of an order, or None."""
    targets = book.rows("targets", order_id=order_id)
    return targets[-1] if targets else None


def open_orders(book) -> list:
    """Return `OrderStand` of every order that is not done, the soonest due first, those without a day last."""
    rows = sorted(book.rows("orders", done_at=None), key=lambda row: (row["due_on"] or "9999", row["id"]))
    return [order_stand(book, row["id"]) for row in rows]


def order_stand(book, order_id: int) -> OrderStand:
    """Return the `OrderStand` of one order."""
    order, target = book.row("orders", order_id), target_of(book, order_id)
    batches = tuple(book.batches(_MOST_BATCHES, order=order["name"]))
    decided = [verdict for row in batches for verdict in book.rows("verdicts", batch_id=row.batch)]
    stand = OrderStand(order, target, batches, decided=max(decided, key=lambda one: one["id"], default=None))
    read = [row for row in batches if row.lab is not None]
    if target is None or not read:
        return stand
    near = [float(delta_e_00(stand.lab, row.lab)) for row in read]
    best = read[near.index(min(near))]
    return OrderStand(order, target, batches, best, judge_against(book, best, target), stand.decided)


def sample_verdict(book, target: dict) -> Verdict | None:
    """Return what could be said at best of a part against an order's sample; None where it is none, or limits decide.

    "cannot_tell" where the sample was read too loosely for the tolerance: no part could pass then.
    """
    wanted = target_shade(book, target)
    if not wanted.is_read or limits_of(book, target["order_id"]):
        return None
    return judge_perfect(wanted, target["tolerance_de00"] or book.setting("tolerance_de00"))


def decide(book, batch_id: int, target_id: int, verdict: str, delta_e00: float | None = None):
    """Keep what was decided about a batch; return the verdict's number.

    `verdict` is "pass", "fail", "redo", "redip" or "accepted_as_is".
    """
    taken = [row for row in book.rows("verdicts", batch_id=batch_id) if row["target_id"] == target_id]
    if taken and taken[-1]["verdict"] == verdict:
        return taken[-1]["id"]
    if taken:
        said = f"{taken[-1]['verdict']}, by {taken[-1]['added_by']}; you say {verdict}; take that one back first"
        raise BookError(f"batch {batch_id} was decided already: {said}")
    at = shop_now().isoformat(timespec="minutes")
    far = None if delta_e00 is None else round(float(delta_e00), 2)
    decided = {"verdict": verdict, "delta_e00": far, "decided_at": at}
    return book.add("verdicts", batch_id=batch_id, target_id=target_id, **decided)


def close_order(book, order_id: int, version: int | None = None):
    """Note that an order, of the version looked at, went out."""
    book.correct("orders", order_id, {"done_at": shop_now().isoformat(timespec="minutes")}, version)


def reopen_order(book, order_id: int, version: int | None = None):
    """Take the end of an order, of the version looked at, back."""
    book.correct("orders", order_id, {"done_at": None}, version)

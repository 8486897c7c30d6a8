"""What stands on the bench now: the last batches and what they want, what waits at each step, how the baths do."""

import math
from dataclasses import dataclass

from dyebook.advice.judge import judge
from dyebook.jobs import say_nothing
from dyebook.jobs.bath_state import bath_states
from dyebook.jobs.baths import baths_out_of_use
from dyebook.jobs.orders import open_orders
from dyebook.jobs.run import open_runs
from dyebook.jobs.strength import learn_dips
from dyebook.jobs.verdict import batch_shade
from dyebook.jobs.wet import finished_runs

__all__ = ["BathNow", "Today", "Todo", "doubts_of", "look_at_baths", "look_over"]

# wet parts cannot wait, a shade can: what to do first where several things wait
_PRESSING = ("dye", "run", "photo", "shade")
# two dips count as the same recipe when no setting differs by more than these
_SAME = {"film_um": 0.5, "dye_g_per_l": 0.1, "bath_temp_c": 1.0, "dwell_min": 0.25}
_RECENT = 12
# a bath has moved when an eye would see it, surely enough
_SEEN_DELTA_E00 = 2.0


@dataclass(frozen=True)
class Todo:
    """Something a batch wants: `kind` is unread, doubtful or wet; `doubts` are names of flags."""

    kind: str
    batch: int
    doubts: tuple = ()


@dataclass(frozen=True)
class BathNow:
    """A bath as its last dips show it."""

    dye: str
    bath: str | None
    dips: int  # how many of the batches looked at went through it
    last: object  # BatchRow: the newest of them
    # BatchRow or None: the oldest of the dozen batches before it that had the same recipe, where both were read
    before: object
    delta_e00: float  # CIEDE2000 from `before` to `last`; nan without
    moved: bool  # whether an eye would see that, and the readings' uncertainty does not explain it


@dataclass(frozen=True)
class Today:
    """What stands on the bench."""

    recent: tuple  # of BatchRow, newest first
    todos: tuple[Todo, ...]  # most pressing first
    orders: tuple  # tuple of dyebook.jobs.orders.OrderStand: open ones, soonest due first
    # by step: numbers of the orders (shade), runs (run, dye) or batches (photo) that wait there, most pressing first
    waiting: dict

    @property
    def next_step(self):
        """The step that should be done next; a new plan when nothing waits."""
        return next((step for step in _PRESSING if self.waiting[step]), "plan")


def look_over(book) -> Today:
    """Return what stands on the bench, a `Today`; `look_at_baths` tells of the baths, which takes longer."""
    recent = tuple(book.batches(_RECENT))
    todos = [todo for row in recent for todo in _todos_of(book, row)]
    order = ("unread", "doubtful", "wet")
    todos.sort(key=lambda todo: (order.index(todo.kind), -todo.batch))
    orders = open_orders(book)
    return Today(recent, tuple(todos), tuple(orders), _what_waits(book, todos, orders))


def _todos_of(book, row):
    if row.lab is None:
        yield Todo("unread", row.batch)
        return
    doubts = doubts_of(book, row.batch)
    if doubts:
        yield Todo("doubtful", row.batch, doubts)
    if row.wet:
        yield Todo("wet", row.batch)


def doubts_of(book, batch_id: int):
    """Return the names of the doubts about a batch's newest reading."""
    readings = book.rows("readings", batch_id=batch_id)
    return tuple(readings[-1]["flags"] or ()) if readings else ()


def _what_waits(book, todos, orders):
    unread = [one.batch for one in todos if one.kind in ("unread", "wet")]
    undecided = [number for stand in orders if (number := _undecided(stand)) is not None]
    return {
        "shade": [stand.order["id"] for stand in orders if stand.target is None],
        "plan": [],
        # one that is on comes before one that is planned
        "run": [row["id"] for row in sorted(open_runs(book), key=lambda row: row["started_at"] is None)],
        "dye": [row["id"] for row in finished_runs(book) if row["batch"] is None and row["film_um"]],
        "photo": list(dict.fromkeys([*unread, *undecided])),
    }


def _undecided(stand):
    """Number of the newest batch of an order that was read and not judged since, or None."""
    newest = next((row.batch for row in stand.batches if row.lab is not None), None)
    judged = None if stand.decided is None else stand.decided["batch_id"]
    return newest if stand.target is not None and newest not in (None, judged) else None


def look_at_baths(book, count: int = 200, learn=learn_dips, progress=say_nothing):
    """Return how the baths on the bench do.

    A `BathNow` for each bath in use, how its dips have come out, and a `BathState`, how it stands; latest used first.
    `count`: how many of the newest batches to look at.
    """
    rows = book.batches(count)
    gone = baths_out_of_use(book)
    dips = {}
    for row in rows:
        if (row.dye, row.bath) not in gone:
            dips.setdefault((row.dye, row.bath), []).append(row)
    moves = tuple(_bath_now(book, *names, own) for names, own in dips.items())
    return moves, tuple(bath_states(book, rows, learn, progress))


def _bath_now(book, dye, bath, dips):
    read = [row for row in dips if row.lab is not None]
    last, before = (read[0], _same_recipe(read[0], read[1:])) if read else (None, None)
    if before is None:
        return BathNow(dye, bath, len(dips), dips[0], None, math.nan, False)
    first = batch_shade(book, before)
    found = judge(first, batch_shade(book, last, first), _SEEN_DELTA_E00)
    return BathNow(dye, bath, len(dips), last, before, found.delta_e00, found.verdict == "out")


def _same_recipe(row, earlier):
    """The oldest of the few latest dips made with the same settings: a slow fade shows against it."""
    same = [
        other
        for other in earlier[:12]
        if (other.wet, other.sealed) == (row.wet, row.sealed)
        and all(abs(getattr(other, name) - getattr(row, name)) <= limit for name, limit in _SAME.items())
    ]
    return same[-1] if same else None

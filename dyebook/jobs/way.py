"""Where the work stands on its way from plan to verdict: what waits at each step."""

from dataclasses import dataclass

from dyebook.jobs.run import open_runs
from dyebook.jobs.wet import finished_runs

__all__ = ["STEPS", "Waiting", "what_waits"]

# in the order of work
STEPS = ("plan", "prepare", "run", "wet", "photo", "verdict")
# wet parts cannot wait, a plan can: what to do first where several things wait
_PRESSING = ("wet", "run", "photo", "verdict", "prepare")


@dataclass(frozen=True)
class Waiting:
    """Numbers of the runs (prepare, run, wet) or batches (photo, verdict) that wait at each step."""

    at: dict

    @property
    def first(self):
        """The step that should be done next; a new plan when nothing waits."""
        return next((step for step in _PRESSING if self.at.get(step)), "plan")


def what_waits(book, errands, orders):
    """Return what waits where.

    Parameters
    ----------
    book : dyebook.book.store.Book
    errands : sequence of dyebook.jobs.today.Errand
    orders : sequence of dyebook.jobs.orders.OrderStand

    Returns
    -------
    Waiting
    """
    begun = open_runs(book)
    at = {
        "prepare": [row["id"] for row in begun if row["started_at"] is None],
        "run": [row["id"] for row in begun if row["started_at"] is not None],
        "wet": [row["id"] for row in finished_runs(book) if row["batch"] is None and row["film_um"]],
        "photo": [one.batch for one in errands if one.kind in ("unread", "wet")],
        "verdict": [number for stand in orders if (number := _undecided(stand)) is not None],
    }
    return Waiting(at)


def _undecided(stand):
    """Number of the newest batch of an order that was read and not judged since, or None."""
    newest = next((row.batch for row in stand.batches if row.lab is not None), None)
    judged = None if stand.decided is None else stand.decided["batch_id"]
    return newest if stand.target is not None and newest not in (None, judged) else None

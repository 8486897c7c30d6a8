"""The piece of work in hand: an order and what is made for it, or a plain batch; where it stands, clocks that run.

Only numbers are held from page to page. All else is looked up in the book, so that two phones see the same.
"""

from dataclasses import dataclass
from datetime import UTC, datetime

from dyebook.book.batches import BatchRow
from dyebook.errors import BookError
from dyebook.jobs import run as bench
from dyebook.jobs.orders import order_stand, target_of
from dyebook.jobs.wet import finished_runs, steps_of
from dyebook.lab import Lab

__all__ = ["STEPS", "Clock", "Piece", "piece_of", "running_clocks"]

# of a piece of work, in order: the rows of Today, the bar and the bench
STEPS = ("shade", "plan", "run", "dye", "photo")


@dataclass(frozen=True)
class Piece:
    """A piece of work as it stands."""

    # order, run, target: rows of the book
    order: dict | None
    run: dict | None
    batch: BatchRow | None
    target: dict | None
    step: str  # what comes next: one of `STEPS`, or "done" after a verdict

    @property
    def lab(self) -> Lab | None:
        """The shade agreed, else the one that came out."""
        wanted = self.target and Lab(self.target["L"], self.target["a"], self.target["b"])
        return wanted or (self.batch and self.batch.lab)

    @property
    def done(self) -> tuple[str, ...]:
        """The steps that the book shows as done; a step that was passed over is none."""
        run, batch = self.run or {}, self.batch
        planned = run.get("trace") and "part_of" not in run["trace"]
        shows = (self.target, planned, run.get("anodise_min") is not None, batch, batch and batch.lab)
        return tuple(step for step, done in zip(STEPS, shows, strict=True) if done)

    @property
    def number(self) -> int | None:
        """The number that the step asks for: of the batch, else of the run."""
        return self.batch.batch if self.batch else self.run["id"] if self.run else None


def piece_of(book, order: int | None = None, run: int | None = None, batch: int | None = None) -> Piece | None:
    """Return where a piece of work stands, by the numbers that are known; None where the book has it no more."""
    try:
        if run is not None:
            row = book.row("runs", run)
            batch = batch or next((one["id"] for one in book.rows("batches", run_id=run)), None)
            order = order or ((row["trace"] or {}).get("plan") or {}).get("order_id")
        if order is not None and run is None and batch is None:
            run, batch = _made_for(book, order)
        if batch is not None:
            kept = book.row("batches", batch)
            order, run = kept["order_id"] or order, kept["run_id"]
        order_row, run_row, kept = (_row(book, *one) for one in (("orders", order), ("runs", run), ("batches", batch)))
    except BookError:
        return None
    rows = [row for row in (order_row, run_row, kept) if row is not None]
    if not rows or any(row["deleted_at"] for row in rows):
        return None
    target = None if order is None else target_of(book, order)
    batch_row = None if batch is None else book.batch(batch)
    return Piece(order_row, run_row, batch_row, target, _next_step(book, order_row, run_row, batch_row, target))


def _row(book, table, number):
    return None if number is None else book.row(table, number)


def _made_for(book, order):
    """Run and batch that an order waits for: what is on the bench, else the batch that is not judged yet."""
    on_bench = [*bench.open_runs(book), *(row for row in finished_runs(book) if row["batch"] is None)]
    own = [row["id"] for row in on_bench if (row["trace"].get("plan") or {}).get("order_id") == order]
    if own:
        return own[0], None
    stand = order_stand(book, order)
    newest = stand.batches[0].batch if stand.batches else None
    judged = stand.decided and stand.decided["batch_id"]
    return None, None if newest == judged else newest


def _next_step(book, order, run, batch, target):
    if batch is not None:
        judged = [verdict["target_id"] for verdict in book.rows("verdicts", batch_id=batch.batch)]
        return "photo" if batch.lab is None or (target and target["id"] not in judged) else "done"
    if run is not None:
        return "dye" if run["anodise_min"] is not None or "part_of" in (run["trace"] or {}) else "run"
    return "shade" if order is not None and target is None else "plan"


@dataclass(frozen=True)
class Clock:
    """A clock that runs: of which run and step, minutes since its start and in all."""

    run: int
    step: str
    elapsed_min: float
    minutes: float
    running: bool = True


def running_clocks(book, now: datetime | None = None) -> list[Clock]:
    """Return every clock of the shop that runs, of runs and of wet steps; `now` has its zone."""
    now, clocks = now or datetime.now(UTC), []
    for row in bench.open_runs(book):
        if row["started_at"] is not None:
            stand = bench.where_is(book, row, now)
            total = bench.whole_time_min(book, row, stand)
            clocks.append(Clock(row["id"], "run", stand.elapsed_min, total, not stand.paused))
    for row in finished_runs(book):
        if row["batch"] is None:
            planned = row["trace"].get("steps", {})
            for name, (begun, ended) in steps_of(row).items():
                if ended is None and (minutes := planned[name].get("minutes")):
                    clocks.append(Clock(row["id"], name, (now - begun).total_seconds() / 60, minutes))
    return clocks

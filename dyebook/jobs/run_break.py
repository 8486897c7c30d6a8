"""Breaks in a run: current off and on again, and a run that was ended too early."""

from datetime import datetime, timedelta

from dyebook.book import runs
from dyebook.errors import RecordError
from dyebook.jobs.run import note_current, this_moment

__all__ = ["pause_run", "resume_run"]


def pause_run(book, run_id, at=None):
    """Note that the current is off; return the run's row."""
    return note_current(book, run_id, 0.0, at)


def resume_run(book, run_id, current_a=None, at=None):
    """Let a run go on: after a pause, or after it was ended too early; return its row.

    Parameters
    ----------
    book : dyebook.book.store.Book
    run_id : int
    current_a : float, optional
        What the supply shows; the last current that flowed without it.
    at : datetime, optional
        With its zone; now without it.

    Raises
    ------
    RecordError
        If the run is not paused and not ended, has a logger's file or a batch already.
    """
    row = book.row("runs", run_id)
    if row["trace"] is None or row["started_at"] is None:
        raise RecordError(f"run {run_id} has not been started on the bench; start it first")
    flowed = [note["current_a"] for note in row["trace"]["notes"] if note["current_a"] > 0]
    if row["anodise_min"] is not None:
        _reopen(book, run_id)
    elif row["trace"]["notes"][-1]["current_a"] > 0:
        raise RecordError(f"run {run_id} is on and not paused; nothing was changed")
    return note_current(book, run_id, flowed[-1] if current_a is None else current_a, at or this_moment())


def _reopen(book, run_id):
    """Take the end of a run back; the current counts as off from there on."""
    if book.rows("batches", run_id=run_id):
        raise RecordError(f"run {run_id} has its batch already; it cannot go on")

    def change(row):
        trace = dict(row["trace"])
        if not trace.get("by_hand"):
            raise RecordError(f"run {run_id} has a logger's file, which holds its end; it cannot go on")
        at = datetime.fromisoformat(row["started_at"]) + timedelta(minutes=trace.pop("time_min")[-1])
        trace = {name: value for name, value in trace.items() if name not in ("current_a", "by_hand", "steps")}
        trace["notes"] = [*trace["notes"], *_switched_off(trace["notes"], at)]
        plan = trace["plan"]
        none = dict.fromkeys(("charge_ah", "anodise_min", "film_from_charge_um", "film_sd_um"))
        density = plan["current_a"] / row["area_dm2"]
        return {**none, "film_um": plan["film_um"], "current_density_a_per_dm2": density, "trace": trace}

    with book.writing() as connection:
        runs.change_run(connection, run_id, change, book.who)


def _switched_off(notes, at):
    """Notes of the current going off at a moment; none where it was off already."""
    last = notes[-1]["current_a"]
    if last == 0:
        return []
    held = {"at": (at - timedelta(seconds=1)).isoformat(), "current_a": last, "held": True}
    return [held, {"at": at.isoformat(), "current_a": 0.0}]

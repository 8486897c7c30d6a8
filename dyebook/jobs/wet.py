"""From the anodised run to the sealed batch: steps with clock times, kept with the run until the batch is written."""

from datetime import datetime

from dyebook.book import runs
from dyebook.book.names import Names
from dyebook.errors import RecordError
from dyebook.jobs.run import this_moment

__all__ = ["SEAL_KINDS", "finished_runs", "keep_batch", "mark_step", "steps_of"]

# ways to seal, by the names of the physics, as the book calls them
SEAL_KINDS = {
    "hot_water": "hot_water",
    "mid_temperature": "mid_temperature",
    "nickel_acetate": "nickel_acetate",
    "cold_nickel": "cold",
}


def finished_runs(book, count=20):
    """Return the newest finished runs as dicts, each with ``batch``, the number of its batch or None."""
    with book.reading() as connection:
        return runs.finished_runs(connection, count)


def mark_step(book, run_id, step, ended=False, at=None):
    """Note that a step of a run begins, or ends; return the run's row.

    Parameters
    ----------
    book : dyebook.book.store.Book
    run_id : int
    step : str
    ended : bool
        False starts it, anew where it had been started before.
    at : datetime, optional
        With its zone; now without it.
    """
    at = (at or this_moment()).isoformat()

    def change(row):
        steps = dict(row["trace"].get("steps", {}))
        if ended and step not in steps:
            raise RecordError(f"{step} was not started; start it first")
        steps[step] = {**steps[step], "ended_at": at} if ended else {"started_at": at}
        return {"trace": {**row["trace"], "steps": steps}}

    with book.writing() as connection:
        return runs.change_run(connection, run_id, change, book.who)


def steps_of(row):
    """Return the steps of a run that were begun: name to (start, end or None), with their zone."""
    begun = (row["trace"] or {}).get("steps", {})
    return {name: (_moment(step["started_at"]), _moment(step.get("ended_at"))) for name, step in begun.items()}


def _moment(text):
    return None if text is None else datetime.fromisoformat(text)


def keep_batch(book, run_id, *, dye, bath, dip, rinse=None, seal=None, note=None, dyed_at=None):
    """Write the batch of a run into the book; return its number.

    Parameters
    ----------
    book : dyebook.book.store.Book
    run_id : int
    dye, bath : str
    dip : dict
        `dye_g_per_l`, `bath_temp_c`, `dwell_min`, `ph`.
    rinse, seal : dict, optional
    note : str, optional
    dyed_at : str, optional
        ISO text; now without it.

    Raises
    ------
    RecordError
        If a setting is impossible, or one is missing that a dip cannot be repeated without.
    """
    missing = [name for name in ("dye_g_per_l", "bath_temp_c", "dwell_min") if dip.get(name) is None]
    if missing or not dye:
        raise RecordError(f"still needed: {', '.join(['dye'] * (not dye) + missing)}; a dip cannot be repeated without")
    dyed_at = dyed_at or datetime.now().isoformat(timespec="minutes")
    with book.writing() as connection:
        names = Names(connection, book.who)
        told = {"rinse": rinse, "seal": seal, "who": book.who, "note": note, "dyed_at": dyed_at}
        return runs.add_batch_of_run(connection, run_id, names, dye, bath, dip, **told)

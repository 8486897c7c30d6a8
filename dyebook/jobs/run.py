"""A run on the bench, from plan to log: all its state lives in the book, its times are absolute."""

from datetime import UTC, datetime, timedelta

from dyebook.book import runs
from dyebook.errors import RecordError
from dyebook.jobs.gauge import FILM_BY, rate_for
from dyebook.jobs.run_order import order_named
from dyebook.physics.live import run_now

__all__ = [
    "drop_run",
    "finish_run",
    "keep_log",
    "note_current",
    "open_runs",
    "plan_run",
    "start_run",
    "tick_step",
    "untick_step",
    "where_is",
    "whole_time_min",
]

_MOST_KEPT = 2000
_LEAST_FILM_UM = 0.1
_CLOCK_MIN = 1 / 120


def this_moment():
    """Return this moment, with its zone, to the second."""
    return datetime.now(UTC).replace(microsecond=0)


def open_runs(book):
    """Return runs that are planned or on, oldest first, as dicts."""
    with book.reading() as connection:
        return runs.open_runs(connection)


def plan_run(book, *, area_dm2, current_a, film_um, minutes, film_by="720", order=None, **more):
    """Write a planned run into the book.

    Parameters
    ----------
    book : dyebook.book.store.Book
    area_dm2, current_a, film_um, minutes : float
    film_by : {"gauge", "720", "0.30"}
        What its film is reckoned by until a gauge reads it.
    order : str, optional
        Name of the order it is for.
    **more
        Further columns of the run, such as `alloy`, `finish`, `electrolyte_id`, `electrolyte_temp_c`, `voltage_v`.

    Returns
    -------
    int
        The run's number.
    """
    if film_by not in FILM_BY:
        raise ValueError(f"film_by is {film_by!r}; use one of {', '.join(FILM_BY)}")
    plan = {"minutes": minutes, "film_um": film_um, "current_a": current_a, "film_by": film_by}
    if order is not None:
        plan["order_id"] = order_named(book, order)["id"]
    density = current_a / area_dm2
    setting = {"area_dm2": area_dm2, "current_a": current_a, "film_um": film_um, "current_density_a_per_dm2": density}
    return book.add("runs", **setting, **more, trace={"plan": plan, "notes": []})


def drop_run(book, run_id):
    """Mark a run as deleted, a mistake for instance; it can be brought back."""
    book.delete("runs", run_id)


def tick_step(book, run_id, kind, **told):
    """Write a step of preparation into the book, after those already there; return its number.

    Parameters
    ----------
    book : dyebook.book.store.Book
    run_id : int
    kind : str
        As in `dyebook.book.schema.Preparation`.
    **told
        `dwell_min`, `bath_temp_c`, `passed`, `note`.
    """
    with book.reading() as connection:
        done = runs.preparations_of(connection, run_id)
    return book.add("preparations", run_id=run_id, position=len(done) + 1, kind=kind, **told)


def untick_step(book, run_id, kind):
    """Take the ticks of one kind of step back."""
    for row in book.rows("preparations", run_id=run_id, kind=kind):
        book.delete("preparations", row["id"])


def _change(book, run_id, change):
    with book.writing() as connection:
        return runs.change_run(connection, run_id, change, book.who)


def start_run(book, run_id, current_a=None, at=None):
    """Start a planned run; return its row.

    Raises
    ------
    RecordError
        If it has been started already.
    """
    at = at or this_moment()

    def change(row):
        if row["started_at"] is not None:
            raise RecordError(f"run {run_id} was started at {row['started_at']} already; nothing was changed")
        current = row["current_a"] if current_a is None else current_a
        if not 0 < current <= 1e5:
            raise RecordError(f"the current at the start is {current:g} A; start with what the supply shows, above 0")
        return {"started_at": at.isoformat(), "trace": _noted(row, at, current)}

    return _change(book, run_id, change)


def note_current(book, run_id, current_a, at=None, **seen):
    """Note what the supply shows now; return the run's row.

    Parameters
    ----------
    book : dyebook.book.store.Book
    run_id : int
    current_a : float
    at : datetime, optional
        With its zone; now without it.
    **seen
        `voltage_v`, `electrolyte_temp_c` where they were read too.
    """
    at = at or this_moment()
    if not 0 <= current_a <= 1e5:
        raise RecordError(f"the current noted is {current_a:g} A; note it as the supply shows it, 0 or above")

    def change(row):
        if row["started_at"] is None or row["anodise_min"] is not None:
            raise RecordError(f"run {run_id} is not on; nothing was noted")
        return {"trace": _noted(row, at, current_a, **seen)}

    return _change(book, run_id, change)


def _noted(row, at, current_a, **seen):
    notes = row["trace"]["notes"]
    note = {"at": at.isoformat(), "current_a": current_a, **{name: v for name, v in seen.items() if v is not None}}
    return {**row["trace"], "notes": [*notes, *_held(notes, at, current_a), note]}


def _held(notes, at, current_a):
    """What was last noted once more, a second before the current is switched off or on: a pause is a step."""
    if not notes or (current_a > 0) == (notes[-1]["current_a"] > 0):
        return []
    before = at - timedelta(seconds=1)
    if before <= datetime.fromisoformat(notes[-1]["at"]):
        return []
    return [{"at": before.isoformat(), "current_a": notes[-1]["current_a"], "held": True}]


def where_is(book, row, now=None):
    """Return where a run that is on stands, a `RunNow`, reckoned from its start and its notes alone."""
    return _stand(row, now or this_moment(), _rate_of(book, row))


def _rate_of(book, row):
    density = row["current_density_a_per_dm2"]
    return rate_for(book, row["trace"]["plan"]["film_by"], density, row["electrolyte_temp_c"], row["alloy"])


def _stand(row, now, rate):
    notes = [(datetime.fromisoformat(note["at"]), note["current_a"]) for note in row["trace"]["notes"]]
    wanted = row["trace"]["plan"]["film_um"]
    return run_now(datetime.fromisoformat(row["started_at"]), now, row["area_dm2"], notes, wanted, own_rate=rate)


def whole_time_min(book, row, stand):
    """Return minutes from the start of a run to its film: expected while it is on, and as it came once it is there.

    Parameters
    ----------
    book : dyebook.book.store.Book
    row : dict
        A run that is on.
    stand : RunNow
        Where it stands.

    Returns
    -------
    float
    """
    if not stand.done:
        return stand.elapsed_min + stand.left_min
    rate, started = _rate_of(book, row), datetime.fromisoformat(row["started_at"])
    low, high = 0.0, stand.elapsed_min
    while high - low > _CLOCK_MIN:
        middle = (low + high) / 2
        done = _stand(row, started + timedelta(minutes=middle), rate).done
        low, high = (low, middle) if done else (middle, high)
    return high


def finish_run(book, run_id, at=None):
    """End a run: charge, time, film from charge and its uncertainty go into the book; return the run's row."""
    at = at or this_moment()
    row = book.row("runs", run_id)
    if row["started_at"] is None or row["anodise_min"] is not None:
        raise RecordError(f"run {run_id} is not on; nothing was changed")
    stand = where_is(book, row, at)
    if not stand.film_um >= _LEAST_FILM_UM:
        raise RecordError(f"run {run_id} has only just begun, or no current was noted; drop it if it was a mistake")
    started = datetime.fromisoformat(row["started_at"])

    def change(row):
        times = [(datetime.fromisoformat(n["at"]) - started).total_seconds() / 60 for n in row["trace"]["notes"]]
        currents = [note["current_a"] for note in row["trace"]["notes"]]
        log = {"time_min": [*times, stand.elapsed_min], "current_a": [*currents, currents[-1]], "by_hand": True}
        return {**_made(row, stand.charge_ah, stand.flowed_min, stand), "trace": {**row["trace"], **log}}

    return _change(book, run_id, change)


def _made(row, charge_ah, minutes, film):
    """Columns that a run's charge, time and film go into."""
    mean_a = charge_ah * 60 / minutes
    return {
        "charge_ah": charge_ah,
        "anodise_min": minutes,
        "film_um": film.film_um,
        "film_from_charge_um": film.film_um,
        "film_sd_um": film.film_um_sd,
        "current_density_a_per_dm2": mean_a / row["area_dm2"],
    }


def keep_log(book, run_id, trace, report):
    """Keep a logger's file with its run: charge, film and events take the place of what the notes said.

    Parameters
    ----------
    book : dyebook.book.store.Book
    run_id : int
    trace : dyebook.physics.trace_read.Trace
    report : dyebook.physics.trace.TraceReport
        Made with the run's area.

    Returns
    -------
    dict
        The run's row.
    """
    if report.film_um is None:
        raise RecordError("the run's area is not known; correct the run, then keep the log with it")
    if not report.minutes > 0:
        raise RecordError("no current flowed in this log; it was not kept")
    step = -(-len(trace.time_min) // _MOST_KEPT)
    columns = ("time_min", "current_a", "voltage_v", "electrolyte_temp_c")
    log = {name: getattr(trace, name)[::step].tolist() for name in columns if getattr(trace, name) is not None}
    events = [event.to_dict() for event in report.events]
    told = {**log, "by_hand": trace.by_hand, "rows": len(trace.time_min), "events": events}

    def change(row):
        return {**_made(row, report.charge_ah, report.minutes, report), "trace": {**row["trace"], **told}}

    return _change(book, run_id, change)

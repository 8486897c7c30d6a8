"""A run on the bench from plan to log, and how it stands.

All state of a run lives in the book: its plan, and notes of what the supply shows, each with its moment. Where it
stands is worked out anew from these alone, so that shell, app and a restart in between all show the same.
"""

import math
from dataclasses import dataclass
from datetime import datetime, timedelta

from dyebook.book import runs
from dyebook.errors import BookError, RecordError
from dyebook.jobs.asked import asked_at_end, asked_at_start, asked_of_electrolyte, reasoned, this_moment
from dyebook.jobs.gauge import FILM_BY, rate_for
from dyebook.jobs.orders import order_named
from dyebook.physics.answer import Answer, cautions_for
from dyebook.physics.film import plan_film, run_now, supply_plan
from dyebook.record import check_value

__all__ = [
    "RunState", "bench_run", "bench_runs", "drop_run", "film_in_time", "finish_run", "keep_log", "note_current",
    "open_runs", "pause_run", "plan_run", "resume_run", "start_run", "state_of", "tick_step", "untick_step", "where_is",
    "whole_time_min", "work_out_run",
]  # fmt: skip

# kinds of preparation that no run should start without
NEEDED = ("clean", "water_break_test", "contacts")
# the longest log that is kept whole; of longer ones every second, third, … row
_MOST_KEPT = 2000
_LEAST_FILM_UM = 0.1
_CLOCK_MIN = 1 / 120  # half a second
_BY = {"gauge": "your gauge readings", "720": "720 rule", "0.30": "0.30 rule"}


def open_runs(book):
    """Return runs that are planned or on, oldest first, as dicts."""
    with book.reading() as connection:
        return [row for row in runs.open_runs(connection) if "part_of" not in row["trace"]]


def bench_run(book, run_id: int) -> dict:
    """Return the row of a run that went over the bench; BookError of any other."""
    row = book.row("runs", run_id)
    if row["deleted_at"] is not None or row["trace"] is None or "plan" not in row["trace"]:
        raise BookError(f"run {run_id} is not on the bench; `dyebook run list` shows those that are")
    return row


def bench_runs(book, count: int | None = None):
    """Return the rows of the runs that went over the bench, newest first."""
    rows = [row for row in book.rows("runs") if row["trace"] and "plan" in row["trace"]]
    return rows[::-1][:count]


def work_out_run(
    book,
    area_dm2: float,
    current_density_a_per_dm2: float,
    film_um: float,
    *,
    film_by="720",
    supply_max_a: float | None = None,
    alloy: str | None = None,
    electrolyte_temp_c: float | None = None,
):
    """Plan a run by the shop's own readings or one of the two rules, within what the supply gives.

    Parameters
    ----------
    film_by : {"720", "0.30", "gauge"}

    Returns
    -------
    plan : dyebook.physics.film.SupplyPlan
    conditions : dict
        What its film was worked out with, for further plans of the same run.
    """
    current = min(area_dm2 * current_density_a_per_dm2, supply_max_a or math.inf)
    conditions = {"alloy": alloy, "own_rate": None}
    if film_by != "720":
        conditions["own_rate"] = rate_for(book, film_by, current / area_dm2, electrolyte_temp_c, alloy)
    if film_by != "0.30":
        conditions["electrolyte_temp_c"] = electrolyte_temp_c
    return supply_plan(area_dm2, current_density_a_per_dm2, film_um, supply_max_a, **conditions), conditions


def film_in_time(plan, conditions):
    """Return the run as it was meant, and the run of the same time that a supply which is too small allows."""
    wanted = plan_film(plan.run.area_dm2, plan.wanted_a, film_um=plan.run.film_um, **conditions)
    return wanted, plan_film(plan.run.area_dm2, plan.current_a, minutes=wanted.minutes, **conditions)


def plan_run(
    book,
    *,
    area_dm2: float,
    current_a: float,
    film_um: float,
    minutes: float,
    film_by="720",
    order: str | None = None,
    **more,
) -> int:
    """Write a planned run into the book.

    The run's number comes back.

    Parameters
    ----------
    film_by : {"gauge", "720", "0.30"}
        What its film is worked out by until a gauge reads it.
    order
        Name of the order it is for.
    **more
        Further columns of the run, such as `alloy`, `finish`, `electrolyte_id`, `electrolyte_temp_c`, `voltage_v`.
    """
    if film_by not in FILM_BY:
        raise ValueError(f"film_by is {film_by!r}; use one of {', '.join(FILM_BY)}")
    plan = {"minutes": minutes, "film_um": film_um, "current_a": current_a, "film_by": film_by}
    if order is not None:
        plan["order_id"] = order_named(book, order)["id"]
    density = current_a / area_dm2
    setting = {"area_dm2": area_dm2, "current_a": current_a, "film_um": film_um, "current_density_a_per_dm2": density}
    return book.add("runs", **setting, **more, trace={"plan": plan, "notes": []})


def drop_run(book, run_id: int, version: int | None = None):
    """Mark a run as deleted, a mistake for instance; it can be brought back. `version`: the one looked at."""
    book.delete("runs", run_id, version)


def tick_step(book, run_id: int, kind: str, **found):
    """Write a step of preparation into the book, after those already there; return its number.

    `kind`: as in `dyebook.book.schema.Preparation`. `**found`: `dwell_min`, `bath_temp_c`, `passed`, `note`.
    """
    with book.reading() as connection:
        done = runs.preparations_of(connection, run_id)
    return book.add("preparations", run_id=run_id, position=len(done) + 1, kind=kind, **found)


def untick_step(book, run_id: int, kind: str):
    """Take the ticks of one kind of step back."""
    for row in book.rows("preparations", run_id=run_id, kind=kind):
        book.delete("preparations", row["id"])


def start_run(
    book, run_id: int, current_a: float | None = None, at: datetime | None = None, why: str | None = None
) -> dict:
    """Start a planned run; return its row.

    `current_a`: what the supply shows; the planned current without it, and marked so. RecordError if it has been
    started already, or something is asked and no reason given.
    """
    at = at or this_moment()
    asked = asked_at_start(book, bench_run(book, run_id))

    def change(row):
        if row["started_at"] is not None:
            raise RecordError(f"run {run_id} was started at {row['started_at']} already; nothing was changed")
        current = row["current_a"] if current_a is None else current_a
        if not 0 < current <= 1e5:
            raise RecordError(f"the current at the start is {current:g} A; start with what the supply shows, above 0")
        trace = reasoned(row["trace"], asked, why)
        seen = {} if current_a is not None else {"as_planned": True}
        return {"started_at": at.isoformat(), "trace": _noted({**row, "trace": trace}, at, current, **seen)}

    return _change(book, run_id, change)


def note_current(book, run_id: int, current_a: float, at: datetime | None = None, **seen) -> dict:
    """Note what the supply shows now; return the run's row.

    `**seen`: `voltage_v`, `electrolyte_temp_c` where they were read too.
    """
    at = at or this_moment()
    if not 0 <= current_a <= 1e5:
        raise RecordError(f"the current noted is {current_a:g} A; note it as the supply shows it, 0 or above")
    seen = {name: check_value(name, value) for name, value in seen.items() if value is not None}

    def change(row):
        if row["started_at"] is None or row["anodise_min"] is not None:
            raise RecordError(f"run {run_id} is not on; nothing was noted")
        return {"trace": _noted(row, at, current_a, **seen)}

    return _change(book, run_id, change)


def pause_run(book, run_id: int, at: datetime | None = None):
    """Note that the current is off; return the run's row."""
    return note_current(book, run_id, 0.0, at)


def resume_run(book, run_id: int, current_a: float | None = None, at: datetime | None = None):
    """Let a run go on: after a pause, or after it was ended too early; return its row.

    `current_a`: what the supply shows; the last current that flowed without it. RecordError if the run is not paused
    and not ended, has a logger's file or a batch already.
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


def _change(book, run_id, change, version=None):
    with book.writing() as connection:
        return runs.change_run(connection, run_id, change, book.who, version)


def finish_run(
    book, run_id: int, at: datetime | None = None, *, minutes: float | None = None, why: str | None = None
) -> dict:
    """End a run: charge, time, film from charge and its uncertainty go into the book; return the run's row.

    `at`, `minutes`: when it truly ended, as a moment or in minutes from its start; now without either.
    """
    row = book.row("runs", run_id)
    if row["started_at"] is None or row["anodise_min"] is not None:
        raise RecordError(f"run {run_id} is not on; nothing was changed")
    if minutes is not None:
        at = datetime.fromisoformat(row["started_at"]) + timedelta(minutes=minutes)
    at = at or this_moment()
    stand = where_is(book, row, at)
    if not stand.film_um >= _LEAST_FILM_UM:
        raise RecordError(f"run {run_id} has only just begun, or no current was noted; drop it if it was a mistake")
    started = datetime.fromisoformat(row["started_at"])

    def change(row):
        times = [(datetime.fromisoformat(n["at"]) - started).total_seconds() / 60 for n in row["trace"]["notes"]]
        currents = [note["current_a"] for note in row["trace"]["notes"]]
        log = {"time_min": [*times, stand.elapsed_min], "current_a": [*currents, currents[-1]], "by_hand": True}
        trace = reasoned(row["trace"], asked_at_end(row, stand), why)
        return {**_made(row, stand.charge_ah, stand.flowed_min, stand), "trace": {**trace, **log}}

    return _change(book, run_id, change)


def keep_log(book, run_id: int, trace, report, version: int | None = None) -> dict:
    """Keep a logger's file with its run: charge, film and events take the place of what the notes said.

    The run's row comes back. `report` (dyebook.physics.trace.events.TraceReport): made with the run's area.
    """
    if report.film_um is None:
        raise RecordError("the run's area is not known; correct the run, then keep the log with it")
    if not report.minutes > 0:
        raise RecordError("no current flowed in this log; it was not kept")
    step = -(-len(trace.time_min) // _MOST_KEPT)
    columns = ("time_min", "current_a", "voltage_v", "electrolyte_temp_c")
    log = {name: getattr(trace, name)[::step].tolist() for name in columns if getattr(trace, name) is not None}
    events = [event.to_dict() for event in report.events]
    apart = {name: getattr(report, name) for name in ("film_kept_um", "film_lost_um")}
    kept = {**log, "by_hand": trace.by_hand, "rows": len(trace.time_min), "events": events, **apart}

    def change(row):
        return {**_made(row, report.charge_ah, report.minutes, report), "trace": {**row["trace"], **kept}}

    return _change(book, run_id, change, version)


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


def where_is(book, row: dict, now: datetime | None = None):
    """Return where a run that is on stands, a `RunNow`, worked out from its start and its notes alone."""
    return _stand(row, now or this_moment(), _rate_of(book, row))


def whole_time_min(book, row: dict, stand) -> float:
    """Return minutes from the start of a run to its film: expected while it is on, and as it came once it is there.

    `row`: a run that is on. `stand` (RunNow): where it stands.
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


def _rate_of(book, row):
    density = row["current_density_a_per_dm2"]
    return rate_for(book, row["trace"]["plan"]["film_by"], density, row["electrolyte_temp_c"], row["alloy"])


def _stand(row, now, rate):
    notes = [(datetime.fromisoformat(note["at"]), note["current_a"]) for note in row["trace"]["notes"]]
    wanted = row["trace"]["plan"]["film_um"]
    return run_now(datetime.fromisoformat(row["started_at"]), now, row["area_dm2"], notes, wanted, own_rate=rate)


@dataclass(frozen=True, kw_only=True)
class RunState(Answer):
    """A run of the bench."""

    run: int
    state: str  # {"planned", "on", "paused", "ended"}
    started_at: str | None = None
    planned_film_um: float | None = None
    planned_minutes: float | None = None
    # area_dm2, current_a: of an ended run, the mean current
    area_dm2: float | None = None
    current_a: float | None = None
    # elapsed_min, left_min, ends_at: None unless it is on
    elapsed_min: float | None = None
    left_min: float | None = None
    ends_at: datetime | None = None
    minutes: float | None = None
    # charge_ah, film_um, film_um_sd: so far, or as it ended
    charge_ah: float | None = None
    film_um: float | None = None
    film_um_sd: float | None = None
    film_measured_um: float | None = None
    alloy: str | None = None
    finish: str | None = None
    # prepared, not_prepared: steps ticked, and needed ones that are not
    prepared: tuple[str, ...] = ()
    not_prepared: tuple[str, ...] = ()
    batch: int | None = None


def state_of(book, row: dict, now: datetime | None = None) -> RunState:
    """Return how a run stands, a `RunState`; `now` has its zone."""
    plan = row["trace"]["plan"]
    ticked = [tick["kind"] for tick in book.rows("preparations", run_id=row["id"]) if tick["passed"] is not False]
    batches = book.rows("batches", run_id=row["id"])
    common = {
        "run": row["id"],
        "started_at": row["started_at"],
        "planned_film_um": plan["film_um"],
        "planned_minutes": plan["minutes"],
        "area_dm2": row["area_dm2"],
        "film_measured_um": row["film_measured_um"],
        "alloy": row["alloy"],
        "finish": row["finish"],
        "prepared": tuple(dict.fromkeys(ticked)),
        "not_prepared": tuple(kind for kind in NEEDED if kind not in ticked),
        "batch": batches[0]["id"] if batches else None,
        "cautions": cautions_for("supply_off", "hydrogen", "protection", "mains"),
    }
    return RunState(**common, **_standing(book, row, plan, now))


def _standing(book, row, plan, now):
    """What differs between a run that is planned, on, and ended."""
    by = f"film by {_BY[plan['film_by']]}"
    if row["started_at"] is None:
        return {"state": "planned", "current_a": plan["current_a"], "basis": by, "notes": asked_at_start(book, row)}
    if row["anodise_min"] is None:
        stand = where_is(book, row, now)
        names = ("elapsed_min", "left_min", "ends_at", "charge_ah", "film_um", "film_um_sd", "current_a")
        known = {name: getattr(stand, name) for name in names}
        state = "paused" if stand.paused else "on"
        temps = [note["electrolyte_temp_c"] for note in row["trace"]["notes"] if "electrolyte_temp_c" in note]
        notes = (*stand.notes, *asked_of_electrolyte(temps[-1] if temps else None))
        return {"state": state, "basis": stand.basis, "notes": notes, **known}
    how = "notes of the current" if row["trace"].get("by_hand") else "a logger's file"
    return {
        "state": "ended",
        "minutes": row["anodise_min"],
        "charge_ah": row["charge_ah"],
        "current_a": None if row["charge_ah"] is None else row["charge_ah"] * 60 / row["anodise_min"],
        "film_um": row["film_um"],
        "film_um_sd": row["film_sd_um"],
        "basis": f"charge from {how}, {by}",
    }

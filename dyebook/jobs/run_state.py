"""A run as it stands, planned, on, paused or ended, in one answer with its basis."""

from dataclasses import dataclass
from datetime import datetime

from dyebook.errors import BookError
from dyebook.jobs.run import where_is
from dyebook.physics.answer import Answer
from dyebook.physics.cautions import cautions_for

__all__ = ["RunState", "bench_run", "bench_runs", "state_of"]

_BY = {"gauge": "your gauge readings", "720": "720 rule", "0.30": "0.30 rule"}
# kinds of preparation that no run should start without
NEEDED = ("clean", "water_break_test", "contacts")


@dataclass(frozen=True, kw_only=True)
class RunState(Answer):
    """A run of the bench.

    Attributes
    ----------
    run : int
    state : {"planned", "on", "paused", "ended"}
    started_at : str or None
    planned_film_um, planned_minutes : float or None
    area_dm2, current_a : float or None
        Of an ended run, the mean current.
    elapsed_min, left_min, ends_at
        None unless it is on.
    charge_ah, film_um, film_um_sd : float or None
        So far, or as it ended.
    film_measured_um : float or None
    prepared, not_prepared : tuple of str
        Steps ticked, and needed ones that are not.
    batch : int or None
    """

    run: int
    state: str
    started_at: str | None = None
    planned_film_um: float | None = None
    planned_minutes: float | None = None
    area_dm2: float | None = None
    current_a: float | None = None
    elapsed_min: float | None = None
    left_min: float | None = None
    ends_at: datetime | None = None
    minutes: float | None = None
    charge_ah: float | None = None
    film_um: float | None = None
    film_um_sd: float | None = None
    film_measured_um: float | None = None
    alloy: str | None = None
    finish: str | None = None
    prepared: tuple = ()
    not_prepared: tuple = ()
    batch: int | None = None


def bench_run(book, run_id):
    """Return the row of a run that went over the bench; BookError of any other."""
    row = book.row("runs", run_id)
    if row["deleted_at"] is not None or row["trace"] is None or "plan" not in row["trace"]:
        raise BookError(f"run {run_id} is not on the bench; `dyebook run list` shows those that are")
    return row


def bench_runs(book, count=None):
    """Return the rows of the runs that went over the bench, newest first."""
    rows = [row for row in book.rows("runs") if row["trace"] and "plan" in row["trace"]]
    return rows[::-1][:count]


def state_of(book, row, now=None):
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
        return {"state": "planned", "current_a": plan["current_a"], "basis": by}
    if row["anodise_min"] is None:
        stand = where_is(book, row, now)
        told = ("elapsed_min", "left_min", "ends_at", "charge_ah", "film_um", "film_um_sd", "current_a", "notes")
        state = "paused" if stand.paused else "on"
        return {"state": state, "basis": stand.basis, **{name: getattr(stand, name) for name in told}}
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

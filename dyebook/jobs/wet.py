"""The wet steps after a run, with their clock times, and the sealed batch that is written into the book at the end."""

from datetime import datetime

from dyebook.book import runs
from dyebook.book.batches import Names
from dyebook.errors import BookError, RecordError
from dyebook.jobs.asked import asked_of_dip, reasoned, this_moment, unanswered
from dyebook.jobs.baths import lot_in_use
from dyebook.jobs.orders import is_for_skin, order_named, order_of_run
from dyebook.notebook import Note
from dyebook.physics.sealing import judge_seal, plan_seal, seal_kind
from dyebook.record import FIELDS
from dyebook.units import shop_now

__all__ = [
    "NO_NICKEL", "SEAL_KINDS", "SEAL_TIMES", "asked_of_batch", "asked_of_seal", "dyed_before_min", "finished_runs",
    "keep_batch", "keep_seal_test", "mark_step", "minutes_of", "plan_seal_of", "seal_values", "steps_of", "surface_of",
    "take_part", "wait_of",
]  # fmt: skip

# the setting with the shop's own minutes per µm of each seal
SEAL_TIMES = "seal_min_per_um"
# the setting with the seals of the shop whose safety data sheet names no nickel, as the maker has said
NO_NICKEL = "seal_no_nickel"
# of its planned time; a seal that took less is asked about, common practice, no source
SHORTEST_SEAL = 0.5
# ways to seal, by the names of the physics, as the book calls them
SEAL_KINDS = {
    "hot_water": "hot_water",
    "mid_temperature": "mid_temperature",
    "nickel_acetate": "nickel_acetate",
    "cold_nickel": "cold",
}


def finished_runs(book, count: int = 20):
    """Return the newest finished runs and parts with a film, each with ``batch``, the number of its batch or None."""
    with book.reading() as connection:
        finished = runs.finished_runs(connection, count)
        films = [row for row in runs.open_runs(connection) if "part_of" in row["trace"]]
    batches = {one["run_id"]: one["id"] for row in films for one in book.rows("batches", run_id=row["id"])}
    return [*finished, *(row | {"batch": batches.get(row["id"])} for row in films)]


def take_part(book, film_um: float, order: int | None = None, after: int | None = None, dyed_min: float = 0.0) -> int:
    """Write a part into the book that waits for a dye without a run of its own: anodised elsewhere, or dyed before.

    The number of the run that stands for its film comes back.

    Parameters
    ----------
    order
        Its number.
    after
        The batch that goes into a dye once more.
    dyed_min
        How long it was in the same bath before: that time counts on.
    """
    plan = {"film_um": film_um, "minutes": None, "current_a": None, "film_by": "720"}
    plan |= {} if order is None else {"order_id": order}
    before = None if after is None else book.batch(after)
    known = {} if before is None else {"alloy": before.alloy, "finish": before.finish, "note": f"batch {after} again"}
    part = {"after": after, "dyed_min": dyed_min}
    return book.add("runs", film_um=film_um, **known, trace={"part_of": part, "plan": plan, "notes": []})


def dyed_before_min(row: dict) -> float:
    """Return the minutes that a part was in the dye before: of a batch that went back into it."""
    return ((row["trace"] or {}).get("part_of") or {}).get("dyed_min", 0.0)


def surface_of(book, batch_id: int):
    """Return (dry, sealed) of a batch since its dye, each True, False or None where the book does not say.

    Drying and sealing cannot be undone: one reading or one seal that says so is enough. A part that had its dye by our
    clock and no seal is open.
    """
    readings, run = book.rows("readings", batch_id=batch_id), book.row("batches", batch_id)["run_id"]
    wet, sealed = ([one[name] for one in readings] for name in ("wet", "sealed"))
    dry = True if False in wet else False if wet and wet[-1] else None
    if True in sealed or book.rows("seals", batch_id=batch_id):
        return dry, True
    clocked = run is not None and steps_of(book.row("runs", run)).get("dye")
    return dry, False if clocked or (sealed and sealed[-1] is False) else None


def asked_of_seal(
    book, row: dict, kind: str | None, order: str | None = None, worn: bool | None = None
) -> tuple[Note, ...]:
    """Return what stands in the way of a seal until a reason is given: nickel on work worn on skin or used with food.

    Parameters
    ----------
    kind
        One of `dyebook.physics.sealing.SEALS`; None or another word is asked nothing.
    order
        Name of an order; the one the run was planned for without it.
    worn
        Whether it is worn on the skin or used with food; as the order says without it.
    """
    worn = is_for_skin(book, order or order_of_run(book, row)) if worn is None else worn
    if kind not in SEAL_KINDS or not worn:
        return ()
    nickel = seal_kind(kind, _is_free(book, kind)).nickel
    return unanswered(row["trace"] or {}, [Note("bench.nickel_confirm", kind=kind)] if nickel else ())


def asked_of_batch(book, row: dict, dip: dict, seal: dict | None, order=None, dyed_at=None) -> tuple[Note, ...]:
    """Return what is asked before the batch of a run is kept, as `keep_batch` takes it: its run, seal, odd times."""
    asked = []
    if row["started_at"] is not None and row["anodise_min"] is None:
        asked.append(Note("bench.run_not_ended", run=row["id"]))
    asked += (*asked_of_dip(dip | {"dyed_at": dyed_at}), *_short_seal(row, seal))
    kinds = {kept: kind for kind, kept in SEAL_KINDS.items()}
    of_seal = asked_of_seal(book, row, kinds.get((seal or {}).get("kind")), order)
    return (*unanswered(row["trace"] or {}, asked), *of_seal)


def _short_seal(row, seal):
    """What is asked about a seal that took far less than its clock was set to."""
    took, steps = (seal or {}).get("dwell_min"), (row["trace"] or {}).get("steps", {})
    planned = next((step.get("minutes") for name, step in steps.items() if name.startswith("seal")), None)
    short = None not in (took, planned) and took < SHORTEST_SEAL * planned
    return [Note("bench.seal_short", minutes=took, planned_min=planned)] if short else []


def _is_free(book, kind):
    return kind in (book.setting(NO_NICKEL) or ())


def mark_step(
    book,
    run_id: int,
    step: str,
    ended: bool = False,
    at: datetime | None = None,
    minutes: float | None = None,
    why: str | None = None,
    seen=...,
) -> dict:
    """Note that a step of a run begins, or ends; return the run's row.

    Parameters
    ----------
    step
        Its name; a seal as "seal: hot water".
    ended
        False starts it, anew where it had been started before.
    minutes
        How long it is meant to take, for a clock that begins.
    seen
        How the step stood as it was looked at, None for not begun; BookError where it has moved on.
    """
    at = (at or this_moment()).isoformat()
    tank, _, kind = step.partition(": ")
    asked = ()
    if tank == "seal" and not ended:
        asked = asked_of_seal(book, book.row("runs", run_id), kind.replace(" ", "_"))

    def change(row):
        steps = dict(row["trace"].get("steps", {}))
        done = ended and "ended_at" not in steps.get(step, {})  # the part is out, whoever put it in
        if seen not in (..., steps.get(step)) and not done:
            raise BookError(f"{step}: another person began or ended it just now; its clock was left as it is")
        if ended and step not in steps:
            raise RecordError(f"{step} was not started; start it first")
        begun = {"started_at": at} | ({} if minutes is None else {"minutes": minutes})
        steps[step] = {**steps[step], "ended_at": at} if ended else begun
        return {"trace": {**reasoned(row["trace"], asked, why), "steps": steps}}

    with book.writing() as connection:
        return runs.change_run(connection, run_id, change, book.who)


def steps_of(row: dict):
    """Return the steps of a run that were begun: name to (start, end or None), with their zone."""
    begun = (row["trace"] or {}).get("steps", {})
    return {name: (_moment(step["started_at"]), _moment(step.get("ended_at"))) for name, step in begun.items()}


def minutes_of(row: dict, step: str):
    """Return the minutes that a step of a run took by its clock; None where that did not run to its end.

    "seal" stands for a seal of any kind.
    """
    for name, (begun, ended) in steps_of(row).items():
        if name.partition(":")[0] == step.partition(":")[0] and ended is not None:
            return (ended - begun).total_seconds() / 60
    return None


def wait_of(row: dict):
    """Return the minutes from the end of a run's cold rinse to the start of its dye; None where a clock lacks."""
    steps = steps_of(row)
    rinsed, dyed = steps.get("cold rinse", (None, None))[1], steps.get("dye", (None, None))[0]
    return None if rinsed is None or dyed is None or dyed < rinsed else (dyed - rinsed).total_seconds() / 60


def plan_seal_of(book, row: dict, kind: str, order: str | None = None, **options):
    """Return the seal of a run's film, a `SealPlan`; a nickel one is flagged by the order it is for.

    Parameters
    ----------
    row
        The run.
    kind
        One of `dyebook.physics.sealing.SEALS`.
    order
        Name of an order; the one the run was planned for without it.
    **options
        `min_per_um`; the shop's own time for this seal without it.
    """
    film_um = row["film_measured_um"] or row["film_um"]
    if not film_um:
        raise RecordError(f"run {row['id']} has no film yet; end it first")
    own = (book.setting(SEAL_TIMES) or {}).get(kind)
    skin = is_for_skin(book, order or order_of_run(book, row))
    known = {"min_per_um": own, "skin_or_food": skin, "no_nickel": _is_free(book, kind)}
    return plan_seal(film_um, kind, **known | options)


def seal_values(kind: str, minutes: float | None = None, temp_c: float | None = None):
    """Return the columns of a seal of the book."""
    if kind not in SEAL_KINDS:
        raise RecordError(f"seal {kind!r} is unknown; use one of {', '.join(SEAL_KINDS)}")
    return {"kind": SEAL_KINDS[kind], "dwell_min": minutes, "seal_temp_c": temp_c}


def keep_seal_test(book, run_id: int, stain: int, version: int | None = None):
    """Keep the dye spot test of a run's seal with the run, of the version looked at; return it judged, a `SealTest`."""
    row = book.row("runs", run_id)
    batches = book.rows("batches", run_id=run_id)
    seals = book.rows("seals", batch_id=batches[0]["id"]) if batches else []
    if not seals:
        raise RecordError(f"run {run_id} has no sealed batch in the book; keep its batch with its seal first")
    kinds = {kept: kind for kind, kept in SEAL_KINDS.items()}
    film_um = row["film_measured_um"] or row["film_um"]
    found = judge_seal(stain, film_um, row["alloy"], kinds.get(seals[-1]["kind"]))
    kept = {"stain": stain, "passes": found.passes, "at": this_moment().isoformat()}
    with book.writing() as connection:
        runs.change_run(
            connection, run_id, lambda row: {"trace": {**(row["trace"] or {}), "seal_test": kept}}, book.who, version
        )
    book.correct("seals", seals[-1]["id"], {"seal_stain": stain})
    return found


def _moment(text):
    return None if text is None else datetime.fromisoformat(text)


def keep_batch(
    book,
    run_id: int,
    *,
    dye: str,
    bath: str | None,
    dip: dict,
    second: dict | None = None,
    order: str | None = None,
    why: str | None = None,
    **more,
):
    """Write the batch of a run into the book; return its number.

    Parameters
    ----------
    dip
        `dye_g_per_l`, `bath_temp_c`, `dwell_min`, `ph`, `wait_min`.
    second
        A second dye in the same bath: ``dye`` and ``dye_g_per_l``.
    order
        Name of the order; the one the run was planned for without it.
    **more
        `rinse`, `seal` and `part` as dicts, `note`, `dyed_at` (ISO text; now without it).
    """
    missing = [FIELDS[name].label for name in ("dye_g_per_l", "bath_temp_c", "dwell_min") if dip.get(name) is None]
    if missing or not dye:
        raise RecordError(f"still needed: {', '.join(['dye'] * (not dye) + missing)}; a dip cannot be repeated without")
    if second is not None and not (bath and second.get("dye") and second.get("dye_g_per_l")):
        raise RecordError("a bath of two dyes needs the name of its tank, the second dye and its strength")
    row = book.row("runs", run_id)
    if kept := book.rows("batches", run_id=run_id):
        who = f"by {kept[0]['added_by']} at {kept[0]['added_at']}"
        raise BookError(f"run {run_id} is batch {kept[0]['id']} of the book already, kept {who}; correct that one")
    order = order or order_of_run(book, row)
    asked = asked_of_batch(book, row, dip, more.get("seal"), order, more.get("dyed_at"))
    order_id = None if order is None else order_named(book, order)["id"]
    more["dyed_at"] = more.get("dyed_at") or shop_now().isoformat(timespec="minutes")
    dip = {"dye_lot": lot_in_use(book, dye, more["dyed_at"])} | dip
    with book.writing() as connection:
        if asked:
            trace = {"trace": reasoned(row["trace"] or {}, asked, why)}
            runs.change_run(connection, run_id, lambda _: trace, book.who)
        names = Names(connection, book.who)
        more |= {"second": second, "order_id": order_id, "who": book.who}
        number = runs.add_batch_of_run(connection, run_id, names, dye, bath, dip, **more)
    part = (book.row("runs", run_id)["trace"] or {}).get("part_of") or {}
    if part.get("after") and not part["dyed_min"]:
        _add_dips_before(book, number, part["after"])
    return number


def _add_dips_before(book, number, after):
    """Give a batch that went on into another bath the dips it had before: its colour is not the last bath's alone."""
    before, names = book.rows("dips", batch_id=after), (*_DIP, "dye_id", "bath_id")
    for dip in book.rows("dips", batch_id=number):
        book.correct("dips", dip["id"], {"position": len(before) + dip["position"]})
    for place, dip in enumerate(before, start=1):
        book.add("dips", batch_id=number, position=place, **{name: dip[name] for name in names})


_DIP = ("dye_g_per_l", "bath_temp_c", "dwell_min", "ph", "wait_min")

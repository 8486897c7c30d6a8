"""What the bench asks about before it goes on, and the reason that is kept where it goes on all the same."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from dyebook.errors import RecordError
from dyebook.notebook import Note
from dyebook.record import is_empty
from dyebook.units import moment_of, shop_now

__all__ = [
    "asked_at_end",
    "asked_at_start",
    "asked_of_dip",
    "asked_of_electrolyte",
    "asked_of_gauge",
    "noting_what_is_odd",
    "reasoned",
    "this_moment",
    "unanswered",
]

# what is asked about before it is kept: an electrolyte outside the handbook's 60 to 80 °F, and by common practice, no
# source, a time that hardly any run takes, and a film far from the plan
ELECTROLYTE_TEMP_C = (15.0, 27.0)
LONGEST_MIN = 180.0
FAR_FROM_PLAN = (0.4, 1.6)  # film over film planned
# longer dips are asked about: handbooks give 10 to 30 min at most
LONGEST_DWELL_MIN = 60.0
_CLOCKS_DIFFER = timedelta(minutes=15)


def this_moment():
    """Return this moment, with its zone, to the second."""
    return datetime.now(UTC).replace(microsecond=0)


def unanswered(trace: dict, asked) -> tuple[Note, ...]:
    """Return what is asked about a run without what the maker has given a reason for already."""
    answered = {question for reason in trace.get("reasons", ()) for question in reason["asked"]}
    return tuple(question for question in asked if question not in answered)


def reasoned(trace: dict, asked, why: str | None) -> dict:
    """Return a run's trace with the reason to go on in spite of what was asked; unchanged where nothing was.

    Parameters
    ----------
    asked : sequence of Note

    Raises
    ------
    RecordError
        With all that was asked, where there is no reason.
    """
    asked = unanswered(trace, asked)
    if not asked:
        return trace
    if not (why or "").strip():
        raise RecordError(f"{'; '.join(asked)}. Put it right, or say why it is to go on: the reason is kept")
    kept = {"at": this_moment().isoformat(), "asked": [str(question) for question in asked], "why": why.strip()}
    return {**trace, "reasons": [*trace.get("reasons", ()), kept]}


def asked_at_start(book, row: dict) -> tuple[Note, ...]:
    """Return what stands in the way of starting a run until a reason is given."""
    tests = book.rows("preparations", run_id=row["id"], kind="water_break_test")
    asked = [Note("bench.water_broke")] if tests and tests[-1]["passed"] is False else []
    minutes = row["trace"]["plan"]["minutes"]
    if minutes > LONGEST_MIN:
        asked.append(Note("bench.odd_minutes", minutes=minutes, usual_min=LONGEST_MIN))
    return (*asked, *asked_of_electrolyte(row["electrolyte_temp_c"]))


def asked_of_electrolyte(temp_c: float | None) -> tuple[Note, ...]:
    """Return what is asked about the electrolyte's temperature, planned or noted; None is asked nothing."""
    low, high = ELECTROLYTE_TEMP_C
    odd = temp_c is not None and not low <= temp_c <= high
    return (Note("bench.odd_electrolyte", temp_c=temp_c, low=low, high=high),) if odd else ()


def asked_of_gauge(row: dict, film_measured_um: float) -> tuple[Note, ...]:
    """Return what is asked about a gauged film that is far from what the run's charge, or else its plan, promises."""
    expected = row["film_from_charge_um"] or row["film_um"]
    if not expected or FAR_FROM_PLAN[0] <= film_measured_um / expected <= FAR_FROM_PLAN[1]:
        return ()
    return (Note("bench.gauge_far", film_measured_um=film_measured_um, film_um=expected),)


def asked_of_dip(dip: dict) -> tuple[Note, ...]:
    """Return what is asked about a dip as noted: its time, its day, and a gauged film far from the planned one."""
    dip, asked = {name: value for name, value in dip.items() if not is_empty(value)}, []
    if dip.get("dwell_min", 0) > LONGEST_DWELL_MIN:
        asked.append(Note("bench.odd_minutes", minutes=dip["dwell_min"], usual_min=LONGEST_DWELL_MIN))
    if "dyed_at" in dip and moment_of(dip["dyed_at"]) > shop_now() + _CLOCKS_DIFFER:
        asked.append(Note("bench.in_the_future", at=dip["dyed_at"]))
    if {"film_um", "film_measured_um"} <= dip.keys():
        asked += asked_of_gauge({"film_from_charge_um": None, **dip}, dip["film_measured_um"])
    return tuple(asked)


def noting_what_is_odd(record):
    """Return a `DyeRecord` whose note says what was asked about it; itself where nothing is."""
    asked = asked_of_dip(vars(record))
    return replace(record, note="; ".join([record.note or "", *asked]).removeprefix("; ")) if asked else record


def asked_at_end(row: dict, stand) -> tuple[Note, ...]:
    """Return what is asked before a run is ended: a film far from the plan, a run that was forgotten.

    `stand` (RunNow): where it stands at that moment.
    """
    plan = row["trace"]["plan"]
    share = stand.film_um / plan["film_um"]
    if FAR_FROM_PLAN[0] <= share <= FAR_FROM_PLAN[1]:
        return ()
    values = {"film_um": stand.film_um, "planned_film_um": plan["film_um"], "minutes": stand.flowed_min}
    return (Note("bench.film_short" if share < 1 else "bench.run_long", **values),)

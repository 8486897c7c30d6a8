"""What a gauge reads on the parts of a run, and the growth rate that the book's own readings teach."""

from dyebook.book import runs
from dyebook.jobs.asked import asked_of_gauge, reasoned
from dyebook.physics.film import check_gauge
from dyebook.physics.growth import GAUGE_SD_UM, GaugedRun, learn_growth_rate
from dyebook.physics.rates import check_faraday, growth_rate
from dyebook.physics.trace.events import charge_ah

__all__ = ["FILM_BY", "gauge_check", "keep_gauge", "own_rate", "rate_for", "rate_of_trace"]

FILM_BY = ("gauge", "720", "0.30")


def keep_gauge(book, run_id: int, readings_um, asked_class=None, why: str | None = None, version=None) -> dict:
    """Keep what a gauge read on the parts of a run; return the run's row.

    `readings_um` (sequence of float): one a place. `asked_class`: ISO 7599 class that was asked for. RecordError if
    there is none, their mean is more film than the charge can make, or far from the film expected and no reason given.
    `version`: of the run, as it was looked at.
    """
    found = check_gauge(readings_um, asked_class, GAUGE_SD_UM)
    mean = found.film_measured_um

    def change(row):
        if row["charge_ah"] is not None and row["area_dm2"]:
            check_faraday(mean, row["charge_ah"] * 60 / row["area_dm2"], GAUGE_SD_UM)
        trace = reasoned(row["trace"] or {}, asked_of_gauge(row, mean), why)
        return {"film_measured_um": mean, "trace": {**trace, "gauge_um": list(readings_um), "film_class": asked_class}}

    with book.writing() as connection:
        return runs.change_run(connection, run_id, change, book.who, version)


def gauge_check(row: dict):
    """Return the gauge readings of a run against the class asked for, a `GaugeCheck`; None where it was not read."""
    trace = row["trace"] or {}
    readings = trace.get("gauge_um")
    return check_gauge(readings, trace.get("film_class"), GAUGE_SD_UM) if readings else None


def own_rate(book, *, alloy=None, electrolyte_temp_c=None, current_density_a_per_dm2=1.5):
    """Return what the book's own gauge readings teach about growth, an `OwnRate`."""
    with book.reading() as connection:
        rows = runs.gauged_runs(connection)
    whole = [row for row in rows if row["film_measured_um"] > 0 and row["anodise_min"] > 0 and _was_even(row)]
    gauged = [_gauged(row) for row in whole]
    return learn_growth_rate(
        gauged, alloy=alloy, electrolyte_temp_c=electrolyte_temp_c, current_density_a_per_dm2=current_density_a_per_dm2
    )


# events of a log after which the charge no longer tells the film of a part
_UNEVEN = {"contact_lost", "intermittent_contact", "short", "runaway", "power_break"}


def _was_even(row):
    events = (row["trace"] or {}).get("events", ())
    return not _UNEVEN & {event["kind"] for event in events}


def _gauged(row):
    known = row["charge_ah"] is not None
    mean_a = row["charge_ah"] * 60 / row["anodise_min"] if known else row["current_a"]
    count = len((row["trace"] or {}).get("gauge_um", ())) or 1
    # readings on one part share the gauge's own error: the mean of many is not better than half of one
    sd = GAUGE_SD_UM * max(count**-0.5, 0.5)
    return GaugedRun(
        row["area_dm2"],
        mean_a,
        row["anodise_min"],
        row["film_measured_um"],
        row["electrolyte_temp_c"],
        row["alloy"],
        sd,
    )


def rate_for(book, film_by, current_density_a_per_dm2, electrolyte_temp_c=None, alloy=None):
    """Return the `GrowthRate` that film is worked out by: the shop's gauge, or one of the two rules, never mixed."""
    if film_by == "gauge":
        conditions = {"alloy": alloy, "electrolyte_temp_c": electrolyte_temp_c}
        return own_rate(book, current_density_a_per_dm2=current_density_a_per_dm2, **conditions).rate
    temp = electrolyte_temp_c if film_by == "720" else None
    return growth_rate(current_density_a_per_dm2, temp, alloy=alloy, rule=film_by)


def rate_of_trace(book, trace, area_dm2=None, alloy=None, electrolyte_temp_c=None):
    """Return the shop's own `GrowthRate` at the mean current of a log; None without readings or without an area."""
    minutes = float(trace.time_min[-1] - trace.time_min[0])
    if not area_dm2 or minutes <= 0 or not own_rate(book).readings:
        return None
    density = max(charge_ah(trace.time_min, trace.current_a) * 60 / minutes / area_dm2, 0.01)
    conditions = {"alloy": alloy, "electrolyte_temp_c": electrolyte_temp_c}
    return own_rate(book, current_density_a_per_dm2=density, **conditions).rate

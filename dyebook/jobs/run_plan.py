"""What a run takes: current, time and film, by the rule or the readings that somebody chose."""

import math

from dyebook.jobs.gauge import rate_for
from dyebook.physics.film import plan_film, supply_plan

__all__ = ["film_in_time", "reckon_run"]


def reckon_run(
    book,
    area_dm2,
    current_density_a_per_dm2,
    film_um,
    *,
    film_by="720",
    supply_max_a=None,
    alloy=None,
    electrolyte_temp_c=None,
):
    """Plan a run by the shop's own readings or one of the two rules, within what the supply gives.

    Parameters
    ----------
    book : dyebook.book.store.Book
    area_dm2, current_density_a_per_dm2, film_um : float
    film_by : {"720", "0.30", "gauge"}
    supply_max_a : float, optional
    alloy : str, optional
    electrolyte_temp_c : float, optional

    Returns
    -------
    plan : dyebook.physics.film.SupplyPlan
    conditions : dict
        What its film was reckoned with, for further plans of the same run.
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

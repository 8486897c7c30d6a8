"""Run plan: amps and time for a film, what the supply can do, how warm the tank gets."""

import streamlit as st

from dyebook import report_run as words
from dyebook.jobs import run as bench
from dyebook.jobs.baths import electrolyte_named
from dyebook.jobs.gauge import own_rate
from dyebook.jobs.run_plan import film_in_time, reckon_run
from dyebook.physics.film import lost_contact_factor
from dyebook.physics.heat import warm_tank
from dyebook.screens.bench_pieces import ask, ask_order, ask_word, choose, go_on, offer_page, show_answer
from dyebook.screens.shelf import friendly_errors

__all__ = ["show"]

_FILM_BY = {"gauge": "your gauge readings", "720": "720 rule", "0.30": "0.30 rule"}
_HEADS = ("film_um", "current_a", "minutes", "charge_ah")
_FINISHES = ("polished", "brushed", "blasted", "etched", "as machined")


def show(book):
    """Draw the step."""
    left, right = st.columns([2, 3], gap="large")
    with left, st.container(key="pairs_plan"):
        asked = _questions(book)
    with right:
        if None in (asked["area"], asked["density"], asked["film"]):
            st.markdown("Area, current density and film are needed; the rest may stay empty.")
            return
        with friendly_errors():
            plan = _show_plan(book, asked)
            _keep(book, asked, plan.run)
            _show_heat(asked, plan.run)


def _questions(book):
    given = {
        "area": ask("area_dm2", "Area, dm²", hint="1.5 or 23 in²", explain="The Area step adds it up from shapes."),
        "density": ask("current_density_a_per_dm2", "Current density, A/dm²", "1.5", "1.5 or 14 asf"),
        "film": ask("film_um", "Film wanted, µm", "12", "12 or 0.5 mil"),
        "limit": ask("supply_max_a", "The supply gives at most, A", hint="3"),
        "alloy": ask_word("alloy", "Alloy", ("6061", "6063", "6082", "5052", "2024", "7075", "1050", "cast")),
        "finish": ask_word("finish", "Finish", _FINISHES),
        "order": ask_order(book),
        "temp": ask("electrolyte_temp_c", "Electrolyte now, °C", hint="20 or 68 °F", explain=_TEMP_HELP),
    }
    given["film_by"] = _film_by(book, given["temp"])
    with st.expander("The tank: how warm it gets, and the parts on the jig", expanded=True):
        tanks = [row["name"] for row in book.rows("electrolytes")]
        given["tank"] = ask_word("electrolyte", "Electrolyte in the book", tanks)
        tank = next((row for row in book.rows("electrolytes", name=given["tank"])), None) if given["tank"] else None
        known = f"{tank['bath_volume_l']:g}" if tank and tank["bath_volume_l"] else ""
        given["volume"] = ask(f"{tank['id']}_volume_l" if tank else "volume_l", "Tank, L", known, "2 or 0.5 gal")
        given["voltage"] = ask("voltage_v", "Voltage at the tank, V", "15")
        given["allowed"] = ask("allowed_temp_c", "Warmest you allow, °C", "22", "22 or 72 °F")
        given["parts"] = ask("parts_count", "Parts on the jig", hint="6", quantity="parts_a")
    return given


_TEMP_HELP = (
    "With it the rule is corrected by published films for temperature, density and time; without it, it is not."
)


def _film_by(book, temp):
    """What film is reckoned by: one of the shop's readings and the two rules, chosen in sight."""
    count = own_rate(book).readings
    options = [name for name in _FILM_BY if (name != "gauge" or count) and (name != "0.30" or temp is None)]
    return choose("film_by", "Film reckoned by", options, _FILM_BY.get)


def _show_plan(book, asked):
    conditions = {"alloy": asked["alloy"], "electrolyte_temp_c": asked["temp"], "supply_max_a": asked["limit"]}
    figures = asked["area"], asked["density"], asked["film"]
    plan, reckoned = reckon_run(book, *figures, film_by=asked["film_by"], **conditions)
    if plan.limited:
        # a supply that is too small still does something: the whole film later, or less film in the time first meant
        st.warning(words.limit_text(plan, *film_in_time(plan, reckoned)), icon=":material/power:")
    show_answer(plan.run, _HEADS)
    st.caption(
        "A thread grows by four times the build-up of one face. A film class needs its average and, everywhere, four "
        "fifths of it."
    )
    _show_contact(asked["parts"])
    offer_page("Anodise run", plan.run, "run_plan")
    return plan


def _show_contact(parts):
    if parts is not None and parts >= 2:
        factor = lost_contact_factor(int(parts), 1)
        st.markdown(
            f"At constant current one lost contact among {int(parts)} equal parts does not show in the total: the "
            f"others get {words.share_text(factor)} the film. Measure every part."
        )


def _keep(book, asked, run):
    values = {
        "area_dm2": run.area_dm2,
        "current_a": run.current_a,
        "film_um": run.film_um,
        "minutes": run.minutes,
        "film_by": asked["film_by"],
        "order": asked["order"],
        "voltage_v": asked["voltage"],
        "electrolyte_temp_c": None if asked["film_by"] == "0.30" else asked["temp"],
        "alloy": asked["alloy"],
        "finish": asked["finish"],
    }
    if st.button("Keep this plan and prepare", key="keep_plan", type="primary", icon=":material/arrow_forward:"):
        if asked["tank"]:
            values["electrolyte_id"] = electrolyte_named(book, asked["tank"], asked["volume"])
        number = bench.plan_run(book, **values)
        go_on("prepare", run=number)


def _show_heat(asked, run):
    st.subheader("The tank warms", anchor=False)
    if asked["volume"] is None or asked["voltage"] is None:
        st.markdown("With the tank's volume and the voltage this shows how warm the run makes it.")
        return
    start = 20.0 if asked["temp"] is None else asked["temp"]
    allowed = 22.0 if asked["allowed"] is None else asked["allowed"]
    density = run.current_density_a_per_dm2
    conditions = {"start_temp_c": start, "allowed_temp_c": allowed, "current_density_a_per_dm2": density}
    heat = warm_tank(asked["volume"], asked["voltage"], run.current_a, run.minutes, **conditions)
    show_answer(heat, ("end_temp_c", "growth_at_end", "largest_area_dm2", "ice_kg"))
    offer_page("The tank warms", heat, "heat")

"""A run on the bench: planned, prepared, watched while it is on.

The plan gives amps and time for a film, what the supply can do, and how warm the tank gets. A run that is on is worked
out from the book alone, so that reload, sleep and restart change nothing.
"""

from html import escape

import streamlit as st

from dyebook.jobs import run as bench
from dyebook.jobs.asked import asked_at_end, asked_at_start, asked_of_electrolyte
from dyebook.jobs.baths import electrolyte_named
from dyebook.jobs.gauge import own_rate
from dyebook.jobs.wet import mark_step
from dyebook.physics.answer import cautions_for
from dyebook.physics.film import lost_contact_factor
from dyebook.physics.heat import warm_tank
from dyebook.physics.sealing import PREPARATION, RINSE_MIN
from dyebook.report import bench as report_bench
from dyebook.report import words as report_words
from dyebook.report.words import figure_text, moment_text
from dyebook.screens.answers import (
    ask_reason,
    deed,
    offer_page,
    offer_steps,
    show_answer,
    show_cautions,
    show_clock,
    show_doubt,
    show_figures,
    show_pairs,
)
from dyebook.screens.bench.area import show_area
from dyebook.screens.bench.gauge import show_gauge
from dyebook.screens.drafts import draft
from dyebook.screens.fields import (
    ask,
    ask_alloy,
    ask_order,
    ask_word,
    check_fields,
    choose,
    choose_run,
    keeping,
    key_of,
    put,
    switch,
    try_deed,
    warn,
)
from dyebook.screens.navigation import go_on
from dyebook.screens.piece import hold, order_in_hand, plan_waiting
from dyebook.screens.session import friendly_errors, sentence, tap

__all__ = ["show_plan", "show_run"]

_FILM_BY = {"gauge": "your gauge readings", "720": "720 rule", "0.30": "0.30 rule"}
_HEADS = ("film_um", "current_a", "minutes", "charge_ah")
_FINISHES = ("polished", "brushed", "blasted", "etched", "as machined")


def show_plan(book):
    """Draw the step."""
    if switch(key_of("by_shapes"), "Add the area up from shapes"):
        show_area()
        return
    left, right = st.columns([2, 3], gap="large")
    with left, st.container(key="pairs_plan"):
        asked = _questions(book)
    with right, friendly_errors():
        if None in (asked["area"], asked["density"], asked["film"]):
            with deed():
                st.button("Keep plan", key="keep_plan", type="primary", on_click=try_deed, args=("plan",))
        else:
            plan = _show_plan(book, asked)
            _keep(book, asked, plan.run)
            _show_heat(asked, plan.run)


def _questions(book):
    given = {
        "area": ask("area_dm2", "Area, dm²", hint="1.5 or 23 in²", need="plan"),
        "density": ask("current_density_a_per_dm2", "Current density, A/dm²", "1.5", "1.5 or 14 asf", need="plan"),
        "film": ask("film_um", "Film wanted, µm", "12", "12 or 0.5 mil", need="plan"),
        "temp": ask("electrolyte_temp_c", "Electrolyte now, °C", hint="20 or 68 °F", explain=_TEMP_HELP),
        "limit": ask("supply_max_a", "Most the supply gives, A", hint="3"),
        "alloy": ask_alloy("alloy"),
        "finish": ask_word("finish", "Finish", _FINISHES),
        "order": ask_order(book),
    }
    given["film_by"] = _film_by(book, given["temp"])
    with st.expander("The tank: how warm it gets, and the parts on the jig"):
        tanks = [row["name"] for row in book.rows("electrolytes")]
        given["tank"] = ask_word("electrolyte", "Electrolyte in the book", tanks, the_only=True)
        tank = next((row for row in book.rows("electrolytes", name=given["tank"])), None) if given["tank"] else None
        known = f"{tank['bath_volume_l']:g}" if tank and tank["bath_volume_l"] else ""
        given["volume_key"] = f"{tank['id']}_volume_l" if tank else "volume_l"
        given["volume"] = ask(given["volume_key"], "Tank, L", known, "2 or 0.5 gal")
        given["voltage"] = ask("voltage_v", "Voltage at the tank, V", "15")
        given["allowed"] = ask("allowed_temp_c", "Warmest you allow, °C", "22", "22 or 72 °F")
        given["parts"] = ask("parts_count", "Parts on the jig", hint="6", quantity="parts_a")
    return given


_TEMP_HELP = (
    "With it the rule is corrected by published films for temperature, density and time; without it, it is not."
)


def _film_by(book, temp):
    """What the film is worked out by: the shop's own readings or one of two rules, chosen in sight."""
    count = own_rate(book).readings
    options = [name for name in _FILM_BY if (name != "gauge" or count) and (name != "0.30" or temp is None)]
    return choose("film_by", "Film worked out by", options, _FILM_BY.get)


def _show_plan(book, asked):
    conditions = {"alloy": asked["alloy"], "electrolyte_temp_c": asked["temp"], "supply_max_a": asked["limit"]}
    figures = asked["area"], asked["density"], asked["film"]
    plan, worked_out = bench.work_out_run(book, *figures, film_by=asked["film_by"], **conditions)
    if plan.limited:
        # a supply that is too small still does something: the whole film later, or less film in the time first meant
        st.warning(report_bench.limit_text(plan, *bench.film_in_time(plan, worked_out)), icon=":material/power:")
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
            f"others get {report_bench.share_text(factor)} the film. Measure every part."
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
    figures = f"{figure_text('current_a', run.current_a)}, {figure_text('minutes', run.minutes)}"
    with deed():
        kept = st.button(f"Keep plan: {figures}", key="keep_plan", type="primary")
    if kept:
        check_fields()
        if asked["tank"]:
            with keeping(key_of(asked["volume_key"])):
                values["electrolyte_id"] = electrolyte_named(book, asked["tank"], asked["volume"])
        number = bench.plan_run(book, **values)
        hold(book, **order_in_hand(book, asked["order"]), run=number, plan=plan_waiting(book))
        go_on("run", run=number)


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


# step of the preparation by its kind in the book
_PREPARATION = {step.name.replace(" ", "_").replace("-", "_"): step for step in PREPARATION}


def show_run(book):
    """Draw the step: a planned run is prepared and started, one that is on is watched; then its film is gauged."""
    # what is on comes before what is planned
    rows = sorted(bench.open_runs(book), key=lambda one: (one["started_at"] is not None, one["id"]))
    row, gauged = choose_run(rows, titled=False), draft().get(key_of("gauge_readings"), "").strip()
    if row is None:
        st.markdown("No run is planned or on.")
        # readings that are typed are kept first
        if not gauged:
            with deed():
                if st.button("Plan a run", key="to_plan", type="primary"):
                    go_on("plan")
    elif row["started_at"] is None:
        _prepare(book, row)
    else:
        _watch(book, row)
    with st.expander("Film gauge and seal test, of runs that have ended", expanded=row is None):
        show_gauge(book, alone=row is None)


def _prepare(book, row):
    left, right = st.columns([3, 2], gap="large")
    plan = report_bench.plan_words(row)
    with left:
        st.subheader(f"Before run {row['id']}", anchor=False)
        show_figures([pair for pair in plan if pair[0] in _PLAN_HEADS])
        done = book.rows("preparations", run_id=row["id"])
        ticks = {kind: [tick for tick in done if tick["kind"] == kind] for kind in _PREPARATION}
        here = next((kind for kind in ticks if kind != "finish" and not ticks[kind]), None)
        # what is next stands first: its button is in sight on the phone
        for kind, step in sorted(_PREPARATION.items(), key=lambda one: one[0] != here):
            if kind == "finish":
                _show_finish(book, row, step)
            else:
                _show_step(book, row, kind, step, ticks[kind], kind == here)
        _start(book, row, plan)
    with right:
        cautions = _preparation_cautions()
        show_pairs([pair for pair in plan if pair[0] not in _PLAN_HEADS])
        show_cautions(cautions)
        offer_steps(f"Before run {row['id']}", PREPARATION, cautions, "prepare", plan)
        _offer_to_drop(book, row, "Drop this plan")


_PLAN_HEADS = ("film wanted", "time planned", "set the supply to")


def _start(book, row, plan):
    if missing := bench.state_of(book, row).not_prepared:
        st.markdown(f"Not ticked yet: {', '.join(_PREPARATION[kind].name for kind in missing)}.")
    why = ask_reason("start_why", asked_at_start(book, row))
    amps, minutes = (dict(plan)[name].partition(" (")[0] for name in _PLAN_HEADS[:0:-1])
    label = f"Start: {amps}, {minutes}"
    with deed():
        if st.button(label, key="start_run", type="primary", disabled=why == ""):
            bench.start_run(book, row["id"], why=why)
            go_on("run", run=row["id"])


def _preparation_cautions():
    names = [name for step in PREPARATION for name in step.cautions]
    return cautions_for(*dict.fromkeys(("supply_off", "hydrogen", "protection", "mains", *names, "waste")))


def _show_finish(book, row, step):
    """The finish is a word of the run, planned or put right here."""
    _step_words(step, f"– {row['finish']}" if row["finish"] else "", brief=bool(row["finish"]))
    with st.container(key="prep_finish", horizontal=True):
        for finish in _FINISHES:
            kind = "primary" if row["finish"] == finish else "secondary"
            change = tap(book.correct, "runs", row["id"], {"finish": finish}, row["version"])
            st.button(finish, key=f"finish_{finish.replace(' ', '_')}", type=kind, **change)


def _step_words(step, state, brief=False):
    """A step's name and state; what it asks for too unless it is brief."""
    what = "" if brief else f"<br>{escape(step.what)} <span class='source'>{escape(step.source)}</span>"
    head = f"<strong>{escape(step.name.capitalize())}</strong> {escape(state)}"
    st.html(f"<div class='wetstep'>{head}{what}</div>", width="stretch")


def _show_step(book, row, kind, step, ticks, is_next):
    with st.container(key=f"prep_{kind}", horizontal=True, vertical_alignment="center"):
        _step_words(step, _state(ticks), brief=not is_next)
        if ticks:
            undo = tap(bench.untick_step, book, row["id"], kind)
            st.button("Undo", key=f"undo_{kind}", type="tertiary", **undo)
        elif kind == "water_break_test":
            _tick(book, row, kind, "Holds", passed=True)
            _tick(book, row, kind, "Breaks", passed=False)
        else:
            _tick(book, row, kind, "Done")


def _tick(book, row, kind, label, **found):
    st.button(label, key=f"tick_{kind}_{label.lower()}", **tap(bench.tick_step, book, row["id"], kind, **found))


def _state(ticks):
    if not ticks:
        return ""
    failed = ticks[-1]["passed"] is False
    result = "– the sheet broke: clean again" if failed else "– done"
    return f"{result}, {moment_text(ticks[-1]['added_at'])}"


_REFRESH_S = 5


def _watch(book, row):
    left, right = st.columns([3, 2], gap="large")
    with left:
        _standing(book, row["id"])
        _note(book, row)
    with right:
        _notes(book, row)
        show_cautions(bench.state_of(book, row).cautions)


@st.fragment(run_every=_REFRESH_S)
def _standing(book, number):
    """Clock and film, drawn anew every few seconds without the rest of the page."""
    with friendly_errors():
        row = book.row("runs", number)
        if row["anodise_min"] is not None or row["deleted_at"] is not None:
            st.rerun()
        stand = bench.where_is(book, row)
        st.subheader(f"Run {number} is {'paused' if stand.paused else 'on'}", anchor=False)
        total = bench.whole_time_min(book, row, stand)
        alarm = f"Run {number} has reached its film. Supply off, then lift the parts into the cold rinse at once."
        ends = f"until {report_words.clock_text(stand.ends_at)}" if not stand.done else "over the time"
        ends = "paused: no current" if stand.paused else ends
        show_clock(f"clock_{number}", total, stand.elapsed_min, ends, alarm, running=not stand.paused)
        show_figures(report_bench.now_words(stand))
        wanted = figure_text("film_um", row["trace"]["plan"]["film_um"])
        st.caption(f"Wanted: {wanted}. Basis: {stand.basis}. {report_words.PLUS_MINUS}")
        for note in stand.notes:
            warn(note.capitalize())


def _note(book, row):
    last = row["trace"]["notes"][-1]["current_a"]
    with st.container(horizontal=True, vertical_alignment="bottom"):
        if last > 0:
            same = f"Unchanged: {figure_text('current_a', last)}"
            st.button(same, key="note_same", **tap(_write_note, book, row["id"], last))
            st.button("Pause", key="pause_run", **tap(bench.pause_run, book, row["id"]))
        else:
            st.button("Current is back", key="resume_run", **tap(bench.resume_run, book, row["id"]))
    key = f"asked_end_{row['id']}"
    with deed():
        end = st.button("End the run, into the rinse", key="finish_run", type="primary", icon=":material/stop:")
    if end or st.session_state.get(key):
        _end(book, row, key)
    with st.expander("Note another reading", expanded=False):
        current = ask("noted_current_a", "Current now, A", hint="2.9 or 0")
        volts = ask("noted_voltage_v", "Voltage, V")
        temp = ask("noted_electrolyte_temp_c", "Electrolyte, °C", hint="21 or 70 °F")
        note = tap(_write_note, book, row["id"], current, voltage_v=volts, electrolyte_temp_c=temp)
        st.button("Note it", key="note_reading", disabled=current is None, **note)


def _end(book, row, key):
    """End a run; a film far from the plan is asked about first, and stays on until there is an answer."""
    asked = asked_at_end(row, bench.where_is(book, row))
    st.session_state[key] = bool(asked)
    why = ask_reason("end_why", asked)
    minutes = ask("ended_after_min", "Or: the current went off after, min", quantity="run_min") if asked else None
    if not asked or st.button("End it so", key="end_so", disabled=not (why or minutes)):
        if asked:
            check_fields()
        st.session_state.pop(key)
        bench.finish_run(book, row["id"], minutes=minutes, why=why)
        if not minutes:
            mark_step(book, row["id"], "cold rinse", minutes=RINSE_MIN)
        go_on("dye", run=row["id"])


def _write_note(book, number, current, **seen):
    check_fields()
    bench.note_current(book, number, current, **seen)
    put(noted_current_a="", noted_voltage_v="", noted_electrolyte_temp_c="")


def _notes(book, row):
    st.markdown("**Noted**")
    noted = [note for note in row["trace"]["notes"] if not note.get("held")]
    for note in reversed(noted[-6:]):
        st.markdown(report_bench.note_text(note))
    for question in asked_of_electrolyte(noted[-1].get("electrolyte_temp_c")):
        show_doubt(sentence(question))
    st.caption("Between two notes the current runs in a straight line; switching off or on, a note of 0 A, is a step.")
    _offer_to_drop(book, row, "It was a mistake: drop this run")


def _offer_to_drop(book, row, label):
    st.button(label, key="drop_run", type="tertiary", **tap(bench.drop_run, book, row["id"], row["version"]))

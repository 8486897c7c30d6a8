"""Dye: rinse, dye and seal by their clocks, one deed at a time, from the anodised run to the batch in the book."""

from datetime import UTC, datetime
from functools import partial
from html import escape

import streamlit as st

from dyebook.jobs import wet
from dyebook.jobs.bath_state import bath_line, temp_today
from dyebook.jobs.baths import baths_by_name, outside_window
from dyebook.jobs.orders import is_for_skin
from dyebook.physics.answer import cautions_for
from dyebook.physics.sealing import SEALS, plan_seal, wet_steps
from dyebook.record import FIELDS
from dyebook.report import words as report_words
from dyebook.report.words import figure_text
from dyebook.screens import fields
from dyebook.screens.answers import ask_reason, deed, offer_page, offer_steps, show_answer, show_cautions, show_clock
from dyebook.screens.drafts import forget
from dyebook.screens.fields import (
    ask,
    ask_order,
    ask_word,
    check_fields,
    choose,
    choose_run,
    key_of,
    switch,
    try_deed,
    warn,
)
from dyebook.screens.navigation import go_on, go_to_photo, turn_over
from dyebook.screens.piece import hold, order_in_hand
from dyebook.screens.session import friendly_errors, tap
from dyebook.screens.shade.baths import learn_here

__all__ = ["show_dye"]

_NO_SEAL = "none"
# of a step whose time is not typed yet
_USUAL_MIN = 5.0
_SLIP_MIN = 0.05
_OF_PART = ("jig_place", "contact_marks")
# fields that the next part does not take over
_OF_ONE_DIP = ("bath_temp_c", "dwell_min", "ph", "dyed_min", "in_seal_min", "seal_why", "batch_why", *_OF_PART)
# tanks whose minutes come from fields of the page
_BY_FIELDS = ("dye", "seal")
# steps that a part goes into and comes out of; the others start and end
_TANKS = ("cold rinse", "dye", "rinse", "seal")


def show_dye(book):
    """Draw the step: the clock of what is going on, the dip, and what is still to come."""
    waiting = [row for row in reversed(wet.finished_runs(book)) if row["batch"] is None and row["film_um"]]
    clock = st.container()
    row = choose_run(waiting, "Part to dye")
    if row is None:
        st.markdown("No anodised run is waiting for its dye. Rinse cold at once after a run, and keep it wet.")
        if st.button("To the run", key="to_run"):
            go_on("run")
        st.markdown("A part that was anodised elsewhere is dyed here too; its film is needed.")
        film = ask("film_um", "Film, µm", hint="12 or 0.5 mil", need="part")
        with deed():
            if st.button("Dye this part", key="take_part", type="primary", on_click=try_deed, args=("part",)) and film:
                check_fields()
                go_on("dye", run=wet.take_part(book, film))
        return
    left, right = st.columns([2, 3], gap="large")
    with left, st.container(key="pairs_wet"):
        asked = _questions(book, row)
    with right, friendly_errors():
        _show_steps(book, row, asked, clock)


def _questions(book, row):
    baths = baths_by_name(book)
    name = ask_word("bath", "Dye bath", list(baths), "choose, or write: dye, bath", need="dye", the_only=True)
    dye, _, bath = (name or "").partition(", ")
    strength_key = f"{baths[name]['id']}_dye_g_per_l" if name in baths else "dye_g_per_l"
    strength, temp = _bath_now(book, baths.get(name))
    given = {
        "dye": dye.strip(),
        "bath": bath.strip() or None,
        "dye_g_per_l": ask(strength_key, "Dye strength, g/L", strength, "3 or 0.4 oz/gal", need="dye"),
        "bath_temp_c": ask("bath_temp_c", "Dye bath, °C", temp, hint="50 or 122 °F", need="dye"),
        "dwell_min": ask("dwell_min", "Time in dye, min", "5", "5 or 5:30", need="dye"),
    }
    with st.expander("pH, rinse, rack, a second dye, the order"):
        given["ph"] = ask("ph", "pH of the dye bath", hint="5.5", quantity="ph_a")
        given["rinse_temp_c"] = ask("rinse_temp_c", "Cold rinse, °C", hint="15 or 59 °F")
        for name in _OF_PART:
            given[name] = fields.ask_text(name, FIELDS[name].heading, explain=FIELDS[name].meaning) or None
        given["second"] = _second_dye(book)
        given["order"] = ask_order(book, row)
        given["skin_or_food"] = _skin_or_food(book, given["order"])
    for problem in outside_window(book, given["dye"], ph=given["ph"], bath_temp_c=given["bath_temp_c"]):
        warn(problem)
    kinds = {kind: kind.replace("_", " ") for kind in SEALS} | {_NO_SEAL: "not now"}
    given["seal"] = choose("seal", "Seal", list(kinds), kinds.get)
    with st.expander("Time and temperature of the seal"):
        given["min_per_um"] = _own_seal_time(book, given["seal"])
        given["no_nickel"] = _no_nickel(book, given["seal"])
        given["seal_temp_c"] = ask("seal_temp_c", "Seal bath, °C", hint="97 or 207 °F")
        given["seal_min"] = ask("in_seal_min", "It was in the seal, min", hint="by its clock")
    return given


def _second_dye(book):
    """A second dye in the same bath, with its strength; None without one."""
    second = ask_word("second_dye", "Second dye in the same bath", [row["name"] for row in book.rows("dyes")])
    strength = ask("second_dye_g_per_l", "Its strength, g/L", hint="1") if second else None
    return {"dye": second, "dye_g_per_l": strength} if second else None


def _skin_or_food(book, order):
    """Whether the work is worn on the skin or used with food, as its order says until it is switched here."""
    key = key_of(f"{order}_skin_or_food" if order else "skin_or_food")
    return switch(key, "Worn on the skin, or used with food", is_for_skin(book, order))


def _bath_now(book, bath):
    """Strength and temperature of a bath as they are taken to be, as texts; empty where not known."""
    if bath is None:
        return "", ""
    now, temp = bath_line(book, bath["id"], learn_here, newest=True).now, temp_today(book, bath)
    return f"{now.dye_g_per_l:.3g}" if now else "", "" if temp is None else f"{temp:.3g}"


def _own_seal_time(book, kind):
    """Minutes per µm of a seal as typed, beginning with the shop's own; kept for the shop only on asking."""
    if kind == _NO_SEAL:
        return None
    own = book.setting(wet.SEAL_TIMES) or {}
    usual = f"{SEALS[kind].min_per_um:g}, {SEALS[kind].source}"
    default = f"{own[kind]:g}" if kind in own else ""
    typed = ask(f"{kind}_min_per_um", "Seal, min per µm", default, usual, quantity="seal_min")
    if typed is not None and typed != own.get(kind):
        keep = tap(book.set_setting, wet.SEAL_TIMES, {**own, kind: typed}, own)
        st.button("Keep this as the shop's own time", key="keep_seal_time", type="tertiary", **keep)
    return typed


def _no_nickel(book, kind):
    """Whether the sheet of a seal that may hold nickel names none; kept for the shop as the maker says it."""
    if kind == _NO_SEAL or not SEALS[kind].may_be_free:
        return False
    free, key = book.setting(wet.NO_NICKEL) or [], f"no_nickel_{kind}"
    st.session_state[key] = kind in free
    turned = [one for one in free if one != kind] if kind in free else [*free, kind]
    keep = tap(book.set_setting, wet.NO_NICKEL, turned, free)
    return st.toggle("Its safety data sheet names no nickel", key=key, on_change=keep["on_click"], args=keep["args"])


def _show_steps(book, row, asked, clock):
    sealed = asked["seal"] != _NO_SEAL
    seal = [asked["seal"]] if sealed else []
    options = {name: asked[name] for name in ("min_per_um", "skin_or_food", "no_nickel")} if sealed else {}
    steps = wet_steps(row["film_um"], asked["dwell_min"] or _USUAL_MIN, *seal, **options)
    steps = [step for step in steps if sealed or _tank(step.name) != "seal"]
    asked["why"] = ask_reason(
        "seal_why", wet.asked_of_seal(book, row, asked["seal"], asked["order"], asked["skin_or_food"])
    )
    begun = wet.steps_of(row)
    for place, step in enumerate(steps):
        _show_step(book, row, place, step, begun.get(step.name), asked["why"])
    keep = _show_kept_values(book, row, asked, clock)
    with clock:
        _show_deed(book, row, steps, begun, asked, keep)
    names = [name for step in steps for name in step.cautions]
    offer_steps(f"After run {row['id']}", steps, cautions_for(*dict.fromkeys(names), "waste"), "wet")
    if sealed:
        plan = plan_seal(row["film_um"], *seal, **options)
        st.subheader("The seal", anchor=False)
        show_answer(plan, ("minutes", "temp_c", "ph"), leave=("kind",))
        offer_page(f"Seal: {asked['seal'].replace('_', ' ')}", plan, "seal")


def _show_deed(book, row, steps, begun, asked, keep):
    """Draw the clock of what is going on, and the one button that ends it and begins what follows."""
    # a part of another run was rinsed before
    passed = ("bores", "cold rinse") if "part_of" in row["trace"] else ("bores",)
    clocked = [place for place, step in enumerate(steps) if step.minutes and step.name not in passed]
    last = max((place for place in clocked if steps[place].name in begun), default=-1)
    follows = next((steps[place] for place in clocked if place > last), None)
    on = steps[last] if last >= 0 and begun[steps[last].name][1] is None else None
    if on is not None:
        elapsed = (datetime.now(UTC) - begun[on.name][0]).total_seconds() / 60
        words, alarm = on.name.capitalize(), f"{on.name.capitalize()}: time is up."
        show_clock(f"step_clock_{row['id']}_{last}", on.minutes, elapsed, words, alarm)
    if follows is not None and _tank(follows.name) == "dye" and "bores" not in begun:
        st.caption("Flush bores, threads and folds first.")
    out = f"Out of the {_tank(on.name)}" if on else ""
    with deed():
        if follows is None:
            label = f"{out}: into the book" if on else "Into the book"
            if st.button(label, key=f"out_{last}" if on else "keep_batch", type="primary", disabled=_is_stopped(asked)):
                if on:
                    _mark(book, row, on, ended=True)
                keep(book.row("runs", row["id"]))
            return
        into = f"nto the {_tank(follows.name)}, {report_words.minutes_text(follows.minutes)}"
        begin = tap(_go_into, book, row, on, follows, asked["why"])
        begin["disabled"] = _tank(follows.name) == "seal" and asked["why"] == ""
        key = f"out_{last}" if on else f"in_{steps.index(follows)}"
        st.button(f"Out, i{into}" if on else f"I{into}", key=key, type="primary", **begin)
    # to be looked at before it is sealed: only an open film takes more
    early = {"key": "keep_now", "type": "tertiary", "disabled": _is_stopped(asked)}
    is_dyed = _dip_of(row, asked)["dwell_min"] is not None
    if is_dyed and st.button("Into the book as it is", **early):
        keep(row)


def _is_stopped(asked):
    """Whether the seal chosen, or what is odd about the dip, waits for a reason."""
    return asked["batch_why"] == "" or (asked["seal"] != _NO_SEAL and asked["why"] == "")


def _go_into(book, row, on, step, why):
    """End the step that is on, and begin another; not with a figure that makes no sense: the clock goes by it."""
    if _tank(step.name) in _BY_FIELDS:
        check_fields()
    if on is not None:
        _mark(book, row, on, ended=True)
    _mark(book, row, step, minutes=step.minutes, why=why)
    turn_over()


def _mark(book, row, step, **how):
    """Note where a step stands, unless another person did since its row was drawn."""
    wet.mark_step(book, row["id"], step.name, seen=row["trace"].get("steps", {}).get(step.name), **how)


def _tank(name):
    """What a step's name says that the part goes into."""
    return name.partition(":")[0]


def _show_step(book, row, place, step, times, why):
    """Draw a step as a line, with what is out of turn: begun anew, begun before its turn, ended without the next."""
    planned = "" if step.minutes is None else f"{report_words.minutes_text(step.minutes)}, "
    tank = _tank(step.name)
    head = f"<strong>{escape(step.name.capitalize())}</strong> – {escape(step.what)}"
    with st.container(key=f"step_{place}", horizontal=True, vertical_alignment="center"):
        source = f"<span class='source'>{escape(planned + step.source)}</span>"
        st.html(f"<div class='wetstep'>{head}<br>{source}</div>", width="stretch")
        begin = tap(_go_into, book, row, None, step, why) | {"disabled": tank == "seal" and why == ""}
        if times is None:
            label = "Done" if step.minutes is None else f"Into the {tank}" if tank in _TANKS else "Start"
            st.button(label, key=f"begin_{place}", type="tertiary", **begin)
        elif times[1] is None and step.minutes:
            end = tap(_mark, book, row, step, ended=True)
            st.button("Out" if tank in _TANKS else "End", key=f"end_{place}", type="tertiary", **end)
        else:
            st.markdown(_done_words(times), width="content")
            st.button("Again", key=f"again_{place}", type="tertiary", **begin)
    if times is not None and times[1] is None and step.minutes and step.cautions:
        show_cautions(cautions_for(*step.cautions))


def _done_words(times):
    begun, ended = times
    return "done" if ended is None else f"took {report_words.minutes_text((ended - begun).total_seconds() / 60)}"


def _show_kept_values(book, row, asked, clock):
    """Draw what goes into the book as it was clocked; return what keeps it, a function of the run's row.

    `clock`: the container at the top, where what is odd is asked about.
    """
    with st.container(key="kept_values"):
        begun = "dye" in wet.steps_of(row)
        # what was planned is not what was: without a clock, or with one that was forgotten, the maker says it
        with st.expander("Its clock in the dye is not right" if begun else "Dyed without a clock here"):
            need = None if begun else "dye"
            asked["dyed_min"] = ask("dyed_min", "It was in the dye, min", hint="5 or 5:30", need=need)
        dip = _dip_of(row, asked)
        if dip["dwell_min"] is not None:
            source = "by its clock" if asked["dyed_min"] is None else "as you say"
            before = wet.dyed_before_min(row)
            source += f", with {figure_text('minutes', before)} before" if before else ""
            st.markdown(f"Time in the dye: {figure_text('minutes', dip['dwell_min'])}, {source}.")
        if dip["wait_min"] is not None:
            wait = figure_text("minutes", dip["wait_min"])
            st.markdown(f"Waited between rinse and dye: {wait}, by the clocks of those steps.")
    with clock:
        asked["batch_why"] = ask_reason("batch_why", _odd(book, row, asked))
    return partial(_keep, book, asked)


def _odd(book, row, asked):
    """What is asked about a batch as it was clocked; the seal's own question stands at its step."""
    odd = wet.asked_of_batch(book, row, _dip_of(row, asked), _seal_of(row, asked), asked["order"])
    return [one for one in odd if one.code != "bench.nickel_confirm"]


def _dip_of(row, asked):
    """Columns of the dip: it took as long as its maker says, else as its clock; never as planned."""
    dwell = wet.minutes_of(row, "dye") if asked["dyed_min"] is None else asked["dyed_min"]
    dip = {name: asked[name] for name in ("dye_g_per_l", "bath_temp_c", "ph")}
    return dip | {
        "dwell_min": None if dwell is None else dwell + (wet.dyed_before_min(row) or 0.0),
        "wait_min": wet.wait_of(row),
    }


def _seal_of(row, asked):
    """Columns of the seal: one that was neither begun nor chosen is none."""
    begun = any(name.startswith("seal") for name in wet.steps_of(row))
    if asked["seal"] == _NO_SEAL or not (begun or asked["seal"] != next(iter(SEALS))):
        return None
    minutes = wet.minutes_of(row, "seal") if asked["seal_min"] is None else asked["seal_min"]
    return wet.seal_values(asked["seal"], minutes, asked["seal_temp_c"])


def _keep(book, asked, row):
    """Keep the batch of a run, and turn to its photo; where something is missing or odd, its field says so."""
    check_fields()
    dip, why = _dip_of(row, asked), " ".join(filter(None, (asked["batch_why"], asked["why"])))
    missing = not asked["dye"] or None in (dip["dye_g_per_l"], dip["bath_temp_c"], dip["dwell_min"])
    if missing or (_odd(book, row, asked) and not asked["batch_why"]):
        try_deed("dye")
        turn_over()
        st.rerun()
    rinsed = wet.minutes_of(row, "cold rinse")
    # two taps at once are no rinse that was clocked
    rinsed = rinsed if rinsed and rinsed > _SLIP_MIN else None
    rinse = {"kind": "tap", "rinse_temp_c": asked["rinse_temp_c"], "dwell_min": rinsed}
    more = {name: asked[name] for name in ("dye", "bath", "second", "order")}
    noted = {name: asked[name] for name in _OF_PART if asked[name]}
    number = wet.keep_batch(
        book, row["id"], dip=dip, rinse=rinse, seal=_seal_of(row, asked), part=noted or None, why=why, **more
    )
    hold(book, **order_in_hand(book, asked["order"]), run=row["id"], batch=number)
    forget(*(key_of(name) for name in _OF_ONE_DIP))
    go_to_photo(batch=number)

"""Rinse, dye, seal: steps with timers from the anodised run to the batch in the book."""

from datetime import UTC, datetime
from html import escape

import streamlit as st

from dyebook.jobs import wet
from dyebook.jobs.bath_state import bath_line
from dyebook.jobs.baths import baths_by_name, outside_window
from dyebook.jobs.orders import is_for_skin
from dyebook.physics.answer import cautions_for
from dyebook.physics.sealing import SEALS, plan_seal, wet_steps
from dyebook.report import words as report_words
from dyebook.report.words import figure_text
from dyebook.screens.answers import ask_reason, offer_page, offer_steps, show_answer, show_cautions, show_clock
from dyebook.screens.fields import ask, ask_order, ask_word, choose, choose_run, key_of, switch, warn
from dyebook.screens.navigation import go_on, go_to_batch, go_to_photo
from dyebook.screens.piece import hold, order_in_hand
from dyebook.screens.session import friendly_errors, tap
from dyebook.screens.shade.baths import learn_here

__all__ = ["show_wet"]

_NO_SEAL = "none"
# steps that a part goes into and comes out of; the others start and end
_TANKS = ("cold rinse", "dye", "rinse", "seal")
# in the session's state: the batch just kept
_KEPT = "bench_kept"


def show_wet(book):
    """Draw the step."""
    if _show_kept():
        return
    waiting = [row for row in reversed(wet.finished_runs(book)) if row["batch"] is None and row["film_um"]]
    row = choose_run(waiting, "Anodised run")
    if row is None:
        st.markdown("No anodised run is waiting for its dye. Rinse cold at once after a run, and keep it wet.")
        if st.button("To the run", key="to_run"):
            go_on("run")
        st.markdown("A part that was anodised elsewhere is dyed here too; its film is needed.")
        film = ask("film_um", "Film, µm", hint="12 or 0.5 mil")
        if st.button("Dye this part", key="take_part", disabled=film is None):
            go_on("wet", run=wet.take_part(book, film))
        return
    left, right = st.columns([2, 3], gap="large")
    with left, st.container(key="pairs_wet"):
        asked = _questions(book, row)
    with right, friendly_errors():
        _show_steps(book, row, asked)
        _keep(book, row, asked)


def _questions(book, row):
    baths = baths_by_name(book)
    name = ask_word("bath", "Dye bath", list(baths), hint="choose, or write: dye, bath")
    dye, _, bath = (name or "").partition(", ")
    strength_key = f"{baths[name]['id']}_dye_g_per_l" if name in baths else "dye_g_per_l"
    given = {
        "dye": dye.strip(),
        "bath": bath.strip() or None,
        "dye_g_per_l": ask(strength_key, "Dye strength, g/L", _strength_now(book, baths.get(name)), "3 or 0.4 oz/gal"),
        "bath_temp_c": ask("bath_temp_c", "Dye bath, °C", hint="50 or 122 °F"),
        "dwell_min": ask("dwell_min", "Time in dye, min", "5", "5 or 5:30"),
        "ph": ask("ph", "pH of the dye bath", hint="5.5", quantity="ph_a"),
        "rinse_temp_c": ask("rinse_temp_c", "Cold rinse, °C", hint="15 or 59 °F"),
    }
    given["second"] = _second_dye(book)
    given["order"] = ask_order(book, row)
    given["skin_or_food"] = _skin_or_food(book, given["order"])
    kinds = {kind: kind.replace("_", " ") for kind in SEALS} | {_NO_SEAL: "not now"}
    given["seal"] = choose("seal", "Seal", list(kinds), kinds.get)
    given["min_per_um"] = _own_seal_time(book, given["seal"])
    given["no_nickel"] = _no_nickel(book, given["seal"])
    given["seal_temp_c"] = ask("seal_temp_c", "Seal bath, °C", hint="97 or 207 °F")
    for problem in outside_window(book, given["dye"], ph=given["ph"], bath_temp_c=given["bath_temp_c"]):
        warn(problem)
    return given


def _second_dye(book):
    """A second dye in the same bath, with its strength; None without one."""
    with st.expander("A second dye in the same bath"):
        second = ask_word("second_dye", "Second dye", [row["name"] for row in book.rows("dyes")])
        strength = ask("second_dye_g_per_l", "Its strength, g/L", hint="1") if second else None
    return {"dye": second, "dye_g_per_l": strength} if second else None


def _skin_or_food(book, order):
    """Whether the work is worn on the skin or used with food, as its order says until it is switched here."""
    key = key_of(f"{order}_skin_or_food" if order else "skin_or_food")
    return switch(key, "Worn on the skin, or used with food", is_for_skin(book, order))


def _strength_now(book, bath):
    now = bath_line(book, bath["id"], learn_here, newest=True).now if bath else None
    return f"{now.dye_g_per_l:.3g}" if now else ""


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
    free = book.setting(wet.NO_NICKEL) or []
    said = st.toggle("Its safety data sheet names no nickel", kind in free, key=f"no_nickel_{kind}")
    if said != (kind in free):
        book.set_setting(wet.NO_NICKEL, [*free, kind] if said else [one for one in free if one != kind], free)
    return said


def _show_steps(book, row, asked):
    if asked["dwell_min"] is None:
        st.markdown("The time in the dye is needed for its timer.")
        return
    sealed = asked["seal"] != _NO_SEAL
    seal = [asked["seal"]] if sealed else []
    options = {name: asked[name] for name in ("min_per_um", "skin_or_food", "no_nickel")} if sealed else {}
    steps = wet_steps(row["film_um"], asked["dwell_min"], *seal, **options)
    steps = [step for step in steps if sealed or _tank(step) != "seal"]
    begun = wet.steps_of(row)
    asked["why"] = ask_reason(
        "seal_why", wet.asked_of_seal(book, row, asked["seal"], asked["order"], asked["skin_or_food"])
    )
    for place, step in enumerate(steps):
        _show_step(book, row, place, step, begun.get(step.name), asked["why"])
    names = [name for step in steps for name in step.cautions]
    offer_steps(f"After run {row['id']}", steps, cautions_for(*dict.fromkeys(names), "waste"), "wet")
    if sealed:
        plan = plan_seal(row["film_um"], *seal, **options)
        st.subheader("The seal", anchor=False)
        show_answer(plan, ("minutes", "temp_c", "ph"), leave=("kind",))
        offer_page(f"Seal: {asked['seal'].replace('_', ' ')}", plan, "seal")


def _tank(step):
    """What a step's name says that the part goes into."""
    return step.name.partition(":")[0]


def _show_step(book, row, place, step, times, why):
    planned = "" if step.minutes is None else f"{report_words.minutes_text(step.minutes)}, "
    tank = _tank(step)
    into, out = (f"Into the {tank}", f"Out of the {tank}") if tank in _TANKS else ("Start", "End")
    head = f"<strong>{escape(step.name.capitalize())}</strong> – {escape(step.what)}"
    with st.container(key=f"step_{place}", horizontal=True, vertical_alignment="center"):
        source = f"<span class='source'>{escape(planned + step.source)}</span>"
        st.html(f"<div class='wetstep'>{head}<br>{source}</div>", width="stretch")
        stopped = tank == "seal" and why == ""
        seen = row["trace"].get("steps", {}).get(step.name)
        more = {"minutes": step.minutes, "why": why, "seen": seen}
        begin = tap(wet.mark_step, book, row["id"], step.name, **more) | {"disabled": stopped}
        if times is None:
            st.button(into if step.minutes else "Done", key=f"in_{place}", **begin)
        elif times[1] is None and step.minutes:
            end = tap(wet.mark_step, book, row["id"], step.name, True, seen=seen)
            st.button(out, key=f"out_{place}", type="primary", **end)
        else:
            st.markdown(_done_words(times), width="content")
            st.button("Again", key=f"again_{place}", type="tertiary", **begin)
    if times is not None and times[1] is None and step.minutes:
        elapsed = (datetime.now(UTC) - times[0]).total_seconds() / 60
        alarm = f"{step.name.capitalize()}: time is up."
        show_clock(f"step_clock_{row['id']}_{place}", step.minutes, elapsed, step.name, alarm)
        if step.cautions:
            show_cautions(cautions_for(*step.cautions))


def _done_words(times):
    begun, ended = times
    return "done" if ended is None else f"took {report_words.minutes_text((ended - begun).total_seconds() / 60)}"


def _keep(book, row, asked):
    st.subheader("Into the book", anchor=False)
    # where its clock ran, a step took as long as that says
    clocked = wet.minutes_of(row, "dye")
    dwell, source = (asked["dwell_min"], "as planned") if clocked is None else (clocked, "by the clock of this step")
    if dwell is not None and (before := wet.dyed_before_min(row)):
        dwell, source = dwell + before, f"{source}, with {figure_text('minutes', before)} before"
    if dwell is not None:
        st.markdown(f"Time in the dye: {figure_text('minutes', dwell)}, {source}.")
    wait = wet.wait_of(row)
    if wait is not None:
        st.markdown(f"Waited between rinse and dye: {figure_text('minutes', wait)}, by the clocks of those steps.")
    dip = {name: asked[name] for name in ("dye_g_per_l", "bath_temp_c", "ph")}
    dip |= {"dwell_min": dwell, "wait_min": wait}
    rinse = {"kind": "tap", "rinse_temp_c": asked["rinse_temp_c"], "dwell_min": wet.minutes_of(row, "cold rinse")}
    seal = None
    # a seal that was neither begun nor chosen is none
    begun = any(name.startswith("seal") for name in wet.steps_of(row))
    if asked["seal"] != _NO_SEAL and (begun or asked["seal"] != next(iter(SEALS))):
        seal = wet.seal_values(asked["seal"], wet.minutes_of(row, "seal"), asked["seal_temp_c"])
    more = {name: asked[name] for name in ("dye", "bath", "second", "order")}
    # the seal's own question stands above, at its step
    odd = [
        one for one in wet.asked_of_batch(book, row, dip, seal, asked["order"]) if one.code != "bench.nickel_confirm"
    ]
    why = " ".join(filter(None, (ask_reason("batch_why", odd), asked.get("why"))))
    stopped = asked["seal"] != _NO_SEAL and asked.get("why") == ""
    if not st.button("Keep it as a batch", key="keep_batch", type="primary", disabled=stopped):
        return
    number = wet.keep_batch(book, row["id"], dip=dip, rinse=rinse, seal=seal, why=why, **more)
    hold(book, **order_in_hand(book, asked["order"]), run=row["id"], batch=number)
    st.session_state[_KEPT] = number
    st.rerun()


def _show_kept():
    number = st.session_state.get(_KEPT)
    if number is None:
        return False
    st.success(f"Batch {number} is in the book, with its run, dip and seal.", icon=":material/check:")
    with st.container(horizontal=True):
        if st.button("Photograph it", key="photograph_kept", type="primary"):
            st.session_state.pop(_KEPT)
            go_to_photo(batch=number)
        if st.button("See the batch", key="see_batch"):
            st.session_state.pop(_KEPT)
            go_to_batch(number)
        st.button("The next run", key="next_run", on_click=st.session_state.pop, args=(_KEPT, None))
    return True

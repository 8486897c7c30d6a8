"""Rinse, dye, seal: steps with timers from the anodised run to the batch in the book."""

from datetime import UTC, datetime
from html import escape

import streamlit as st

from dyebook import report_run as words
from dyebook.jobs import wet
from dyebook.jobs.baths import baths_by_name, outside_window, strength_line
from dyebook.physics.sealing import SEALS, plan_seal, wet_steps
from dyebook.report_bench import figure_text
from dyebook.screens.bench_pieces import (
    ask,
    ask_word,
    choose,
    choose_run,
    go_on,
    offer_page,
    show_answer,
    show_cautions,
    show_clock,
)
from dyebook.screens.shelf import friendly_errors

__all__ = ["show"]

_SEAL_TIMES = "seal_min_per_um"
_NO_SEAL = "none"


def show(book):
    """Draw the step."""
    if _show_kept():
        return
    waiting = [row for row in reversed(wet.finished_runs(book)) if row["batch"] is None and row["film_um"]]
    row = choose_run(waiting, "Anodised run")
    if row is None:
        st.markdown("No anodised run is waiting for its dye. Rinse cold at once after a run, and keep it wet.")
        if st.button("To the run", key="to_run"):
            go_on("run")
        return
    left, right = st.columns([2, 3], gap="large")
    with left:
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
    given["skin_or_food"] = st.toggle("Worn on the skin, or used with food", key="bench_skin_or_food")
    kinds = [*SEALS, _NO_SEAL]
    given["seal"] = choose(
        "seal", "Seal", kinds, lambda kind: kind.replace("_", " ") if kind != _NO_SEAL else "not now"
    )
    given["min_per_um"] = _own_seal_time(book, given["seal"])
    given["seal_temp_c"] = ask("seal_temp_c", "Seal bath, °C", hint="97 or 207 °F")
    for problem in outside_window(book, given["dye"], ph=given["ph"], bath_temp_c=given["bath_temp_c"]):
        st.caption(f":material/priority_high: {problem}.")
    return given


def _strength_now(book, bath):
    points = strength_line(book, bath["id"]).points if bath else ()
    return f"{points[-1].dye_g_per_l:.3g}" if points else ""


def _own_seal_time(book, kind):
    """Minutes per µm of a seal as typed, beginning with the shop's own; kept for the shop only on asking."""
    if kind == _NO_SEAL:
        return None
    own = book.setting(_SEAL_TIMES) or {}
    usual = f"{SEALS[kind].min_per_um:g}, {SEALS[kind].source}"
    default = f"{own[kind]:g}" if kind in own else ""
    typed = ask(f"{kind}_min_per_um", "Seal, min per µm", default, usual, quantity="seal_min")
    if typed is not None and typed != own.get(kind):
        keep = {"on_click": book.set_setting, "args": (_SEAL_TIMES, {**own, kind: typed})}
        st.button("Keep this as the shop's own time", key="keep_seal_time", type="tertiary", **keep)
    return typed


def _steps(row, asked):
    if asked["seal"] == _NO_SEAL:
        return [step for step in wet_steps(row["film_um"], asked["dwell_min"]) if not step.name.startswith("seal")]
    options = {"min_per_um": asked["min_per_um"], "skin_or_food": asked["skin_or_food"]}
    return wet_steps(row["film_um"], asked["dwell_min"], asked["seal"], **options)


def _show_steps(book, row, asked):
    if asked["dwell_min"] is None:
        st.markdown("The time in the dye is needed for its timer.")
        return
    steps = _steps(row, asked)
    begun = wet.steps_of(row)
    for place, step in enumerate(steps):
        _show_step(book, row, place, step, begun.get(step.name))
    if asked["seal"] != _NO_SEAL:
        options = {"min_per_um": asked["min_per_um"], "skin_or_food": asked["skin_or_food"]}
        plan = plan_seal(row["film_um"], asked["seal"], **options)
        st.subheader("The seal", anchor=False)
        show_answer(plan, ("minutes", "temp_c", "ph"), leave=("kind",))
        offer_page(f"Seal: {asked['seal'].replace('_', ' ')}", plan, "seal")


def _show_step(book, row, place, step, times):
    planned = "" if step.minutes is None else f"{words.minutes_text(step.minutes)}, "
    head = f"<strong>{escape(step.name.capitalize())}</strong> – {escape(step.what)}"
    with st.container(key=f"step_{place}", horizontal=True, vertical_alignment="center"):
        source = f"<span class='source'>{escape(planned + step.source)}</span>"
        st.html(f"<div class='wetstep'>{head}<br>{source}</div>", width="stretch")
        begin = {"on_click": wet.mark_step, "args": (book, row["id"], step.name)}
        if times is None:
            st.button("In" if step.minutes else "Done", key=f"in_{place}", **begin)
        elif times[1] is None and step.minutes:
            end = {"on_click": wet.mark_step, "args": (book, row["id"], step.name, True)}
            st.button("Out", key=f"out_{place}", type="primary", **end)
        else:
            st.markdown(_done_words(times), width="content")
            st.button("Again", key=f"again_{place}", type="tertiary", **begin)
    if times is not None and times[1] is None and step.minutes:
        elapsed = (datetime.now(UTC) - times[0]).total_seconds() / 60
        alarm = f"{step.name.capitalize()}: time is up."
        show_clock(f"step_clock_{row['id']}_{place}", step.minutes, elapsed, step.name, alarm)
        if step.cautions:
            from dyebook.physics.cautions import cautions_for

            show_cautions(cautions_for(*step.cautions)[:-1])


def _done_words(times):
    return "done" if times[1] is None else f"took {words.minutes_text(_minutes(times))}"


def _minutes(times):
    return (times[1] - times[0]).total_seconds() / 60


def _took(row, asked, name):
    """Minutes a step truly took where its clock ran, else as planned."""
    times = wet.steps_of(row).get(name)
    return _minutes(times) if times and times[1] else asked


def _keep(book, row, asked):
    st.subheader("Into the book", anchor=False)
    dwell = _took(row, asked["dwell_min"], "dye")
    if dwell is not None:
        st.markdown(f"Time in the dye: {figure_text('minutes', dwell)}, {_dwell_source(row)}.")
    if not st.button("Keep it as a batch", key="keep_batch", type="primary"):
        return
    dip = {name: asked[name] for name in ("dye_g_per_l", "bath_temp_c", "ph")} | {"dwell_min": dwell}
    rinse = {"kind": "tap", "rinse_temp_c": asked["rinse_temp_c"], "dwell_min": _took(row, None, "cold rinse")}
    number = wet.keep_batch(
        book, row["id"], dye=asked["dye"], bath=asked["bath"], dip=dip, rinse=rinse, seal=_seal_values(row, asked)
    )
    st.session_state["bench_kept"] = number
    st.rerun()


def _dwell_source(row):
    times = wet.steps_of(row).get("dye")
    return "by the clock of this step" if times and times[1] else "as planned"


def _seal_values(row, asked):
    if asked["seal"] == _NO_SEAL:
        return None
    took = _took(row, None, f"seal: {asked['seal'].replace('_', ' ')}")
    return {"kind": wet.SEAL_KINDS[asked["seal"]], "dwell_min": took, "seal_temp_c": asked["seal_temp_c"]}


def _show_kept():
    number = st.session_state.get("bench_kept")
    if number is None:
        return False
    st.success(f"Batch {number} is in the book, with its run, dip and seal.", icon=":material/check:")
    with st.container(horizontal=True):
        if st.button("Photograph it", key="photograph_kept", type="primary"):
            st.session_state.pop("bench_kept")
            st.session_state["add_to"] = number
            st.switch_page(st.session_state["pages"]["photo"])
        if st.button("See the batch", key="see_batch"):
            st.session_state.pop("bench_kept")
            st.session_state["batch"] = number
            st.switch_page(st.session_state["pages"]["book"])
        st.button("The next run", key="next_run", on_click=st.session_state.pop, args=("bench_kept", None))
    return True

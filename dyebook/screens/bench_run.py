"""Run: started with one tap, reckoned from the book alone, so that reload, sleep and restart change nothing."""

import streamlit as st

from dyebook import report_run as words
from dyebook.jobs import run as bench
from dyebook.jobs.run_break import pause_run, resume_run
from dyebook.physics.cautions import cautions_for
from dyebook.report_bench import figure_text
from dyebook.report_screen import pairs_html
from dyebook.screens.bench_pieces import ask, choose_run, go_on, put, show_cautions, show_clock, show_figures
from dyebook.screens.shelf import friendly_errors

__all__ = ["show"]

_CAUTIONS = cautions_for("supply_off", "hydrogen", "protection", "mains")
_REFRESH_S = 5


def show(book):
    """Draw the step."""
    # what is on comes before what is planned
    row = choose_run(sorted(bench.open_runs(book), key=lambda one: (one["started_at"] is not None, one["id"])))
    if row is None:
        st.markdown("No run is planned or on.")
        if st.button("Plan a run", key="to_plan", type="primary"):
            go_on("plan")
        return
    left, right = st.columns([3, 2], gap="large")
    if row["started_at"] is None:
        with left:
            _before(book, row)
    else:
        with left:
            _standing(book, row["id"])
            _note(book, row)
        with right:
            _notes(book, row)
    with right:
        show_cautions(_CAUTIONS)


def _before(book, row):
    st.subheader(f"Run {row['id']} is planned", anchor=False)
    plan = dict(words.plan_words(row))
    heads = ("film wanted", "time planned", "set the supply to")
    show_figures([(label, plan[label]) for label in heads])
    st.html(pairs_html([(label, text) for label, text in plan.items() if label not in heads], "settings"))
    missing = _unticked(book, row)
    if missing:
        st.markdown(f"Not ticked yet: {', '.join(missing)}.")
    with st.container(horizontal=True):
        if st.button("Start the run", key="start_run", type="primary", icon=":material/play_arrow:"):
            bench.start_run(book, row["id"])
            st.rerun()
        if st.button("Preparation", key="to_prepare"):
            go_on("prepare", run=row["id"])
        st.button("Drop this plan", key="drop_run", type="tertiary", on_click=bench.drop_run, args=(book, row["id"]))


def _unticked(book, row):
    done = {tick["kind"] for tick in book.rows("preparations", run_id=row["id"])}
    needed = {"clean": "clean", "water_break_test": "water-break test", "contacts": "contacts"}
    return [name for kind, name in needed.items() if kind not in done]


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
        ends = f"until {words.clock_text(stand.ends_at)}" if not stand.done else "over the time"
        ends = "paused: no current" if stand.paused else ends
        show_clock(f"clock_{number}", total, stand.elapsed_min, ends, alarm, running=not stand.paused)
        show_figures(words.now_words(stand))
        wanted = figure_text("film_um", row["trace"]["plan"]["film_um"])
        st.caption(f"Wanted: {wanted}. Basis: {stand.basis}. ± is one standard uncertainty.")
        for note in stand.notes:
            st.caption(f":material/priority_high: {note.capitalize()}.")


def _note(book, row):
    last = row["trace"]["notes"][-1]["current_a"]
    with st.container(horizontal=True, vertical_alignment="bottom"):
        if last > 0:
            same = f"Still {figure_text('current_a', last)}"
            st.button(same, key="note_same", on_click=_write_note, args=(book, row["id"], last))
            st.button("Pause", key="pause_run", on_click=pause_run, args=(book, row["id"]))
        else:
            st.button("Current is back", key="resume_run", on_click=resume_run, args=(book, row["id"]))
        if st.button("End the run", key="finish_run", type="primary", icon=":material/stop:"):
            bench.finish_run(book, row["id"])
            go_on("wet", run=row["id"])
    with st.expander("Note another reading", expanded=False):
        current = ask("noted_current_a", "Current now, A", hint="2.9 or 0")
        volts = ask("noted_voltage_v", "Voltage, V")
        temp = ask("noted_electrolyte_temp_c", "Electrolyte, °C", hint="21 or 70 °F")
        values = {"voltage_v": volts, "electrolyte_temp_c": temp}
        ready = current is not None
        arguments = {"args": (book, row["id"], current), "kwargs": values}
        st.button("Note it", key="note_reading", disabled=not ready, on_click=_write_note, **arguments)


def _write_note(book, number, current, **seen):
    bench.note_current(book, number, current, **seen)
    put(noted_current_a="", noted_voltage_v="", noted_electrolyte_temp_c="")


def _notes(book, row):
    st.markdown("**Noted**")
    noted = [note for note in row["trace"]["notes"] if not note.get("held")]
    for note in reversed(noted[-6:]):
        st.markdown(words.note_text(note))
    st.caption("Between two notes the current runs in a straight line; switching off or on, a note of 0 A, is a step.")
    st.button(
        "It was a mistake: drop this run",
        key="drop_run",
        type="tertiary",
        on_click=bench.drop_run,
        args=(book, row["id"]),
    )

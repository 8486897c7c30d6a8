"""Preparation: the steps to tick before a run, kept with it as they are done."""

from html import escape

import streamlit as st

from dyebook import report_run as words
from dyebook.jobs import run as bench
from dyebook.physics.cautions import cautions_for
from dyebook.physics.sealing import PREPARATION
from dyebook.report_screen import moment_text, pairs_html
from dyebook.screens.bench_pieces import choose_run, go_on, offer_steps, show_cautions

__all__ = ["show"]

# kind of each step in the book, by its name; the finish is kept with the run itself
_KINDS = {
    "clean": "clean",
    "etch": "etch",
    "desmut": "desmut",
    "finish": None,
    "water-break test": "water_break_test",
    "contacts": "contacts",
}
_FINISHES = ("polished", "brushed", "blasted", "etched", "as machined")


def show(book):
    """Draw the step."""
    row = choose_run([row for row in bench.open_runs(book) if row["started_at"] is None], "Planned run")
    if row is None:
        st.markdown("No run is planned. Plan one first; its preparation is then kept with it.")
        if st.button("Plan a run", key="to_plan"):
            go_on("plan")
        return
    left, right = st.columns([3, 2], gap="large")
    with left:
        st.subheader(f"Before run {row['id']}", anchor=False)
        done = book.rows("preparations", run_id=row["id"])
        for step in PREPARATION:
            if _KINDS[step.name] is None:
                _show_finish(book, row, step)
            else:
                _show_step(book, row, step, done)
        if st.button("Ready: to the run", key="to_run", type="primary", icon=":material/arrow_forward:"):
            go_on("run", run=row["id"])
    with right:
        st.html(pairs_html(words.plan_words(row), "settings"))
        show_cautions(cautions_for(*_cautions()))
        title = f"Before run {row['id']}"
        offer_steps(title, PREPARATION, cautions_for(*_cautions()), "prepare", words.plan_words(row))
        st.button("Drop this plan", key="drop_plan", type="tertiary", on_click=bench.drop_run, args=(book, row["id"]))


def _cautions():
    names = [name for step in PREPARATION for name in step.cautions]
    return ["supply_off", "protection", *dict.fromkeys(names), "waste"]


def _show_finish(book, row, step):
    """The finish is a word of the run, planned or put right here."""
    _step_words(step, f"– {row['finish']}" if row["finish"] else "")
    with st.container(key="prep_finish", horizontal=True):
        for finish in _FINISHES:
            kind = "primary" if row["finish"] == finish else "secondary"
            change = {"args": ("runs", row["id"], {"finish": finish})}
            st.button(finish, key=f"finish_{finish.replace(' ', '_')}", type=kind, on_click=book.correct, **change)


def _step_words(step, state):
    head = f"<strong>{escape(step.name.capitalize())}</strong> {escape(state)}"
    source = f"<span class='source'>{escape(step.source)}</span>"
    st.html(f"<div class='wetstep'>{head}<br>{escape(step.what)} {source}</div>", width="stretch")


def _show_step(book, row, step, done):
    kind = _KINDS[step.name]
    ticks = [tick for tick in done if tick["kind"] == kind]
    with st.container(key=f"prep_{kind}", horizontal=True, vertical_alignment="center"):
        _step_words(step, _state(ticks))
        if ticks:
            undo = {"on_click": bench.untick_step, "args": (book, row["id"], kind)}
            st.button("Undo", key=f"undo_{kind}", type="tertiary", **undo)
        elif kind == "water_break_test":
            _tick(book, row, kind, "Holds", passed=True)
            _tick(book, row, kind, "Breaks", passed=False)
        else:
            _tick(book, row, kind, "Done")


def _tick(book, row, kind, label, **told):
    arguments = {"args": (book, row["id"], kind), "kwargs": told}
    st.button(label, key=f"tick_{kind}_{label.lower()}", on_click=bench.tick_step, **arguments)


def _state(ticks):
    if not ticks:
        return ""
    failed = ticks[-1]["passed"] is False
    result = "– the sheet broke: clean again" if failed else "– done"
    return f"{result}, {moment_text(ticks[-1]['added_at'])}"

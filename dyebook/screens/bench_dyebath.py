"""Dye bath: the strength of each over time, and for one of them making up, topping up, level and rules."""

from importlib import import_module

import streamlit as st

from dyebook import report_bath as words
from dyebook.jobs import baths
from dyebook.jobs.bath_state import bath_state
from dyebook.jobs.dye_rules import outside_window
from dyebook.plots_run import plot_strength
from dyebook.screens.bench_learned import learning
from dyebook.screens.bench_pieces import ask, ask_text, ask_word, choose, go_on, offer_page, put, show_answer
from dyebook.screens.shelf import friendly_errors

__all__ = ["show"]

_WAYS = {"line": "Strength", "make": "Make up", "top": "Top up", "level": "Level", "rules": "Your rules"}
_KINDS = {"measured": "measured", "ph_moved": "pH moved", "filtered": "filtered", "thrown_out": "taken out of use"}
_PLAIN = {"displayModeBar": False}
_HEADS = ("strength_g_per_l", "uptake_mg_per_dm2", "dm2_per_l", "days")
_LEAVE = ("bath", "points", "worn_out", "bath_volume_l")


def show(book):
    """Draw the step."""
    known = baths.baths_by_name(book)
    name = ask_word("bath", "Dye bath", list(known), hint="choose, or write: dye, bath") or ""
    way = choose("dyebath_way", "What", list(_WAYS), _WAYS.get, hidden=True)
    row = known.get(name)
    if way == "line" and row is None:
        _show_all(book, known)
        return
    if way == "rules" and row is None:
        st.markdown("Choose a bath of the book; a new one is made up first.")
        return
    left, right = st.columns([2, 3], gap="large")
    if way == "line":
        _show_one(book, name, row, left, right)
    else:
        getattr(import_module("dyebook.screens.bench_dyebath_sums"), f"show_{way}")(book, name, row, left, right)


def _show_all(book, known):
    """Each bath in use with its line."""
    if not known:
        st.markdown("No dye bath is in the book yet. Write one as dye, bath, and make it up.")
        return
    for place, (name, row) in enumerate(known.items()):
        if place % 2 == 0:
            columns = st.columns(2, gap="large")
        with columns[place % 2], friendly_errors(), st.container(key=f"bath_{row['id']}", border=True):
            state, line = bath_state(book, name, row, learning(book))
            st.subheader(name, anchor=False)
            st.markdown(words.bath_words(state.to_dict()))
            for note in state.notes:
                st.caption(f":material/priority_high: {note}.")
            if line.points:
                chart = plot_strength(line.points, height=190, legend=False)
                st.plotly_chart(chart, config=_PLAIN, key=f"line_{row['id']}")
            st.button("Look at it", key=f"look_{row['id']}", on_click=_look_at, args=(name,))


def _look_at(name):
    put(bath=name)


def _show_one(book, name, row, left, right):
    with right, friendly_errors():
        state, line = bath_state(book, name, row, learning(book))
        if line.points:
            st.markdown(f"**{words.strength_words(line.now)}**")
            st.plotly_chart(plot_strength(line.points), config=_PLAIN)
        else:
            st.markdown("Nobody has noted its strength yet; make it up, or note a measured one.")
        show_answer(state, _HEADS, leave=_LEAVE)
        st.caption(_LINE_BASIS)
        offer_page(f"Dye bath {name}", state, "bath", leave=_LEAVE)
        _show_events(book, row)
    with left:
        _note(book, row)


_LINE_BASIS = (
    "Between notes the line is reckoned: what the films took, what drops carried out, what the bath loses on its own "
    "where your checks show it, and water lost to the air where a level was noted or your rules say so. Shaded: one "
    "standard uncertainty."
)


def _show_events(book, row):
    events = sorted(book.rows("bath_events", bath_id=row["id"]), key=lambda one: one["at"])
    if events:
        st.markdown("**What happened to it**")
        for event in reversed(events[-8:]):
            st.markdown(words.bath_event_text(event))


def _note(book, row):
    st.subheader("Note what happened", anchor=False)
    kind = choose("dyebath_event", "What", list(_KINDS), _KINDS.get)
    told = {
        "dye_g_per_l": ask("event_dye_g_per_l", "Strength, g/L"),
        "ph": ask("event_ph", "pH", quantity="ph_a"),
        "bath_temp_c": ask("event_bath_temp_c", "Bath, °C"),
        "bath_volume_l": ask("event_bath_volume_l", "Volume, L", explain="Tells the level too."),
        "note": ask_text("event_note", "Note") or None,
    }
    for problem in outside_window(book, row["dye"], ph=told["ph"], bath_temp_c=told["bath_temp_c"]):
        st.caption(f":material/priority_high: {problem}.")
    if st.button("Note it", key="note_dyebath", type="primary"):
        baths.note_bath(book, row["id"], kind, **told)
        go_on("dyebath", **{f"event_{name}": "" for name in told})

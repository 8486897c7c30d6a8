"""Baths: each tank of dye with its window, strength, age and life, what is done with it; and the electrolyte."""

from datetime import date
from pathlib import Path

import streamlit as st

from dyebook.errors import BookError, RecordError
from dyebook.jobs import baths
from dyebook.physics.bathcare import make_up_bath
from dyebook.report.baths import care_pairs, event_pair, rule_pairs
from dyebook.report.words import figure_text, plain
from dyebook.screens import paper, session
from dyebook.screens.answers import deed, name_page, show_pairs
from dyebook.screens.bench.acid import show_acid
from dyebook.screens.bench.dyebath import WAYS, ask_second_dye, show_care
from dyebook.screens.drafts import forget, keep, recall
from dyebook.screens.fields import ask, ask_text, check_fields, choose, key_of, warn
from dyebook.screens.navigation import asked_for, go_to_batch, go_to_bath, show_bath
from dyebook.screens.shade.baths import baths_now
from dyebook.screens.swatch import show_slip, wall

__all__ = ["show"]

_DIPS = 24
_STYLE = Path(__file__).parent / "web" / "bench.css"


def show():
    """Draw the page."""
    st.html(_STYLE)
    book = session.the_book()
    number = asked_for("bath")
    if number is None and choose("tanks", "Tanks", ["Dye", "Electrolyte"], hidden=True) == "Electrolyte":
        show_acid(book)
        return
    cares = {care.bath_id: care for care in baths_now(book)[1]}
    if number in cares:
        _show_one(book, cares[number])
        return
    name_page("Baths")
    if number is not None:
        st.warning(f"Bath {number} is not on the bench: it was taken out of use, or is not in this book.")
    left, right = st.columns([3, 2], gap="large")
    with left:
        if not cares:
            st.markdown("No bath is on the bench. Enter one, and dips, strength and age gather around it.")
        for care in cares.values():
            with st.container(key=f"slip_bath_{care.bath_id}"):
                show_slip(care.lab, f"{care.dye}, bath {care.name}", pairs=care_pairs(care), empty="no dip read")
                name = plain(f"Open {care.dye}, bath {care.name}")
                st.button(name, key=f"open_bath_{care.bath_id}", on_click=show_bath, args=(care.bath_id,))
    with right, session.friendly_errors():
        _enter(book)


def _enter(book):
    st.subheader("Enter a bath", anchor=False)
    dye = ask_text("enter_dye", "Dye", "as it says on the tin")
    name = ask_text("enter_bath", "Bath", "the letters on its tank")
    left, right = st.container(key="settings").columns(2)
    with left:
        volume = ask("enter_bath_volume_l", "Volume, L", hint="2 or 0.5 gal")
        ph = ask("enter_ph", "pH", quantity="ph_a", hint="5.5")
    with right:
        strength = ask("enter_dye_g_per_l", "Strength, g/L", hint="3 or 0.4 oz/gal")
        temp = ask("enter_bath_temp_c", "Kept at, °C", hint="50 or 122 °F")
    second, second_g_per_l = ask_second_dye(book)
    if strength and volume:
        try:
            made = make_up_bath(strength, volume, second_g_per_l=second_g_per_l)
            grams = [figure_text("dye_g", one) for one in (made.dye_g, made.second_dye_g) if one]
            st.markdown(f"To make it up: **{' and '.join(grams)}** of dye.")
        except RecordError as problem:
            warn(problem)
    recall("enter_made_up_on")
    day = st.date_input("Made up on", key="enter_made_up_on", value=None, min_value=date(1990, 1, 1), max_value="today")
    keep("enter_made_up_on")
    with deed():
        look = {"type": "primary", "width": "stretch", "disabled": not (dye and name)}
        if not st.button("Enter this bath", key="enter_bath_go", **look):
            return
    check_fields()
    if (full := f"{dye}, {name}") in (known := baths.baths_by_name(book)):
        raise BookError(f"{full} was entered by {known[full]['added_by']} already; open it and note what you found")
    kind, at = "made_up" if day else "measured", day.isoformat() if day else None
    for one, grams in ((second, second_g_per_l), (dye, strength)):
        if one and (grams or one == dye):
            number = baths.find_bath(book, one, name, volume)
            found = {"dye_g_per_l": grams, "bath_volume_l": volume, "ph": ph, "bath_temp_c": temp}
            baths.note_bath(book, number, kind, at, **found)
    fields = ("dye", "bath", "bath_volume_l", "ph", "dye_g_per_l", "bath_temp_c")
    forget("enter_made_up_on", *(key_of(f"enter_{field}") for field in fields))
    go_to_bath(number)


def _show_one(book, care):
    st.button("All baths", key="all_baths", icon=":material/arrow_back:", on_click=show_bath, args=(None,))
    st.title(plain(f"{care.dye}, bath {care.name}"), anchor=False)
    way = choose("dyebath_way", "What", list(WAYS), WAYS.get, hidden=True)
    left, right = st.columns([3, 2], gap="large")
    row = next(one for one in baths.all_baths(book) if one["id"] == care.bath_id)
    show_care(book, row, way, left, right)
    if way != "line":
        return
    with left:
        _show_dips(book, care)
    with right:
        show_pairs([pair for pair in care_pairs(care) if pair[0] in ("kept at", "top-up")])
        paper.offer_bath_log(book, care.bath_id, care.name)
        _show_rules(book, care)
        _show_events(book, care.bath_id)


def _show_dips(book, care):
    st.subheader("Its latest dips", anchor=False)
    rows = book.batches(_DIPS, dye=care.dye, bath=care.name)
    if not rows:
        st.markdown("None yet.")
        return
    go_to_batch(wall(rows, key="bath_dips", ribbon=True))


def _show_rules(book, care):
    pairs = [pair for pair in rule_pairs(baths.dye_rules(book, care.dye)) if pair[0] != "kept at"]
    if pairs:
        st.subheader(plain(f"Your rules for {care.dye}"), anchor=False)
        show_pairs(pairs)


def _show_events(book, bath_id):
    """Draw what happened to a bath, the latest first."""
    st.subheader("What happened to it", anchor=False)
    events = baths.events_of_bath(book, bath_id)
    if not events:
        st.markdown("Nothing is noted.")
    show_pairs([event_pair(event) for event in reversed(events[-12:])])

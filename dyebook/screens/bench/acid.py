"""Electrolyte: made up by mass, checked by hydrometer, its life counted in ampere-hours."""

import streamlit as st

from dyebook.jobs import baths
from dyebook.physics.electrolyte import check_bath, mix_acid, titrate_bath
from dyebook.record import ELECTROLYTE_EVENTS
from dyebook.report.words import figure_text, moment_text
from dyebook.screens.answers import deed, offer_page, show_answer
from dyebook.screens.fields import ask, ask_text, ask_word, check_fields, choose
from dyebook.screens.navigation import go_on
from dyebook.screens.session import as_told, friendly_errors

__all__ = ["show_acid"]

_WAYS = {"mix": "Make up", "check": "Check", "life": "Life"}
# what can be noted beside making up
_EVENTS = ("topped_up", "titrated", "diluted", "thrown_out")


def show_acid(book):
    """Draw the making up, checks and life of an electrolyte."""
    way = choose("acid_way", "What", list(_WAYS), _WAYS.get, hidden=True)
    left, right = st.columns([2, 3], gap="large")
    {"mix": _mix, "check": _check, "life": _life}[way](book, left, right)


def _tank(book):
    names = [row["name"] for row in book.rows("electrolytes")]
    return ask_word("electrolyte", "Electrolyte in the book", names, hint="choose, or write a name")


def _mix(book, left, right):
    with left:
        kind = choose("acid_known", "The sulphuric acid at hand is known by", ["wt", "sg"], _ACID_KNOWN.get)
        if kind == "wt":
            strength = {
                "wt_percent": ask("acid_wt_percent", "Sulphuric acid at hand, wt %", "96", "96", quantity="acid_a")
            }
        else:
            sg = ask("acid_sg", "Specific gravity, 20/20", "1.28", "battery acid: 1.28", quantity="acid_a")
            strength = {"sg": sg, "sg_temp_c": ask("acid_sg_temp_c", "Read at, °C", "20", "20 or 68 °F")}
        wanted = ask("acid_g_per_l", "Wanted, g/L", "165", "165 or 22 oz/gal", "Films for dyeing: 150 to 200 g/L.")
        volume = ask("acid_volume_l", "Bath, L", "2", "2 or 0.5 gal")
    with right, friendly_errors():
        if None in (wanted, volume, *strength.values()):
            st.markdown("Acid, strength and volume are needed.")
            return
        mix = mix_acid(wanted, volume, **strength)
        st.subheader("Sulphuric acid slowly into water, never water into acid", anchor=False)
        show_answer(mix, ("water_ml", "acid_ml", "rise_c", "portions"))
        offer_page("Electrolyte: sulphuric acid slowly into water", mix, "acid")
        name, lot = _tank(book), ask_text("acid_lot", "Lot number of the acid")
        check = _as_told(book, next(iter(book.rows("electrolytes", name=name)), None) if name else None)
        with deed():
            made_up = st.button("Made up: into the book", key="keep_acid", type="primary", disabled=not name)
        if made_up:
            check_fields()
            check()
            tank = baths.electrolyte_named(book, name, mix.volume_l)
            made = {"electrolyte_g_per_l": mix.g_per_l, "bath_volume_l": mix.volume_l, "dissolved_al_g_per_l": 0.0}
            baths.note_electrolyte(book, tank, "made_up", **made)
            if lot:
                baths.open_lot(book, "sulphuric acid", lot)
            go_on(acid_way="life")


_ACID_KNOWN = {"wt": "wt % on its label", "sg": "hydrometer"}


# what a check asks: labels and hints by the arguments of the sums
_HYDROMETER = {
    "sg": ("Hydrometer reads, 20/20", "1.105"),
    "sg_temp_c": ("Bath, °C", "20"),
    "aluminium_g_per_l": ("Dissolved aluminium, g/L", "if titrated"),
}
_BURETTE = {
    "sample_ml": ("Bath in the flask, mL", "5"),
    "free_ml": ("Soda with fluoride: free acid, mL", "16.8"),
    "total_ml": ("Soda without: acid and aluminium, mL", "20.1"),
    "naoh_mol_per_l": ("Soda, mol/L", "1"),
}


def _ask_check(name, label, hint):
    """A figure of a check; those of our other quantities may come in other units."""
    return ask(f"bath_{name}", label, "", hint, quantity=None if name.endswith(("_c", "_g_per_l")) else f"{name}_a")


def _check(book, left, right):
    with left:
        by = choose("check_by", "By", ["hydrometer", "burette"], str.capitalize)
        asked = _HYDROMETER if by == "hydrometer" else _BURETTE
        found = {name: _ask_check(name, label, hint) for name, (label, hint) in asked.items()}
    with right, friendly_errors():
        if by == "burette" and None not in (found["sample_ml"], found["free_ml"]):
            titrated = titrate_bath(**{name: value for name, value in found.items() if value is not None})
            show_answer(titrated, ("g_per_l", "aluminium_g_per_l"))
            offer_page("Electrolyte by titration", titrated, "acid_titrated")
            tank = _tank(book)
            if st.button("Into the book", key="keep_titration", type="primary", disabled=not tank):
                check_fields()
                values = {"electrolyte_g_per_l": titrated.g_per_l, "dissolved_al_g_per_l": titrated.aluminium_g_per_l}
                baths.note_electrolyte(book, baths.electrolyte_named(book, tank), "titrated", **values)
                go_on(acid_way="life")
            return
        if by == "burette" or found["sg"] is None:
            st.markdown("A hydrometer reading shows how strong a fresh bath is. Dissolved aluminium reads as acid.")
            return
        known = {name: value for name, value in found.items() if value is not None}
        found = check_bath(**known)
        show_answer(found, ("g_per_l", "wt_percent"))
        offer_page("Electrolyte by hydrometer", found, "acid_check")


def _life(book, left, right):
    with left:
        name = _tank(book)
        row = next(iter(book.rows("electrolytes", name=name)), None) if name else None
        own = ask("discard_ah_per_l", "Your own discard point, A·h/L", hint="by aluminium", quantity="discard_ah")
        if row is not None:
            _note(book, row)
    with right, friendly_errors():
        if row is None:
            st.markdown("Choose an electrolyte. Its runs are counted from the day it was made up.")
            return
        life = baths.life_of_electrolyte(book, row["id"], own)
        if life is None:
            st.markdown("Its volume is not known; make it up, or note an event with its volume.")
            return
        st.markdown("**Worn out: past its discard point.**" if life.worn_out else "**Within its life.**")
        show_answer(life, ("ah_per_l", "left_ah", "aluminium_g_per_l"))
        for event in reversed(book.electrolyte_life(row["id"])["events"][-8:]):
            st.markdown(_event_words(event))
        offer_page(f"Life of the electrolyte {name}", life, "acid_life")


def _as_told(book, row):
    """A check for the tap: what others noted of an electrolyte since the form was drawn."""
    events = book.rows("electrolyte_events", electrolyte_id=row["id"]) if row else ()
    return as_told(f"electrolyte {row and row['id']}", events, _event_words)


def _note(book, row):
    check = _as_told(book, row)
    with st.expander("Note what happened to it"):
        kind = choose("acid_event", "What", _EVENTS, ELECTROLYTE_EVENTS.get)
        found = {
            "electrolyte_g_per_l": ask("event_electrolyte_g_per_l", "Now, g/L", hint="165"),
            "dissolved_al_g_per_l": ask("event_al_g_per_l", "Dissolved aluminium, g/L", hint="by titration"),
            "bath_volume_l": ask("event_volume_l", "Volume, L"),
        }
        if st.button("Note it", key="note_acid"):
            check_fields()
            check()
            baths.note_electrolyte(book, row["id"], kind, **found)
            go_on(event_electrolyte_g_per_l="", event_al_g_per_l="", event_volume_l="")


def _event_words(event):
    names = ("electrolyte_g_per_l", "dissolved_al_g_per_l", "bath_volume_l")
    figures = [figure_text(name, event[name]) for name in names if event[name]]
    return ", ".join([f"{moment_text(event['at'])}: {ELECTROLYTE_EVENTS[event['kind']]}", *figures])

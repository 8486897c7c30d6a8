"""The settings of a dip as widgets, straight from the table of fields; other units are converted."""

import math
from datetime import datetime

import streamlit as st

from dyebook.errors import RecordError
from dyebook.record import FIELDS, check_value
from dyebook.report import words as report_words
from dyebook.screens.drafts import draft
from dyebook.units import parse_quantity

__all__ = ["SETTINGS_KEYS", "fill_from", "fill_with", "show_settings", "typed_settings", "typed_value"]

_FIRST = ("film_um", "dye_g_per_l", "bath_temp_c", "dwell_min", "ph")
_MORE = (
    "film_measured_um",
    "film_sd_um",
    "area_dm2",
    "current_density_a_per_dm2",
    "electrolyte_temp_c",
    "alloy",
    "finish",
    "rinse_temp_c",
    "wait_min",
)
_FILLING = "fields being filled"
SETTINGS_KEYS = ("dye", "bath", *_FIRST, *_MORE, "dyed_at", "note")


def show_settings(book):
    """Draw the settings of one dip; `typed_settings` returns what they hold."""
    # a run may be cut short by the next key before all fields are drawn: then they are filled again
    for name, value in draft().get(_FILLING, {}).items():
        st.session_state[name] = value
    with st.container(key="settings"):
        _draw_settings(book)
    draft().pop(_FILLING, None)


def _draw_settings(book):
    latest = book.batches(300)
    dyes = list(dict.fromkeys(row.dye for row in latest if row.dye))
    left, right = st.columns(2)
    with left:
        dye = _word_of("dye", dyes)
    with right:
        _word_of("bath", list(dict.fromkeys(row.bath for row in latest if row.bath and row.dye == dye)))
    last = next((row for row in latest if row.dye == dye), None)
    if last is not None:
        st.button(f"Set as in batch {last.batch}", key="as_last", on_click=fill_from, args=(last,), type="tertiary")
    for first, second in zip(_FIRST[::2], (*_FIRST[1::2], "dyed_at"), strict=True):
        left, right = st.columns(2)
        with left:
            _field(first)
        with right:
            _field(second)
    with st.expander("More about the run and the part"):
        for name in _MORE:
            _field(name)
    st.text_area("Note", key="note", placeholder="Anything worth remembering", height=80)


def fill_from(row, with_dye=False):
    """Fill the widgets with the settings of a batch, for a callback; its dye too where it is to be repeated."""
    names = (*_FIRST, "film_sd_um", "alloy", "finish")
    texts = {"bath": row.bath, **{name: report_words.value_text(name, getattr(row, name)) for name in names}}
    fill_with({"dye": row.dye, **texts} if with_dye else texts)


def fill_with(texts):
    """Fill the widgets with texts by field, when they are next drawn."""
    draft()[_FILLING] = texts


def _word_of(name, known):
    current = st.session_state.get(name)
    options = known if current in (None, *known) else [*known, current]
    return st.selectbox(
        FIELDS[name].label.capitalize(),
        options,
        index=None,
        key=name,
        accept_new_options=True,
        placeholder="choose or write",
        help=FIELDS[name].meaning,
    )


def _field(name):
    row = FIELDS[name]
    unit = f", {row.unit}" if row.unit else ""
    hints = {"dwell_min": "5 or 5:30", "film_um": "12 or 0.5 mil", "bath_temp_c": "40 or 104 °F", "dyed_at": "now"}
    label = row.label[:1].upper() + row.label[1:]
    st.text_input(label + unit, key=name, placeholder=hints.get(name, ""), help=row.meaning)
    problem = typed_value(name)[1]
    if problem:
        st.caption(f":material/priority_high: {problem}")


def typed_value(name):
    """Return what a widget holds in the field's own unit, and what is wrong with it (empty when nothing)."""
    text = st.session_state.get(name)
    text = text.strip() if isinstance(text, str) else text
    try:
        if not text or FIELDS[name].kind is not float:
            return check_value(name, text), ""
        number = text.replace(",", ".") if name == "ph" else parse_quantity(name, text)
        return check_value(name, number), ""
    except RecordError as error:
        return math.nan, f"{FIELDS[name].label}: {error}."


def typed_settings():
    """Return the settings typed, by name, and what stands in the way of saving them."""
    read = {name: typed_value(name) for name in SETTINGS_KEYS}
    problems = [problem for _, problem in read.values() if problem]
    empty = [FIELDS[name].label for name in SETTINGS_KEYS if FIELDS[name].required and not _given(name)]
    if empty:
        problems.insert(0, f"Still needed: {', '.join(empty)}.")
    settings = {name: value for name, (value, _) in read.items()}
    settings["dyed_at"] = settings["dyed_at"] or datetime.now().isoformat(timespec="minutes")
    return settings, problems


def _given(name):
    return bool(str(st.session_state.get(name) or "").strip())

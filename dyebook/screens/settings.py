"""The settings of a dip as widgets, straight from the table of fields; other units are converted."""

import math

import streamlit as st

from dyebook.errors import RecordError
from dyebook.record import FIELDS, SETTINGS, is_empty, parse_value
from dyebook.report import words as report_words
from dyebook.report.words import capital
from dyebook.screens.drafts import draft
from dyebook.screens.fields import RefusedError, check_fields, in_words_of, mark_wrong
from dyebook.units import parse_moment, shop_now

__all__ = ["check_settings", "fill_with", "show_settings", "texts_of", "typed_settings"]

_FIRST = ("film_um", "dye_g_per_l", "bath_temp_c", "dwell_min", "ph")
_MORE = tuple(name for name in SETTINGS if name not in ("dye", "bath", *_FIRST, "dyed_at", "note"))
_FILLING = "fields being filled"


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
        st.button(
            f"Set as in batch {last.batch}", key="as_last", on_click=fill_with, args=(texts_of(last),), type="tertiary"
        )
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


def texts_of(row):
    """Return the settings of a batch as texts by field, for these widgets and for a plan of the bench."""
    names = (*_FIRST, "film_sd_um", "alloy", "finish")
    texts = {name: report_words.value_text(name, getattr(row, name)) for name in names}
    return {"dye": row.dye, "bath": row.bath, **texts, "dwell_min": _minutes(row.dwell_min)}


def _minutes(dwell):
    """A time in the dye as it is typed: "6 min", "5:12"; empty where none was noted."""
    if is_empty(dwell):
        return ""
    text = report_words.dwell_text(dwell)
    return text.replace(":00", "") if ":00" in text else text.removesuffix(" min")


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
    example = "now" if name == "dyed_at" else report_words.hint_text(row.example)
    st.text_input(row.heading, key=name, placeholder=example, help=row.meaning)
    problem = _typed_value(name)[1]
    if problem:
        head = capital(row.label)
        mark_wrong(name, head, in_words_of(head, problem))


def _typed_value(name):
    """What a widget holds in the field's own unit, nan where that makes no sense, and the error that says so."""
    try:
        value = parse_value(name, st.session_state.get(name))
        return (parse_moment(FIELDS[name].label, value) if name == "dyed_at" and value else value), None
    except RecordError as error:
        return None if FIELDS[name].kind is str else math.nan, error


def check_settings():
    """Raise RefusedError where something stands in the way of saving what is typed."""
    empty = [FIELDS[name].label for name in SETTINGS if FIELDS[name].required and not _given(name)]
    if empty:
        raise RefusedError(f"not saved yet; still needed: {', '.join(empty)}")
    check_fields()


def typed_settings() -> dict:
    """Return the settings typed, by name; see `check_settings`."""
    settings = {name: _typed_value(name)[0] for name in SETTINGS}
    settings["dyed_at"] = settings["dyed_at"] or shop_now().isoformat(timespec="minutes")
    return settings


def _given(name):
    return bool(str(st.session_state.get(name) or "").strip())

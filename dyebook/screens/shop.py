"""Settings: what the shop sets once for its book, a field each, straight from the table `SHOP_SETTINGS`."""

import streamlit as st

from dyebook.errors import RecordError
from dyebook.record import SHOP_SETTINGS, check_setting
from dyebook.report.words import setting_text
from dyebook.screens.answers import name_page
from dyebook.screens.fields import follow, keeping, warn
from dyebook.screens.session import friendly_errors, the_book

__all__ = ["show"]


def show():
    """Draw the page."""
    book = the_book()
    name_page("Settings")
    st.markdown("They hold for this book, on every phone and desk that opens it.")
    with st.form("shop_settings", border=False):
        for name, row in SHOP_SETTINGS.items():
            key = follow(f"setting_{name}", row.label, _text_of(row, book.setting(name)))
            if row.choices:
                st.selectbox(row.label, row.choices, key=key, format_func=_choice, help=row.meaning)
            else:
                st.text_input(row.label, key=key, placeholder=_hint(row), help=row.meaning)
            if problem := _problem(name):
                warn(problem)
        asked = st.form_submit_button("Keep these settings", key="keep_settings", type="primary")
    if asked:
        _keep(book)


def _problem(name):
    """What is wrong with what was typed for a setting; empty where nothing is."""
    try:
        check_setting(name, st.session_state[f"setting_{name}"])
    except RecordError as error:
        return str(error)
    return ""


def _text_of(row, value):
    return "" if value == row.default and not row.choices else setting_text(value)


def _choice(word):
    return word.capitalize()


def _hint(row):
    return f"{setting_text(row.default)} until it is set" if row.default else f"such as {row.example}"


def _keep(book):
    """Keep what was changed; what makes no sense is said at its field."""
    kept = []
    for name, row in SHOP_SETTINGS.items():
        typed = st.session_state[f"setting_{name}"].strip()
        if typed == _text_of(row, book.setting(name)) or _problem(name):
            continue
        with friendly_errors(), keeping(f"setting_{name}"):
            book.set_setting(name, typed)
            kept.append(row.label)
    if kept:
        st.success(f"Kept: {', '.join(kept)}.")

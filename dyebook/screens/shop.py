"""Settings: what the shop sets once for its book, a field each, straight from the table `SHOP_SETTINGS`."""

import streamlit as st

from dyebook.errors import BookError
from dyebook.record import SHOP_SETTINGS
from dyebook.report.words import setting_text
from dyebook.screens.session import friendly_errors, the_book

__all__ = ["show"]


def show():
    """Draw the page."""
    book = the_book()
    st.title("Settings", anchor=False)
    st.markdown("They hold for this book, on every phone and desk that opens it.")
    with st.form("shop_settings", border=False):
        for name, row in SHOP_SETTINGS.items():
            now = book.setting(name)
            if f"setting_{name}" not in st.session_state:
                _drawn()[name] = now  # what the field shows until it is written to, whoever sets another meanwhile
            st.text_input(
                row.label, _text_of(row, now), key=f"setting_{name}", placeholder=_hint(row), help=row.meaning
            )
        asked = st.form_submit_button("Keep these settings", key="keep_settings", type="primary")
    if asked:
        _keep(book)


def _drawn():
    return st.session_state.setdefault("settings as drawn", {})


def _text_of(row, value):
    return "" if value == row.default else setting_text(value)


def _hint(row):
    return f"{setting_text(row.default)} until it is set" if row.default else f"such as {row.example}"


def _keep(book):
    """Keep what was changed, and say which of it makes no sense."""
    kept = []
    for name, row in SHOP_SETTINGS.items():
        typed, now = st.session_state[f"setting_{name}"].strip(), book.setting(name)
        drawn = _drawn()[name]
        if typed == _text_of(row, drawn):
            continue
        _drawn()[name] = now
        with friendly_errors():
            if now not in (drawn, typed):
                raise BookError(
                    f"{row.label} was set to {setting_text(now) or 'nothing'} after you opened it; nothing was "
                    f"overwritten; you wrote {typed or 'nothing'}: keep it once more if that is to stand"
                )
            book.set_setting(name, typed)
            _drawn()[name] = book.setting(name)
            kept.append(row.label)
    if kept:
        st.success(f"Kept: {', '.join(kept)}.")

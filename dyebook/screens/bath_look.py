"""How the baths do, looked up anew only when the book has changed: a large book takes a moment over it."""

from datetime import date

import streamlit as st

from dyebook.jobs.today import look_at_baths

__all__ = ["baths_now"]


def baths_now(book):
    """Return what `dyebook.jobs.today.look_at_baths` tells."""
    return _look(str(book.place.name), book.edition(), date.today().isoformat(), book)


@st.cache_data(max_entries=4, show_spinner="Looking at the baths …")
def _look(place, edition, day, _book):
    return look_at_baths(_book)

"""Trouble: why a batch came out as it did, whether a bath drifts, and a part judged beside its sample."""

from importlib import import_module
from pathlib import Path

import streamlit as st

from dyebook.screens import shelf
from dyebook.screens.bench_pieces import choose

__all__ = ["WAYS", "show"]

# what can be asked, by the module trouble_… that answers it
WAYS = {"batch": "A batch", "drift": "A bath over time", "pair": "Two in one photo"}
_WEB = Path(__file__).parent / "web"


def show():
    """Draw the page."""
    for style in ("bench.css", "trouble.css"):
        st.html(_WEB / style)
    st.title("Trouble", anchor=False)
    book = shelf.the_book()
    way = choose("trouble_way", "Asked", list(WAYS), WAYS.get, hidden=True)
    with shelf.friendly_errors():
        import_module(f"dyebook.screens.trouble_{way}").show(book)

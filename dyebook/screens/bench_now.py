"""What is on at the bench, for the page that opens first."""

import streamlit as st

from dyebook import report_run as words
from dyebook.jobs import run as bench

__all__ = ["show"]


def show(book):
    """Draw a line for each run that is on, with the way to it; nothing while none is."""
    for row in bench.open_runs(book):
        if row["started_at"] is not None:
            _show_run(row, bench.where_is(book, row))


def _show_run(row, stand):
    with st.container(key=f"on_{row['id']}", horizontal=True, vertical_alignment="center", border=True):
        st.markdown(words.on_text(row, stand), width="stretch")
        if st.button("To the run", key=f"to_run_{row['id']}", type="primary"):
            st.session_state["bench_next"] = {"step": "run", "run": row["id"]}
            st.switch_page(st.session_state["pages"]["bench"])

"""The run behind a batch: how it was prepared, how it went, and what its log showed."""

from html import escape

import streamlit as st

from dyebook import report_run as words
from dyebook.report_screen import pairs_html

__all__ = ["show_run"]


def show_run(book, number):
    """Draw what the bench knows of a batch's run; nothing where it never went over the bench."""
    run_id = book.row("batches", number)["run_id"]
    row = None if run_id is None else book.row("runs", run_id)
    if row is None or row["trace"] is None:
        return
    tank = row["electrolyte_id"] and book.row("electrolytes", row["electrolyte_id"])["name"]
    st.subheader("Anodised", anchor=False)
    st.html(pairs_html(words.anodised_words(row, tank), "settings"))
    for event in row["trace"].get("events", ()):
        head, remedy = words.event_line(event)
        st.html(f"<div class='doubt'><strong>{escape(head)}</strong><br>{escape(remedy)}</div>")
    ticks = sorted(book.rows("preparations", run_id=run_id), key=lambda one: one["position"])
    if ticks:
        st.markdown(f"Prepared: {'; '.join(words.preparation_words(ticks))}.")
    for table, label in (("rinses", "Rinsed"), ("seals", "Sealed")):
        for step in book.rows(table, batch_id=number):
            st.markdown(f"{label}: {words.wet_step_text(step)}.")

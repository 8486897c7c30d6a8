"""The book on paper, from the screens: sheets are made only when they are asked for."""

from contextvars import copy_context
from functools import partial
from urllib.parse import urlsplit

import streamlit as st

from dyebook.jobs.paper import batch_facts, batch_link, bath_facts, month_facts, shade_facts
from dyebook.report.paper.card import card_sheet, note_sheet
from dyebook.report.paper.html import KINDS, sheet_bytes
from dyebook.report.paper.labels import GRIDS, USUAL_GRIDS, labels_pdf
from dyebook.report.paper.ledger import bath_sheet, month_sheet
from dyebook.screens.navigation import go_to
from dyebook.units import shop_now

__all__ = ["offer_batch_papers", "offer_bath_log", "offer_month"]

_HERE = ("127.0.0.1", "localhost", "::1")


def offer_batch_papers(book, number):
    """Offer a batch's card, its shade note and a label, behind one button."""
    with st.popover("On paper", icon=":material/print:"):
        paper, address = book.setting("paper"), _address(book)
        name = f"batch_{number}"
        _offer("Batch card", ".pdf", name, partial(card_file, book, number, ".pdf", paper, address))
        _offer("Batch card as a page", ".html", name, partial(card_file, book, number, ".html", paper, address))
        _offer("Shade note for the customer", ".pdf", f"shade_note_{number}", partial(note_file, book, number, paper))
        grid = GRIDS[USUAL_GRIDS[paper]]
        whole, (left, right) = grid.columns * grid.rows, st.columns(2)
        copies = left.number_input("Labels", 1, 1000, value=whole, key="label_copies", help="A whole sheet at first.")
        first = right.number_input("Begin at", 1, whole, key="label_first", help="First free label, row by row.")
        made = partial(label_file, book, number, grid, address, int(copies), int(first))
        _offer("Bag labels", ".pdf", f"labels_{number}", made)
        st.caption("Print labels at 100 %. Photos go in without the place and camera noted in the file.")
        if batch_link(book, number, address) is None:
            st.caption("The code on the card holds the settings; with an address it opens the batch on a phone.")
        if st.button("The shop's name, and the address in the code", key="to_settings", type="tertiary"):
            go_to("settings")


def offer_bath_log(book, bath_id, name):
    """Offer the log of a bath."""
    with st.popover("On paper", icon=":material/print:"):
        paper = book.setting("paper")
        _offer("Bath log", ".pdf", f"bath_{name}", partial(bath_file, book, bath_id, ".pdf", paper))
        _offer("Bath log as a page", ".html", f"bath_{name}", partial(bath_file, book, bath_id, ".html", paper))


def offer_month(book, today=None):
    """Offer the summary of one of the last twelve months."""
    today = today or shop_now().date()
    months = [divmod(12 * today.year + today.month - 1 - back, 12) for back in range(12)]
    names = [f"{year:04d}-{month + 1:02d}" for year, month in months]
    with st.popover("A month on paper", icon=":material/print:"):
        month = st.selectbox("Month", names, key="paper_month")
        paper = book.setting("paper")
        _offer("Summary", ".pdf", month, partial(month_file, book, month, ".pdf", paper))
        _offer("Summary as a page", ".html", month, partial(month_file, book, month, ".html", paper))


def card_file(book, number, kind, paper, address):
    """Return the content of a batch card."""
    return sheet_bytes(card_sheet(batch_facts(book, number, address)), kind, paper)


def note_file(book, number, paper):
    """Return the content of a shade note, as PDF."""
    return sheet_bytes(note_sheet(shade_facts(book, number), shop_now().date()), ".pdf", paper)


def label_file(book, number, grid, address, copies, first):
    """Return sheets with so many labels of a batch, from the first free place of the first on, as PDF."""
    return labels_pdf([batch_facts(book, number, address, picture=None)] * copies, grid, first)


def bath_file(book, bath_id, kind, paper):
    """Return the content of a bath's log."""
    return sheet_bytes(bath_sheet(bath_facts(book, bath_id)), kind, paper)


def month_file(book, month, kind, paper):
    """Return the content of a month's summary."""
    return sheet_bytes(month_sheet(month_facts(book, month)), kind, paper)


def _offer(words, kind, name, make):
    key = f"paper_{words.replace(' ', '_').lower()}"
    made = partial(copy_context().run, make)
    st.download_button(words, made, name + kind, KINDS[kind], key=key, on_click="ignore", width="stretch")


def _address(book):
    """Where phones reach the app: as it was set, else as this browser does, unless that is this machine alone."""
    if book.setting("address"):
        return None
    url = urlsplit(st.context.url or "")
    return f"{url.scheme}://{url.netloc}" if url.netloc and url.hostname not in _HERE else None

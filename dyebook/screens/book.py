"""Book: the wall of swatches, found by colour, words or day; a chosen one opens."""

import streamlit as st

from dyebook.lab import lab_to_lch
from dyebook.report import words as report_words
from dyebook.screens import batch, paper, session
from dyebook.screens.answers import name_page
from dyebook.screens.drafts import keep, recall
from dyebook.screens.shade.target import read_colour
from dyebook.screens.swatch import show_swatch, wall

__all__ = ["show"]

NEWEST, HUE, LIGHT = "newest first", "by hue", "light to dark"
_STEP = 60
# orders other than the book's own look at the newest so many
_MOST_SORTED = 600
_KEYS = ("find_colour", "find_text", "order", "find_dye")


def show():
    """Draw the page."""
    book = session.the_book()
    number = _asked_for()
    if number is not None:
        batch.show(book, number, on_back=_close)
        return
    name_page("Book")
    recall(*_KEYS)
    colour, filters, order = _questions(book)
    keep(*_KEYS)
    found, near = _look_up(book, colour, filters, order)
    if not found:
        st.markdown("No batch matches." if filters or colour else "Nothing is in the book yet.")
        return
    shown = st.session_state.setdefault("wall_length", _STEP)
    st.caption(_count_words(len(found), shown, colour, order))
    chosen = wall(found[:shown], key="wall", near=near[:shown])
    if len(found) > shown and st.button("Show more", key="more", width="stretch"):
        st.session_state["wall_length"] = shown + _STEP
        st.rerun()
    paper.offer_month(book)
    if chosen is not None:
        _open(chosen)


def _asked_for():
    """Number of the batch to show, from a click or from the address; None for the wall."""
    asked = st.query_params.get("batch")
    number = st.session_state.get("batch") or (int(asked) if asked and asked.isdigit() else None)
    if number is not None:
        st.session_state["batch"] = number
        st.query_params["batch"] = str(number)
    return number


def _open(number):
    st.session_state["batch"] = int(number)
    st.rerun()


def _close():
    st.session_state.pop("batch", None)
    st.query_params.pop("batch", None)


def _questions(book):
    """Draw what can be asked; return (Lab or None, filters, order)."""
    first, second, third = st.columns([3, 3, 2])
    asked = first.text_input(
        "Find a colour", key="find_colour", placeholder="35, 10, −42 or #1f4e8c or batch 12", help=_COLOUR_HELP
    )
    text = second.text_input("Words in notes and names", key="find_text", placeholder="kettle, 6061, bath name …")
    dyes = sorted(row["name"] for row in book.rows("dyes"))
    dye = third.selectbox("Dye", dyes, index=None, key="find_dye", placeholder="all dyes")
    colour = read_colour(asked, book) if asked.strip() else None
    filters = {name: value for name, value in (("text", text.strip() or None), ("dye", dye)) if value}
    if colour is not None:
        show_swatch(colour, "Looking for")
        return colour, filters, "nearest first"
    order = st.segmented_control("Order", [NEWEST, HUE, LIGHT], default=NEWEST, key="order") or NEWEST
    return None, filters, order


_COLOUR_HELP = (
    "A Lab colour (D65, 2°) as L, a, b; a screen colour as #rrggbb; a Munsell notation; or the number of a batch."
)


def _look_up(book, colour, filters, order):
    """Batches in order, and how far each is from the colour (None without one)."""
    if colour is not None:
        found = book.find(colour, _MOST_SORTED, **filters)
        return [one.row for one in found], [one.delta_e00 for one in found]
    count = st.session_state.get("wall_length", _STEP) + 1 if order == NEWEST else _MOST_SORTED
    rows = book.batches(count, **filters)
    if order != NEWEST:
        rows = sorted((row for row in rows if row.lab is not None), key=_by_hue if order == HUE else _by_light)
    return rows, [None] * len(rows)


def _by_hue(row):
    """Greys first, by lightness; then around the circle from red."""
    lightness, chroma, hue = lab_to_lch(row.lab)
    return (0, lightness, 0) if chroma < 6 else (1, (hue + 8) % 360, lightness)


def _by_light(row):
    return -row.lab.L


def _count_words(count, shown, colour, order):
    number = min(count, shown)
    some = "1 batch" if number == 1 else f"{number} batches"
    if colour is not None:
        return f"{some}, nearest first. {report_words.DIFFERENCE}"
    if order == NEWEST:
        return some + (" and more" if count > shown else "") + ", newest first."
    return f"{some} of {count} that were read, {order}" + (", of the newest." if count >= _MOST_SORTED else ".")

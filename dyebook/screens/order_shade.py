"""The shade of an order: from the customer's piece in a photo, typed, or as a batch came out; and its tolerance."""

import math

import streamlit as st

from dyebook.jobs import orders
from dyebook.screens.drafts import forget, keep, recall
from dyebook.screens.go import go_to_shade
from dyebook.screens.shade_target import read_colour
from dyebook.screens.swatch import show_swatch

__all__ = ["ask_tolerance", "show"]


def show(book, stand):
    """Draw the shade agreed, or the ways to agree on one.

    Parameters
    ----------
    book : dyebook.book.store.Book
    stand : dyebook.jobs.orders.OrderStand
    """
    st.subheader("The shade", anchor=False)
    if stand.target is None:
        st.markdown("None is agreed yet. A photo of the customer's piece beside the grey card is surest.")
        _agree(book, stand.order)
        return
    source = "read from the customer's piece" if stand.target["sample_id"] else "agreed without a piece"
    tolerance = stand.target["tolerance_de00"]
    within = f"tolerance ΔE00 {tolerance:g}" if tolerance is not None else "no tolerance agreed"
    show_swatch(stand.lab, stand.target["name"], None, [source, within])
    if st.button("What to set for it", key="to_shade", type="primary", icon=":material/colorize:"):
        go_to_shade(stand.target["name"])
    with st.expander("Agree on another shade"):
        _agree(book, stand.order)


def _agree(book, order):
    mark = order["id"]
    if st.button("Photograph the customer's piece", key="photograph_sample", icon=":material/photo_camera:"):
        st.session_state["sample_for"] = mark
        st.switch_page(st.session_state["pages"]["photo"])
    keys = (f"order_{mark}_colour", f"order_{mark}_tolerance_de00")
    recall(*keys)
    text = st.text_input(
        "Or type it", key=keys[0], placeholder="35, 10, −42 or #1f4e8c or 5PB 4/8 or batch 12", help=_HELP
    )
    tolerance = ask_tolerance(keys[1])
    keep(*keys)
    lab = read_colour(text, book) if text.strip() else None
    if lab is not None:
        show_swatch(lab, "This would be the shade")
    if st.button("Agree on this shade", key="agree", disabled=lab is None or tolerance is None):
        orders.set_target(book, mark, lab, tolerance)
        forget(*keys)
        st.rerun()


_HELP = (
    "CIELAB under D65 and the 2° observer, a screen colour, a Munsell notation, or the number of a batch whose shade "
    "is wanted again."
)


def ask_tolerance(key):
    """Ask for a tolerance, ΔE00; None while what is typed is no number above nothing."""
    usual = f"{orders.USUAL_TOLERANCE_DE00:g}"
    text = st.text_input("Tolerance, ΔE00", key=key, placeholder=usual, help=_TOLERANCE)
    try:
        value = float((text or usual).replace(",", "."))
    except ValueError:
        value = math.nan
    if 0 < value <= 50:
        return value
    st.caption(":material/priority_high: the tolerance is a number above 0, at most 50.")
    return None


_TOLERANCE = "About 1 is hard to see side by side, 2 is seen by a trained eye, 5 by anybody. Agree on it beforehand."

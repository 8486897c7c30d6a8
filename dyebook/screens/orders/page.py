"""Orders: what the customer asked for, the shade agreed, and the batch that answers it.

The shade of an order: from the customer's piece in a photo, typed, or as a batch came out; and its tolerance.
"""

from datetime import date, datetime

import streamlit as st

from dyebook.errors import RecordError
from dyebook.jobs import orders
from dyebook.record import check_tolerance
from dyebook.report import words as report_words
from dyebook.report.baths import order_lines, stand_text
from dyebook.screens import session
from dyebook.screens.drafts import draft, forget, keep, recall
from dyebook.screens.navigation import asked_for, go_to_order, go_to_photo, go_to_shade, show_order
from dyebook.screens.orders import batches as order_batches
from dyebook.screens.shade.target import read_colour
from dyebook.screens.swatch import show_slip, show_swatch

__all__ = ["ask_tolerance", "show", "show_order_shade"]


def show_order_shade(book, stand):
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
        go_to_photo(sample_for=mark)
    keys = (f"order_{mark}_colour", f"order_{mark}_tolerance_de00")
    recall(*keys)
    text = st.text_input(
        "Or type it", key=keys[0], placeholder="35, 10, −42 or #1f4e8c or 5PB 4/8 or batch 12", help=_HELP
    )
    tolerance = ask_tolerance(book, keys[1])
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


def ask_tolerance(book, key):
    """Ask for a tolerance, ΔE00, else the shop's usual one; None while what is typed makes no sense, which is said."""
    usual = book.setting("tolerance_de00")
    text = st.text_input("Tolerance, ΔE00", key=key, placeholder=f"{usual:g}", help=_TOLERANCE)
    try:
        return check_tolerance(text or usual)
    except RecordError as problem:
        st.caption(f":material/priority_high: {problem}.")
        return None


_TOLERANCE = "About 1 is hard to see side by side, 2 is seen by a trained eye, 5 by anybody. Agree on it beforehand."


_NEW = ("order_name", "order_customer", "order_words", "order_due_on", "order_skin_contact")


def show():
    """Draw the page."""
    book = session.the_book()
    number = asked_for("order")
    if number is not None:
        _show_one(book, number)
        return
    st.title("Orders", anchor=False)
    standing = orders.open_orders(book)
    left, right = st.columns([3, 2], gap="large")
    with left:
        if not standing:
            st.markdown("No order is open. Take one: what is wanted, for whom, until when.")
        for stand in standing:
            _show_slip(stand)
        _show_done(book)
    with right:
        _take(book)


def _show_slip(stand):
    order = stand.order
    with st.container(key=f"slip_order_{order['id']}"):
        show_slip(stand.lab, order["name"], order_lines(stand, datetime.now()))
        st.button("Open", key=f"open_order_{order['id']}", on_click=show_order, args=(order["id"],))


def _show_done(book):
    done = sorted((row for row in book.rows("orders") if row["done_at"]), key=lambda row: row["done_at"], reverse=True)
    if not done:
        return
    some = "1 order went out" if len(done) == 1 else f"{len(done)} orders went out"
    with st.expander(some):
        for row in done[:20]:
            _show_slip(orders.order_stand(book, row["id"]))


def _take(book):
    recall(*_NEW)
    st.subheader("Take an order", anchor=False)
    name = st.text_input("What is to be dyed", key="order_name", placeholder="Lamp knobs, 40 pieces")
    customer = st.text_input("For whom", key="order_customer")
    wish = st.text_area(
        "In the customer's words", key="order_words", placeholder="the orange of our old knobs", height=80
    )
    due_on = st.date_input("Due", value=draft().get("order_due_on"), key="order_due_on", min_value=date(2000, 1, 1))
    skin = st.toggle("Worn on the skin, or used with food", key="order_skin_contact")
    keep(*_NEW)
    if skin:
        st.caption(_SKIN)
    if st.button("Take the order", key="take_order", type="primary", width="stretch"):
        day = due_on.isoformat() if due_on else None
        number = orders.take_order(book, name, customer.strip(), wish.strip(), day, skin or None)
        forget(*_NEW)
        go_to_order(number)


_SKIN = (
    "Keep nickel out of the seal: plan a hot-water seal, and ask the dye's maker whether the dye may touch skin or "
    "food. The rules of your country decide."
)


def _show_one(book, number):
    st.button("All orders", key="all_orders", icon=":material/arrow_back:", on_click=show_order, args=(None,))
    stand = orders.order_stand(book, number)
    order = stand.order
    st.title(order["name"], anchor=False)
    for line in order_lines(stand, datetime.now())[:-1]:
        st.markdown(line)
    if order["skin_contact"]:
        st.caption(_SKIN)
    st.markdown(f"**{stand_text(stand)}**")
    left, right = st.columns(2, gap="large")
    with left, session.friendly_errors():
        show_order_shade(book, stand)
    with right, session.friendly_errors():
        order_batches.show(book, stand)
    _show_end(book, order)


def _show_end(book, order):
    with st.container(horizontal=True):
        if order["done_at"] is None:
            st.button("It went out", key="close_order", on_click=orders.close_order, args=(book, order["id"]))
        else:
            st.markdown(f"Went out {report_words.moment_text(order['done_at'])}.")
            st.button("It is not done after all", key="reopen", on_click=orders.reopen_order, args=(book, order["id"]))
        if order["deleted_at"] is None:
            st.button("Drop this order", key="drop_order", type="tertiary", on_click=_drop, args=(book, order["id"]))
        else:
            st.button("Bring it back", key="undrop_order", on_click=book.undelete, args=("orders", order["id"]))


def _drop(book, number):
    """It stays open in front of its owner, who can bring it back at once."""
    book.delete("orders", number)

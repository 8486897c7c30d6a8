"""Today, the page that opens first: the next step, orders, baths, and batches that want a look."""

import streamlit as st

from dyebook.flags import FLAGS
from dyebook.jobs.piece import STEPS
from dyebook.jobs.today import look_over
from dyebook.report import photo as report_photo
from dyebook.report import words as report_words
from dyebook.report.baths import care_pairs, order_lines, waiting_text
from dyebook.screens import session
from dyebook.screens.navigation import go_to_batch, go_to_bath, go_to_order, go_to_photo, go_to_step
from dyebook.screens.piece import go_on_with, held, hold
from dyebook.screens.shade.baths import baths_now
from dyebook.screens.swatch import show_slip, wall
from dyebook.units import shop_now

__all__ = ["show"]

# what waits at a step that is not for a run
_KINDS = {"shade": "order", "photo": "batch"}
# orders, baths and batches to look at that are listed, before all of them are a tap away
_MOST = 6


def show():
    """Draw the page."""
    book = session.the_book()
    today = look_over(book)
    if not (today.recent or today.orders or any(today.waiting.values()) or book.rows("baths")):
        _first_start()
        return
    st.title(f"Today, {report_words.day_text(shop_now())}", anchor=False)
    if session.is_demo():
        st.caption(
            "dyebook reads colours from photos and says which bath and minutes give one again. An invented shop."
        )
    _show_way(book, today)
    left, right = st.columns(2, gap="large")
    with left:
        _show_orders(book, today.orders)
        st.subheader("Look again", anchor=False)
        _show_todos(today.todos)
    st.subheader("Latest batches", anchor=False)
    go_to_batch(wall(today.recent, key="latest", doubts=_doubts(today.todos), ribbon=True))
    # last, as a large book takes a moment over its baths
    with right, session.friendly_errors():
        _show_baths(*baths_now(book))


def _show_way(book, today):
    """The steps of a batch in order of work, each one tap away; the one to do next stands out."""
    with st.container(key="way", horizontal=True, gap="small"):
        for step in STEPS:
            numbers = today.waiting[step]
            label = "  \n".join(filter(None, [step.capitalize(), waiting_text(step, len(numbers))]))
            kind = "primary" if step == today.next_step else "secondary"
            if st.button(label, key=f"way_{step}", type=kind):
                number = next(iter(numbers), None)
                if number is not None:
                    hold(book, **{_KINDS.get(step, "run"): number})
                go_to_step(step, None if step == "shade" else number)


def _first_start():
    st.title("An empty book", anchor=False)
    st.markdown(
        "Every batch you dye goes in here: what was set, and what colour came out, read from a photo beside a plain "
        "grey card. From then on a shade can be found again, and the baths can be learned. Three ways to begin:"
    )
    first, second, third = st.columns(3, gap="medium")
    with first.container(border=True):
        st.subheader("Photograph something", anchor=False)
        st.markdown("A dyed part and the grey card in one picture, in the same light. You see at once what was read.")
        if st.button("Take or choose a photo", key="to_photo", type="primary", width="stretch"):
            go_to_photo()
    with second.container(border=True):
        st.subheader("Enter a bath", anchor=False)
        st.markdown("Write down a dye bath that stands on your bench: its dye, how strong, how much. Nothing else yet.")
        if st.button("Write down a bath", key="to_bath", width="stretch"):
            go_to_bath(None)
    with third.container(border=True):
        st.subheader("Look around", anchor=False)
        st.markdown("The demo book: an invented shop, a year of batches, good days and bad. Apart from your own book.")
        if st.button("Open the demo book", key="to_demo", width="stretch"):
            session.look_around()
            st.rerun()


def _doubts(todos):
    """A few words of doubt by batch."""
    return {one.batch: FLAGS[one.doubts[0]].meaning for one in todos if one.kind == "doubtful"}


def _show_orders(book, orders):
    st.subheader("Orders", anchor=False)
    if not orders:
        st.markdown("None is open.")
    for stand in orders[:_MOST]:
        with st.container(key=f"slip_order_{stand.order['id']}"):
            show_slip(stand.lab, stand.order["name"], order_lines(stand, shop_now()))
            if st.button("Take in hand", key=f"to_order_{stand.order['id']}"):
                hold(book, order=stand.order["id"])
                go_on_with(held(book))
    if st.button("All orders" if orders else "Take an order", key="to_orders", type="tertiary"):
        go_to_order(None)


def _show_todos(todos):
    if not todos:
        st.markdown("Nothing. Every one of the latest batches has been read, dry and without a doubt.")
    for number, todo in enumerate(todos[:_MOST]):
        text, button = _todo_words(todo)
        with st.container(key=f"todo_{number}", horizontal=True, vertical_alignment="center"):
            st.markdown(f"**Batch {todo.batch}** {text}", width="stretch")
            if st.button(button, key=f"do_{number}"):
                go_to_batch(todo.batch) if todo.kind == "doubtful" else go_to_photo(todo.batch)


def _todo_words(todo):
    """What a batch wants, and the button to it."""
    if todo.kind == "unread":
        return "has no reading yet: photograph it beside the grey card.", "Photograph"
    if todo.kind == "wet":
        return "was read wet: read it again once it is dry.", "Photograph"
    return f"– {report_photo.flag_lines(todo.doubts[:1])[0]}.", "Look"


def _show_baths(baths, cares):
    st.subheader("Baths", anchor=False)
    moves = {(one.dye, one.bath): one for one in baths}
    for care in cares[:_MOST]:
        pairs = [*care_pairs(care, brief=True), *_steadiness(moves.get((care.dye, care.name)))]
        with st.container(key=f"slip_bath_{care.bath_id}"):
            show_slip(care.lab, f"{care.dye}, bath {care.name}", pairs=pairs, empty="no dip read")
            if st.button("Open", key=f"to_bath_{care.bath_id}"):
                go_to_bath(care.bath_id)
    if st.button("All baths" if cares else "Enter a bath", key="to_baths", type="tertiary"):
        go_to_bath(None)


def _steadiness(bath):
    """How its dips have come out, as a pair, where they have moved."""
    if bath is None or not bath.moved:
        return []
    pair = f"batch {bath.before.batch} to batch {bath.last.batch}"
    return [
        ("shade", f"has moved: {report_words.difference_text(bath.before.lab, bath.last.lab)} ({pair}, same recipe)")
    ]

"""Today: what is on the bench, and what it wants next."""

from datetime import datetime

import streamlit as st

from dyebook import report
from dyebook import report_screen as words
from dyebook.flags import FLAGS
from dyebook.jobs.today import look_over
from dyebook.screens import bench_now, shelf
from dyebook.screens.pieces import wall

__all__ = ["show"]


def show():
    """Draw the page."""
    book = shelf.the_book()
    bench_now.show(book)
    today = look_over(book)
    if not today.recent:
        _first_start()
        return
    st.title(f"Today, {words.day_text(datetime.now())}", anchor=False)
    _ways()
    st.subheader("Latest batches", anchor=False)
    go_to_batch(wall(today.recent, key="latest", doubts=_in_few_words(today.errands), ribbon=True))
    left, right = st.columns(2, gap="large")
    with left:
        st.subheader("Wants doing", anchor=False)
        _errands(today.errands)
        if today.orders:
            st.subheader("Orders", anchor=False)
            _orders(today.orders)
    with right:
        st.subheader("Baths", anchor=False)
        _baths(today.baths)


def go_to_batch(number):
    """Turn to a batch in the book; nothing happens without a number."""
    if number is not None:
        st.session_state["batch"] = int(number)
        st.switch_page(st.session_state["pages"]["book"])


def _ways():
    with st.container(horizontal=True):
        if st.button("Photograph something", key="to_photo", type="primary", icon=":material/photo_camera:"):
            st.switch_page(st.session_state["pages"]["photo"])
        if st.button("Open the book", key="to_book", icon=":material/menu_book:"):
            st.switch_page(st.session_state["pages"]["book"])


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
            st.switch_page(st.session_state["pages"]["photo"])
    with second.container(border=True):
        st.subheader("Enter a bath", anchor=False)
        st.markdown(
            "Write down a batch you have already dyed: dye, strength, temperature, time, film. No photo needed."
        )
        if st.button("Write down a batch", key="to_batch", width="stretch"):
            st.session_state["photo_way"] = "without"
            st.switch_page(st.session_state["pages"]["photo"])
    with third.container(border=True):
        st.subheader("Look around", anchor=False)
        st.markdown("The demo book: an invented shop, a year of batches, good days and bad. Apart from your own book.")
        if st.button("Open the demo book", key="to_demo", width="stretch"):
            shelf.look_around()
            st.rerun()


def _in_few_words(errands):
    doubts = {}
    for errand in errands:
        if errand.kind == "doubtful":
            doubts[errand.batch] = FLAGS[errand.doubts[0]].meaning
    return doubts


def _errands(errands):
    if not errands:
        st.markdown("Nothing. Every one of the latest batches has been read, dry and without a doubt.")
    for number, errand in enumerate(errands[:6]):
        text, button = _errand_words(errand)
        with st.container(key=f"errand_{number}", horizontal=True, vertical_alignment="center"):
            st.markdown(text, width="stretch")
            if st.button(button, key=f"do_{number}"):
                _do(errand)


def _errand_words(errand):
    head = f"**Batch {errand.batch}** "
    if errand.kind == "unread":
        return head + "has no reading yet: photograph it beside the grey card.", "Photograph"
    if errand.kind == "wet":
        return head + "was read wet: read it again once it is dry.", "Photograph"
    return head + "– " + report.flag_lines(errand.doubts[:1])[0] + ".", "Look"


def _do(errand):
    if errand.kind == "doubtful":
        go_to_batch(errand.batch)
    st.session_state["add_to"] = errand.batch
    st.switch_page(st.session_state["pages"]["photo"])


def _orders(orders):
    for order in orders[:8]:
        customer = f" for {order['customer']}" if order["customer"] else ""
        due = f" – {words.due_text(order['due_on'], datetime.now())}" if order["due_on"] else ""
        wish = f"  \n“{order['words']}”" if order["words"] else ""
        st.markdown(f"**{order['name']}**{customer}{due}{wish}")


def _baths(baths):
    for bath in baths[:8]:
        name = f"{bath.dye}, bath {bath.bath}" if bath.bath else bath.dye
        last = f"last dip {words.moment_text((bath.last.dyed_at or bath.last.added_at)[:10])}"
        st.markdown(f"**{name}** – {bath.dips} of the latest batches, {last}.  \n{_steadiness(bath)}")


def _steadiness(bath):
    if bath.before is None:
        return "No two dips of one recipe to compare yet."
    pair = f"batch {bath.before.batch} to batch {bath.last.batch}, same recipe"
    change = words.difference_text(bath.before.lab, bath.last.lab)
    return (
        f"**Has moved** – {change} ({pair})." if bath.moved else f"Steady within what photos tell – {change} ({pair})."
    )

"""The book a browser session looks into, and the one place where its errors become words."""

from contextlib import contextmanager

import streamlit as st

from dyebook.book.people import people_of
from dyebook.book.store import open_book
from dyebook.errors import DyebookError
from dyebook.screens import work
from dyebook.screens.demo_book import DEMO_MARK, demo_place, is_laid_out, make_demo_book, throw_demo_away
from dyebook.screens.sign_in import who_is_here

__all__ = [
    "friendly_errors",
    "is_demo",
    "leave_demo",
    "look_around",
    "open_shelf",
    "renew_demo",
    "sentence",
    "tell_error",
    "the_book",
]

_WHERE = "shelf"
_LAYING = "laying out the demo book"


@contextmanager
def friendly_errors():
    """Show a `DyebookError` raised inside as what it is: something that can be put right; and work that was stopped."""
    try:
        yield
    except work.StoppedError as stopped:
        work.show_stopped(stopped)
    except DyebookError as error:
        st.error(sentence(str(error)), icon=":material/report:")


def tell_error(error):
    """Show a `DyebookError` that a tapped button raised before its page was drawn; whether it was one."""
    if isinstance(error, DyebookError):
        st.error(sentence(str(error)), icon=":material/report:")
        return True
    return False


def sentence(text):
    """Return an error's words as a sentence."""
    text = " ".join(text.split())
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")


def the_book():
    """Return this session's open book: the demo where somebody looks around in it, else the shop's own.

    Where people sign in, it is held by whoever did, with the role that the shop's own book gives them now.
    """
    book = _open_book()
    shop = open_shelf(None)
    who = who_is_here(shop)
    return book if who is None else book.seen_by(who, lambda: people_of(shop).get(who.name))


def _open_book():
    if st.query_params.get(_WHERE) == "demo":
        st.session_state[_WHERE] = "demo"
    if st.session_state.get(_WHERE) != "demo":
        return open_shelf(None)
    st.query_params[_WHERE] = "demo"
    if not is_laid_out():
        _lay_out_demo()
    return open_shelf(str(demo_place()))


def _lay_out_demo():
    """Make the demo book; whoever stops that is back in their own book."""
    try:
        work.done_once(_LAYING, _LAYING not in st.session_state, "Laying out the demo book", make_demo_book)
    except work.StoppedError:
        leave_demo()
        raise


@st.cache_resource(show_spinner=False)
def open_shelf(place):
    """Return the open book at a place, shared by all sessions; None for the shop's own."""
    return open_book(place)


def is_demo():
    """Whether what is shown is the demo book."""
    return the_book().setting(DEMO_MARK) is not None


def look_around():
    """Turn this session to the demo book, which is made first where needed."""
    st.session_state[_WHERE] = "demo"


def leave_demo():
    """Turn this session back to the shop's own book."""
    st.session_state.pop(_WHERE, None)
    st.query_params.clear()


def renew_demo():
    """Throw the demo book away; the next look into it lays out a fresh one."""
    the_book().must_be("owner")
    open_shelf.clear()
    throw_demo_away()

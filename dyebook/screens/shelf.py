"""The book a browser session looks into, and the one place where its errors become words.

Signing in where several people share a book: who is here, and what a stranger is told.

The demo book's place and making; apart from anybody's own book, to be thrown away at will.
"""

from contextlib import contextmanager

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx

from dyebook.book.store import open_book
from dyebook.book.tables import people_of, who_is
from dyebook.demo.place import DEMO_MARK, demo_place, is_laid_out, make_demo_book, throw_demo_away
from dyebook.errors import BookError, DyebookError
from dyebook.screens import tasks
from dyebook.server.gate import DOOR_HEADER, admit, send_away

__all__ = [
    "came_by",
    "friendly_errors",
    "is_demo",
    "is_let_in",
    "leave_demo",
    "look_around",
    "open_shelf",
    "renew_demo",
    "sentence",
    "tell_error",
    "the_book",
    "who_is_here",
]


def came_by():
    """Return which door this session came by: ``"desk"``, ``"phone"`` or ``"shared"``."""
    return st.context.headers.get(DOOR_HEADER, "desk")


def who_is_here(book):
    """Return whoever signed in, as the shop's book lists them now; None at the shop's own doors.

    Raises
    ------
    BookError
        If somebody came by the shared door and is not on the list (any more).
    """
    if came_by() != "shared":
        return None
    who = who_is(book, _confirmed_address())
    if who is None:
        raise BookError("you are not signed in as one of this book's people; sign in, or ask an owner")
    return who


def _confirmed_address():
    """The e-mail address that the sign-in service vouches for; None without one."""
    user = st.user.to_dict()
    if user.get("is_logged_in") is not True or user.get("email_verified") is not True:
        return None
    return user.get("email")


def is_let_in(open_shelf):
    """Whether the page may be drawn; a stranger at the shared door gets the way to sign in instead.

    Parameters
    ----------
    open_shelf : callable
        Gives the shop's own book for None.
    """
    if came_by() != "shared":
        return True
    session = get_script_run_ctx().session_id
    who = who_is(open_shelf(None), _confirmed_address())
    if who is None:
        send_away(session)
        _show_way_in()
        return False
    admit(session)
    with st.container(horizontal=True, horizontal_alignment="right", vertical_alignment="center", key="person"):
        st.caption(f"{who.name}, {who.role}", width="content")
        st.button("Sign out", key="sign_out", type="tertiary", on_click=st.logout)
    return True


def _show_way_in():
    st.title("dyebook", anchor=False)
    user = st.user.to_dict()
    if user.get("is_logged_in") is True:
        name = user.get("email") or "an account without an e-mail address"
        told = "is not on this book's list" if user.get("email_verified") is True else "is not confirmed"
        st.markdown(f"You signed in with `{name.replace('`', '')}`, which {told}. Ask an owner of the book, or:")
        st.button("Sign in as somebody else", key="sign_out", on_click=st.logout)
    else:
        st.markdown("This book is shared by several people. Sign in to see it.")
        st.button("Sign in", key="sign_in", type="primary", on_click=st.login)


_WHERE = "shelf"
_LAYING = "laying out the demo book"


@contextmanager
def friendly_errors():
    """Show a `DyebookError` raised inside as what it is: something that can be put right; and work that was stopped."""
    try:
        yield
    except tasks.StoppedError as stopped:
        tasks.show_stopped(stopped)
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
        tasks.done_once(_LAYING, _LAYING not in st.session_state, "Laying out the demo book", make_demo_book)
    except tasks.StoppedError:
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

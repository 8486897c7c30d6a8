"""Signing in where several people share a book: who is here, and what a stranger is told."""

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx

from dyebook.book.people import who_is
from dyebook.errors import BookError
from dyebook.screens.admission import admit, send_away
from dyebook.screens.gate import DOOR_HEADER

__all__ = ["came_by", "is_let_in", "who_is_here"]


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

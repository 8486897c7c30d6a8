"""What a browser session may see: who is signed in, which book is open, and its errors in words.

A session comes by one of the server's doors. At the desk and on a paired phone it sees the shop's book as it is; at
the shared door it sees nothing until a person of the book's list has signed in, and then holds the book in that
person's role. Any session can turn to the demo book, which is made when it is first asked for, apart from the shop's
own, and can be thrown away at will.
"""

from contextlib import contextmanager

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx

from dyebook.book.people import people_of, who_is
from dyebook.book.store import open_book
from dyebook.demo.place import demo_place, is_laid_out, make_demo_book, throw_demo_away
from dyebook.errors import BookError, DyebookError
from dyebook.record import DEMO_MARK
from dyebook.report.words import plain
from dyebook.screens import tasks
from dyebook.screens.fields import RefusedError
from dyebook.screens.navigation import turn_over
from dyebook.server.gate import COOKIE
from dyebook.server.pairing import DOOR_HEADER, MOST_SENT_MB, SIGN_IN_COOKIE, admit, send_away, take_refused
from dyebook.units import ZONE

__all__ = [
    "as_drawn", "as_told", "came_by", "friendly_errors", "is_demo", "is_let_in", "leave_demo", "look_around",
    "may_leave_demo", "renew_demo", "sentence", "shared_book", "show_error", "show_refused", "tap", "the_book",
    "who_is_here", "whose_draft",
]  # fmt: skip

# the same word in the session's state and in the page's address
_BOOK = "shelf"
_MAKING = "laying out the demo book"


def came_by() -> str:
    """Return which door this session came by: ``"desk"``, ``"phone"`` or ``"shared"``."""
    return st.context.headers.get(DOOR_HEADER, "desk")


def whose_draft() -> str:
    """Return what ties unsaved work to this phone or person; empty at the desk, which is one machine."""
    door = came_by()
    if door == "desk":
        return ""
    return f"{door} {st.context.cookies.get(COOKIE) if door == 'phone' else _confirmed_address()}"


def who_is_here(book):
    """Return the person who signed in, as the shop's book lists them now; None at the shop's own doors.

    BookError if the session came by the shared door and its person is not on the list (any more).
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


def is_let_in() -> bool:
    """Whether the page may be drawn; a stranger at the shared door gets the way to sign in instead."""
    if came_by() != "shared":
        return True
    session = get_script_run_ctx().session_id
    who = who_is(shared_book(None), _confirmed_address())
    if who is None:
        send_away(session)
        _show_way_in()
        return False
    admit(session, st.context.cookies.get(SIGN_IN_COOKIE))
    with st.container(horizontal=True, horizontal_alignment="right", vertical_alignment="center", key="person"):
        st.caption(plain(f"{who.name}, {who.role}"), width="content")
        st.button("Sign out", key="sign_out", type="tertiary", on_click=st.logout)
    return True


def _show_way_in():
    st.title("dyebook", anchor=False)
    user = st.user.to_dict()
    if user.get("is_logged_in") is True:
        name = plain(user.get("email") or "an account without an e-mail address")
        why = "is not on this book's list" if user.get("email_verified") is True else "is not confirmed"
        st.markdown(f"You signed in with **{name}**, which {why}. Ask an owner of the book, or:")
        st.button("Sign in as another person", key="sign_out", on_click=st.logout)
    else:
        st.markdown("This book is shared by several people. Sign in to see it.")
        st.button("Sign in", key="sign_in", type="primary", on_click=st.login)


def the_book():
    """Return this session's open book: the demo while the session looks around in it, else the shop's own.

    Times are shown in its zone from then on.

    Where people sign in, the book is held by the person here, in the role that the shop's own book gives them now.
    """
    book = _demo_book() if _looks_at_demo() else shared_book(None)
    ZONE.set(book.setting("time_zone"))
    shop = shared_book(None)
    who = who_is_here(shop)
    return book if who is None else book.seen_by(who, lambda: people_of(shop).get(who.name))


@st.cache_resource(show_spinner=False)
def shared_book(place):
    """Return the open book at a place, shared by all sessions; None for the shop's own."""
    return open_book(place)


def _looks_at_demo():
    if st.query_params.get(_BOOK) == "demo":
        st.session_state[_BOOK] = "demo"
    return st.session_state.get(_BOOK) == "demo"


def _demo_book():
    """The demo book, made first where needed; a session that stops the making is back in the shop's own book."""
    st.query_params[_BOOK] = "demo"
    if not is_laid_out():
        try:
            tasks.done_once(_MAKING, _MAKING not in st.session_state, "Laying out the demo book", make_demo_book)
        except tasks.StoppedError:
            leave_demo()
            raise
    return shared_book(str(demo_place()))


def is_demo() -> bool:
    """Whether what is shown is a demo book."""
    return the_book().setting(DEMO_MARK) is not None


def may_leave_demo() -> bool:
    """Whether this session turned to the demo book from another, which it can turn back to."""
    return st.session_state.get(_BOOK) == "demo"


def look_around():
    """Turn this session to the demo book."""
    st.session_state[_BOOK] = "demo"


def leave_demo():
    """Turn this session back to the shop's own book."""
    st.session_state.pop(_BOOK, None)
    st.query_params.clear()


def renew_demo():
    """Throw the demo book away; the next look into it makes a fresh one."""
    the_book().must_be("owner")
    shared_book.clear()
    throw_demo_away()


def as_drawn(key: str, now):
    """Return what a form showed when it was drawn; `now`, what the book holds, is what it shows from this run on.

    A tap comes with the run after the one that the person looked at, and that run reads the book anew.
    """
    name = f"drawn {key}"
    drawn = st.session_state.get(name, now)
    st.session_state[name] = now
    return drawn


def as_told(key: str, rows, words):
    """Return a check for the tap on a form: BookError, with `words(row)`, where a row came in since it was drawn."""
    newest = rows[-1] if rows else None
    drawn = as_drawn(key, newest and newest["id"])

    def check():
        if newest is not None and newest["id"] != drawn:
            raise BookError(
                f"{words(newest)}: {newest['added_by']} wrote that after you opened it; nothing of yours was written; "
                "look at both, and tap again if yours is to stand"
            )

    return check


def tap(work, *args, **more) -> dict:
    """Return what makes a button do work before its page is drawn anew, which then says a `DyebookError` first."""
    return {"on_click": _try, "args": (work, args, more)}


def _try(work, args, more):
    try:
        the_book()
        work(*args, **more)
    except DyebookError as error:
        _refuse(error)


def _refuse(error):
    """Let the next run of the page say an error at its top, and stand there."""
    st.session_state[_REFUSED] = error
    turn_over()


def show_refused():
    """Say why the last tap did nothing, and how many files were not taken."""
    show_error(st.session_state.pop(_REFUSED, None))
    if count := take_refused(get_script_run_ctx().session_id):
        show_error(DyebookError(f"{MOST_SENT_MB} MB are taken at a time; files not taken: {count}; send them again"))


_REFUSED = "why the last tap did nothing"


@contextmanager
def friendly_errors():
    """Show a `DyebookError` raised inside as what it is: something that can be put right; and work that was stopped."""
    try:
        yield
    except tasks.StoppedError as stopped:
        tasks.show_stopped(stopped)
    except RefusedError as error:
        _refuse(error)
        st.rerun()
    except DyebookError as error:
        show_error(error)


def show_error(error) -> bool:
    """Show a `DyebookError`, such as a tapped button raises before its page is drawn; return whether it was one."""
    if not isinstance(error, DyebookError):
        return False
    st.error(plain(sentence(str(error))), icon=":material/report:")
    return True


def sentence(text: str) -> str:
    """Return words as a sentence: a capital first, a full stop last."""
    text = " ".join(text.split())
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")

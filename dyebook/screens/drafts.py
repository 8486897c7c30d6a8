"""What was typed and not yet saved, kept so that a reload, another page or a restart of the app loses nothing."""

import secrets
from collections import OrderedDict

import streamlit as st

from dyebook.screens.draft_file import is_draft_name, load_draft, save_draft, throw_old_away

__all__ = ["draft", "forget", "hold_draft", "keep", "put_draft_down", "recall"]

_MOST = 40
_ADDRESS = "draft"
_KEPT = "names of kept widgets"
_SAVED = "mark of the saved draft"


@st.cache_resource(show_spinner=False)
def _all_drafts():
    throw_old_away()
    return OrderedDict()


def hold_draft():
    """Tie this session to its draft by the page's address, which outlives a reload."""
    asked = st.session_state.get(_ADDRESS) or st.query_params.get(_ADDRESS)
    name = asked if is_draft_name(asked) else secrets.token_urlsafe(9)
    st.session_state[_ADDRESS] = st.query_params[_ADDRESS] = name
    drafts = _all_drafts()
    if name not in drafts:
        drafts[name] = load_draft(name)
    drafts.move_to_end(name)
    while len(drafts) > _MOST:
        drafts.popitem(last=False)
    # first thing in every run: a run may be cut short by the next tap before it reaches the widgets
    keep(*draft().get(_KEPT, ()))


def put_draft_down():
    """Write the draft to disk where it has changed; last thing in every run."""
    saved = st.session_state.get(_SAVED)
    st.session_state[_SAVED] = save_draft(st.session_state[_ADDRESS], draft(), saved)


def draft():
    """Return this session's draft, a dict that stays."""
    return _all_drafts().setdefault(st.session_state.get(_ADDRESS, ""), {})


def recall(*keys):
    """Give widgets their last contents back; call before they are drawn."""
    for key in keys:
        if key not in st.session_state and key in draft():
            st.session_state[key] = draft()[key]


def keep(*keys):
    """Keep what the widgets hold, now and from now on; call after they are drawn."""
    draft().update({key: st.session_state[key] for key in keys if key in st.session_state})
    draft()[_KEPT] = tuple(dict.fromkeys([*draft().get(_KEPT, ()), *keys]))


def forget(*keys):
    """Empty widgets at the next run, once their contents are saved."""
    for key in keys:
        draft().pop(key, None)
        st.session_state.pop(key, None)

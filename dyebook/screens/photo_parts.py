"""Which part of a photo is the batch, and which the customer's sample; both side by side."""

import streamlit as st

from dyebook import report_screen as words
from dyebook.screens.drafts import draft, keep, recall
from dyebook.screens.swatch import show_pair

__all__ = ["chosen_part", "compare_with_sample", "sample_index"]

_ALL = "all of them"
_NO_SAMPLE = "not in this photo"


def _names(count):
    return [f"part {number}" for number in range(1, count + 1)]


def chosen_part(photo, count, asked, alone):
    """Return which part of a photo of the roll is the batch; None for all of them.

    Parameters
    ----------
    photo : dict
    count : int
        How many parts it shows.
    asked : bool
        Whether to draw the question: the photo is in view.
    alone : bool
        It is the only photo, so that all its parts may be the batch.
    """
    names = [*_names(count), *([_ALL] if alone else [])]
    if photo.get("kept_part") not in names or (
        asked and count > 1 and photo["kept_part"] == draft().get("sample_part")
    ):
        photo["kept_part"] = _default(count)
        st.session_state.pop("kept_part", None)
    if count > 1 and asked:
        if st.session_state.get("kept_part") not in names:
            st.session_state["kept_part"] = photo["kept_part"]
        photo["kept_part"] = st.radio("The batch is", names, key="kept_part", horizontal=True)
    return None if photo["kept_part"] == _ALL else _names(max(count, 1)).index(photo["kept_part"])


def _default(count):
    """The first part that is not the customer's sample."""
    sample = draft().get("sample_part")
    return next((name for name in _names(max(count, 1)) if name != sample), "part 1")


def sample_index():
    """Return the index of the customer's sample in the photo in view, as it was last said; None without one."""
    choice = draft().get("sample_part", _NO_SAMPLE)
    return None if choice == _NO_SAMPLE else int(choice.split()[-1]) - 1


def compare_with_sample(parts):
    """Ask which part is the customer's sample, and draw the others beside it; nothing where a photo shows one part."""
    if len(parts) < 2:
        draft().pop("sample_part", None)
        return
    names = [_NO_SAMPLE, *_names(len(parts))]
    recall("sample_part")
    if st.session_state.get("sample_part") not in names:
        st.session_state.pop("sample_part", None)
    st.selectbox("The customer's sample is", names, key="sample_part")
    keep("sample_part")
    sample = sample_index()
    if sample is None:
        return
    for index, part in enumerate(parts):
        if index != sample:
            told = f"Part {index + 1} against the sample – {words.difference_text(parts[sample].lab, part.lab)}."
            show_pair(parts[sample].lab, part.lab, ("The sample", f"Part {index + 1}"), [told])

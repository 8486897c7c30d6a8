"""Keeping what was seen: as a new batch with its settings, or with a batch that is in the book already."""

import streamlit as st

from dyebook.jobs.sample import keep_sample
from dyebook.record import DyeRecord
from dyebook.screens.drafts import draft, forget, keep, recall
from dyebook.screens.settings import SETTINGS_KEYS, show_settings, typed_settings

__all__ = ["choose_sample", "show_form", "show_kept"]

_NEW, _MORE = "A new batch", "A batch in the book"
_NO_SAMPLE = "not in this photo"
_STATES = {"not noted": None, "dry": False, "wet": True}
_SEALS = {"not noted": None, "not sealed": False, "sealed": True}
_KEYS = ("keep_as", "batch_number", "kept_part", "wet", "sealed", *SETTINGS_KEYS)


def show_kept():
    """Say what was just kept; True while that is all there is to see."""
    number = draft().get("kept")
    if number is None:
        return False
    st.success(f"Batch {number} is in the book, safely on disk.", icon=":material/check:")
    with st.container(horizontal=True):
        st.button("The next photo", key="next_photo", type="primary", on_click=draft().pop, args=("kept", None))
        if st.button("See the batch", key="see_kept"):
            draft().pop("kept")
            st.session_state["batch"] = number
            st.switch_page(st.session_state["pages"]["book"])
    return True


def show_form(book, content, measurement, parts):
    """Draw the settings and the button that keeps it all.

    Parameters
    ----------
    book : dyebook.book.store.Book
    content : bytes or None
        The photo.
    measurement : Measurement or None
    parts : sequence of Reading
    """
    recall(*_KEYS)
    _take_errand()
    st.subheader("Keep it" if content else "Write it down", anchor=False)
    part = _choose_part(parts)
    if content is None:
        _add_new_batch(book, None, None, 0, {})
        keep(*_KEYS)
        return
    way = st.radio("As", [_NEW, _MORE], key="keep_as", horizontal=True)
    with st.container(horizontal=True):
        wet = _STATES[st.selectbox("The part was read", list(_STATES), key="wet", width=168)]
        sealed = _SEALS[st.selectbox("Its film was", list(_SEALS), key="sealed", width=168)]
    state = {"wet": wet, "sealed": sealed}
    if way == _MORE:
        _add_to_batch(book, content, measurement, part, state)
    else:
        _add_new_batch(book, content, measurement, part, state)
    keep(*_KEYS)


def _take_errand():
    """Somebody came from a batch that wants a photo."""
    number = st.session_state.pop("add_to", None)
    if number is not None:
        st.session_state.update(keep_as=_MORE, batch_number=number)


def choose_sample(count):
    """Ask which of `count` parts in the photo is the customer's sample; its index, or None."""
    names = [f"part {number}" for number in range(1, count + 1)]
    recall("sample_part")
    if st.session_state.get("sample_part") not in names:
        st.session_state.pop("sample_part", None)
    choice = st.selectbox("The customer's sample is", [_NO_SAMPLE, *names], key="sample_part")
    keep("sample_part")
    return names.index(choice) if choice in names else None


def _keep_sample(book, number, measurement):
    """Keep the sample that lay beside a batch, where somebody said which it was."""
    choice = draft().get("sample_part", _NO_SAMPLE)
    if measurement is not None and choice != _NO_SAMPLE:
        keep_sample(book, number, measurement, int(choice.split()[-1]) - 1)


def _choose_part(parts):
    """Index of the part that is the batch; None for all of them."""
    if len(parts) < 2:
        return 0
    names = [f"part {number}" for number in range(1, len(parts) + 1)]
    if st.session_state.get("kept_part") not in (*names, "all of them"):
        st.session_state.pop("kept_part", None)
    chosen = st.radio("The batch is", [*names, "all of them"], key="kept_part", horizontal=True)
    return names.index(chosen) if chosen in names else None


def _add_to_batch(book, content, measurement, part, state):
    number = st.number_input("Number of the batch", min_value=1, step=1, key="batch_number")
    if not st.button("Keep with this batch", key="keep_with", type="primary", width="stretch"):
        return
    row = book.batch(int(number))
    if measurement is None or not measurement.parts:
        book.add_photo(content, row.batch)
    else:
        for index in range(len(measurement.parts)) if part is None else [part]:
            book.add_reading(row.batch, measurement=measurement, part_index=index, photo=content, **state)
    _keep_sample(book, row.batch, measurement)
    _kept(row.batch)


def _add_new_batch(book, content, measurement, part, state):
    show_settings(book)
    if measurement is None and content is not None:
        st.caption("The photo is kept with the batch even though it could not be read; it can be read again later.")
    if not st.button("Save the batch", key="save", type="primary", width="stretch"):
        return
    settings, problems = typed_settings()
    if problems:
        st.error("Not saved yet. " + " ".join(problems))
        return
    record = DyeRecord(**settings, **state)
    seen = measurement if measurement is not None and measurement.parts else None
    number = book.add_batch(record, content, seen, part)
    _keep_sample(book, number, seen)
    _kept(number)


def _kept(number):
    """Empty what belongs to one batch only; settings stay, for the next is often alike."""
    from dyebook.screens.photo_correct import forget_taps

    forget_taps()
    forget("note", "kept_part", "keep_as", "batch_number", "sample_part")
    draft().pop("photo", None)
    draft().update(kept=number, photo_turn=draft().get("photo_turn", 0) + 1)
    st.rerun()

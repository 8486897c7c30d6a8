"""Keep a stepped coupon: one photo of the strip, a batch for each of its bands."""

import streamlit as st

from dyebook import report_shade as words
from dyebook.errors import RecordError
from dyebook.jobs.strip import parse_dwells, record_strip
from dyebook.record import DyeRecord
from dyebook.screens import work
from dyebook.screens.bench_pieces import ask, ask_text
from dyebook.screens.drafts import draft
from dyebook.screens.shade_target import choose_from

__all__ = ["offer_strip"]

_FIGURES = (
    ("film_um", "Film, µm"),
    ("dye_g_per_l", "Dye strength, g/L"),
    ("bath_temp_c", "Bath, °C"),
    ("ph", "pH"),
)
_WET = {"not noted": None, "dry": False, "wet": True}
_KINDS = ["jpg", "jpeg", "png", "heic", "heif", "webp", "tif", "tiff", "dng"]


def offer_strip(book, dye="", bath=""):
    """Draw the form behind its own fold.

    Parameters
    ----------
    book : dyebook.book.store.Book
    dye, bath : str
        Written there already.
    """
    st.caption(words.STRIP_HINT)
    with st.expander("Keep a stepped coupon"):
        if lines := draft().pop("strip_kept", None):
            st.success("In the book, safely on disk.", icon=":material/check:")
            for line in lines:
                st.markdown(line)
        record, dwells, problems = _ask_strip(dye, bath)
        turn = draft().setdefault("strip_turn", 0)
        photo = st.file_uploader("Photo of the whole strip beside the grey card", _KINDS, key=f"strip_photo_{turn}")
        pressed = st.button("Save the bands", key="save_strip", type="primary")
        if pressed and record is None:
            st.error(f"Not saved yet: {problems}.")
            return
        _save(book, pressed, record, dwells, None if photo is None else photo.getvalue())


def _ask_strip(dye, bath):
    """The record that the bands share, their dwells, and what is still missing."""
    left, right = st.columns(2)
    with left:
        dye = ask_text("shade_strip_dye", "Dye", dye or "Harbour blue") or dye
    with right:
        bath = ask_text("shade_strip_bath", "Bath", bath or "B1") or bath
    figures, columns = {}, st.columns(2) * 2
    for column, (name, label) in zip(columns, _FIGURES, strict=True):
        with column:
            figures[name] = ask(f"shade_strip_{name}", label, quantity="ph_a" if name == "ph" else name)
    text = ask_text("shade_strip_dwells", "Times in the dye, blanks between", "16 8 4 2 1 0:30")
    wet = _WET[choose_from("shade_strip_wet", "The strip was read", _WET)]
    given = {name: value for name, value in figures.items() if value is not None}
    missing = [label for name, label in _FIGURES if name != "ph" and name not in given]
    if missing or not dye:
        return None, (), f"{', '.join(missing or ['the dye'])} is still wanted"
    try:
        dwells = parse_dwells(text)
    except RecordError as error:
        return None, (), str(error)
    return DyeRecord(dye=dye, bath=bath or None, dwell_min=dwells[0], wet=wet, **given), dwells, ""


def _save(book, pressed, record, dwells, photo):
    def read(job):
        return record_strip(book, record, dwells, photo, progress=job)

    kept = work.done_once("strip", pressed, "Reading the strip", read)
    if kept is None:
        return
    lines = [words.sentence_text(line) for line in words.strip_text(kept).splitlines()]
    draft().update(
        strip_kept=[*lines, *(words.sentence_text(one) for one in kept.warnings)], strip_turn=draft()["strip_turn"] + 1
    )
    st.rerun()

"""Photo: what was read at once, put right by tapping, and kept as a batch with its settings."""

import hashlib

import streamlit as st

from dyebook import report
from dyebook import report_screen as words
from dyebook.errors import PhotoError
from dyebook.jobs.look import see_photo
from dyebook.screens import photo_correct, photo_keep, shelf
from dyebook.screens.drafts import draft, keep, recall
from dyebook.screens.photo_help import show_tips
from dyebook.screens.swatch import show_swatch

__all__ = ["show"]

_KINDS = ["jpg", "jpeg", "png", "heic", "heif", "webp", "tif", "tiff", "dng", "cr2", "cr3", "nef", "arw", "raf", "orf"]


def show():
    """Draw the page."""
    st.title("Photo", anchor=False)
    book = shelf.the_book()
    if photo_keep.show_kept():
        return
    _take_photo()
    if "photo" not in draft():
        _before_a_photo(book)
        return
    name, content = draft()["photo"]
    try:
        seen = _look(hashlib.sha256(content).hexdigest(), content, name, **_options(book))
    except PhotoError:
        _put_away()
        raise
    if seen.problem:
        st.warning(shelf.sentence(seen.problem), icon=":material/crop_free:")
    left, right = st.columns([3, 2], gap="large")
    with left:
        photo_correct.show_picture(seen)
    with right:
        parts = _show_readings(seen)
        photo_keep.show_form(book, content, seen.measurement, parts)


def _take_photo():
    """Take a photo from the file picker, which on a phone offers the camera too."""
    if "photo" in draft():
        with st.container(horizontal=True, vertical_alignment="center"):
            st.markdown(f"**{draft()['photo'][0]}**", width="content")
            st.button("Take another instead", key="put_away", type="tertiary", on_click=_put_away)
        return
    given = st.file_uploader(
        "A photo of the part beside the grey card",
        type=_KINDS,
        key=f"photo_file_{draft().setdefault('photo_turn', 0)}",
        help="Card and part in the same light, in one plane; fill the frame; no flash.",
    )
    if given is not None:
        photo_correct.forget_taps()
        draft()["photo"] = given.name, given.getvalue()
        st.rerun()


def _put_away():
    photo_correct.forget_taps()
    draft().pop("photo", None)
    draft()["photo_turn"] = draft().get("photo_turn", 0) + 1


def _before_a_photo(book):
    st.markdown(
        "Lay the part and a plain grey card side by side, in the same light. Soft light from a window or a light tent "
        "is best; lamps and bright things behind you show up in polished metal. Let the card be a good thumb's width "
        "away, and fill the picture with both."
    )
    show_tips()
    recall("without_photo")
    if st.session_state.pop("photo_way", None) == "without":
        st.session_state["without_photo"] = True
    without = st.toggle("Write down a batch without a photo", key="without_photo")
    keep("without_photo")
    if without:
        photo_keep.show_form(book, None, None, ())


def _options(book):
    own_card = book.setting("card_lab")
    return {**photo_correct.taps(), "card_lab": tuple(own_card) if own_card else None}


@st.cache_data(max_entries=12, show_spinner="Reading the photo …")
def _look(sha, _content, name, card_at, part_at, no_card, card_lab):
    return see_photo(_content, name, card_at=card_at, part_at=part_at, no_card=no_card, card_lab=card_lab)


def _show_readings(seen):
    """Draw what was read; return the readings."""
    if seen.measurement is None:
        st.subheader("Not read", anchor=False)
        st.markdown("Tap the card's four corners in the picture, or take another photo.")
        return ()
    measurement = seen.measurement
    draft()["last_read"] = draft()["photo"][0], tuple(tuple(part.lab) for part in measurement.parts)
    st.subheader("Read", anchor=False)
    for number, part in enumerate(measurement.parts, start=1):
        title = f"Part {number}" if len(measurement.parts) > 1 else "The part"
        show_swatch(part.lab, title, part.lab_u)
        _show_doubts(part.flags)
        for flaw in part.flaws:
            st.caption(f"Flaw: {words.flaw_text(flaw)}")
    _show_doubts(measurement.flags)
    if measurement.parts:
        st.caption("Swatches are approximate: a screen is not a light booth. ± covers about 95 in 100.")
    for note in measurement.warnings:
        st.caption(f"Note: {note}.")
    _compare(measurement.parts)
    return measurement.parts


def _show_doubts(names):
    for line in report.flag_lines(names):
        meaning, remedy = line.split(": ", 1)
        st.html(f"<div class='doubt'><strong>{meaning}</strong><br>{remedy}</div>")


def _compare(parts):
    """Sample and part side by side, where the photo shows both."""
    if len(parts) < 2:
        return
    sample = photo_keep.choose_sample(len(parts))
    if sample is None:
        return
    for index, part in enumerate(parts):
        if index != sample:
            st.markdown(
                f"**Part {index + 1} against the sample** – {words.difference_text(parts[sample].lab, part.lab)}."
            )

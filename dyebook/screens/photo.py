"""Photo: what was read at once, put right by tapping, and kept as a batch, with a batch, or as a customer's sample."""

import hashlib

import streamlit as st

from dyebook import report
from dyebook import report_screen as words
from dyebook.errors import PhotoError
from dyebook.jobs.look import mean_of, see_photo
from dyebook.screens import photo_correct, photo_keep, photo_options, photo_roll, shelf, work
from dyebook.screens.drafts import draft, keep, recall
from dyebook.screens.photo_help import show_tips
from dyebook.screens.photo_parts import chosen_part, compare_with_sample
from dyebook.screens.photo_shot import Shot
from dyebook.screens.swatch import show_slip, show_swatch

__all__ = ["show"]


def show():
    """Draw the page."""
    st.title("Photo", anchor=False)
    book = shelf.the_book()
    if photo_keep.show_kept(book):
        return
    if not photo_roll.roll():
        if photo_roll.take_photos("A photo of the part beside the grey card", "photo_file"):
            st.rerun()
        _before_a_photo(book)
        return
    _show_roll()
    options = photo_options.options_now(book)
    looks = [_look_at(photo, options) for photo in list(photo_roll.roll())]
    seen = looks[photo_roll.roll().index(photo_roll.in_view())]
    if seen is not None and seen.problem:
        st.warning(shelf.sentence(seen.problem), icon=":material/crop_free:")
    left, right = st.columns([3, 2], gap="large")
    if seen is not None:
        with left:
            photo_correct.show_picture(seen)
            photo_options.ask_options(seen)
    with right:
        if seen is not None:
            _show_readings(seen)
        shots = _shots(looks)
        _show_mean(shots)
        photo_keep.show_form(book, shots)


def _show_roll():
    """The photos by name, with the ways to add one and to put them away."""
    with st.container(horizontal=True, vertical_alignment="center"):
        photo_roll.choose_photo()
        if len(photo_roll.roll()) > 1:
            st.button(
                "Without this one",
                key="take_away",
                type="tertiary",
                on_click=photo_roll.take_away,
                args=(photo_roll.in_view(),),
            )
        st.button("Take another instead", key="put_away", type="tertiary", on_click=photo_roll.clear_roll)
    with st.expander("One more photo of the same batch: they are averaged"):
        if photo_roll.take_photos("Turn the part a little and photograph it again", "more_files"):
            st.rerun()


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
        photo_keep.show_form(book, ())


def _look_at(photo, options):
    """What was seen in a photo; None where somebody stopped the reading, which is said."""
    sha, flat = hashlib.sha256(photo["content"]).hexdigest(), options["flat"]
    asked = {**{name: value for name, value in options.items() if name != "cameras"}, **photo_correct.taps_of(photo)}
    marks = {**asked, "flat": flat and hashlib.sha256(flat).hexdigest(), "cameras": options["cameras"]}
    key = sha, photo["name"], tuple(sorted(marks.items()))

    def look(job):
        return see_photo(photo["content"], photo["name"], progress=job, **asked)

    try:
        return work.done("photo", key, f"Reading {photo['name']}", look, most=12)
    except work.StoppedError as stopped:
        work.show_stopped(stopped)
        return None
    except PhotoError:
        photo_roll.take_away(photo)
        raise


def _shots(looks):
    """The photos with what was read in them, and which part of each is meant."""
    photos = photo_roll.roll()
    shots = []
    for photo, seen in zip(photos, looks, strict=True):
        measurement = seen and seen.measurement
        count = len(measurement.parts) if measurement is not None else 0
        asked = photo is photo_roll.in_view()
        part = chosen_part(photo, count, asked, alone=len(photos) == 1)
        shots.append(Shot(photo["content"], measurement, part))
    return shots


def _show_readings(seen):
    """Draw what was read in the photo in view."""
    if seen.measurement is None:
        st.subheader("Not read", anchor=False)
        st.markdown("Tap the card's four corners in the picture, or take another photo.")
        return
    measurement = seen.measurement
    draft()["last_read"] = photo_roll.in_view()["name"], tuple(tuple(part.lab) for part in measurement.parts)
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
    compare_with_sample(measurement.parts)


def _show_doubts(names):
    for line in report.flag_lines(names):
        meaning, remedy = line.split(": ", 1)
        st.html(f"<div class='doubt'><strong>{meaning}</strong><br>{remedy}</div>")


def _show_mean(shots):
    """What the photos say together, where there are several."""
    read = [shot.reading for shot in shots if shot.reading is not None]
    if len(shots) < 2 or not read:
        return
    lab, lab_u, apart = mean_of(read)
    lines = [report.lab_text(lab, lab_u), f"no photo is further than {words.distance_text(apart)} from it"]
    show_slip(lab, f"Mean of {len(read)} photos", lines)
    if len(read) < len(shots):
        st.caption("Photos without a reading are kept with the batch, and count for nothing.")

"""Photo: what was read at once, put right by tapping, and kept as a batch, with a batch, or as a customer's sample.

Photos are read as the book says (`dyebook.jobs.photo.read_options`); a fold under the picture chooses another learned
camera, the plain paper and the mat's line.
"""

from dataclasses import replace

import streamlit as st

from dyebook.book.setups import keep_twin, list_setups, name_setup, twin_of, version_of
from dyebook.errors import PhotoError, RecordError
from dyebook.jobs.photo import FITTING, known_cameras, mean_of, read_options, see_photo
from dyebook.report import photo as report_photo
from dyebook.report import words as report_words
from dyebook.report.photo import PHOTO_TIPS, PHOTO_TITLE
from dyebook.screens import session, tasks
from dyebook.screens.answers import deed, show_flags
from dyebook.screens.apart import apart
from dyebook.screens.drafts import draft, keep, mark_of, recall
from dyebook.screens.navigation import go_to
from dyebook.screens.photo import correct as photo_correct
from dyebook.screens.photo import keep as photo_keep
from dyebook.screens.photo import roll as photo_roll
from dyebook.screens.photo.keep import chosen_part, compare_with_sample
from dyebook.screens.photo.roll import Shot, take_file
from dyebook.screens.piece import held
from dyebook.screens.swatch import show_slip, show_swatch
from dyebook.units import parse_quantity

__all__ = ["ask_options", "options_now", "show", "show_tips"]


def show_tips():
    """Draw the tips, folded away."""
    with st.expander(PHOTO_TITLE):
        for tip in PHOTO_TIPS:
            st.markdown(f"- {tip}")


FITS, NONE = "the one that fits the photo", "none: as most cameras are"
_KEYS = ("photo_camera", "mat_line_mm")
# no printer is further off than that
_LINE_MM = (80, 120)


def options_now(book):
    """Return how photos are read by what was chosen, a `ReadOptions`."""
    cameras = {FITS: FITTING, **{name: name for name, _ in known_cameras()}}
    flat = draft().get("flat")
    return read_options(
        book,
        camera=cameras.get(draft().get("photo_camera", FITS)),
        flat=flat[1] if flat else None,
        mat_line_mm=_mat_line(),
    )


def ask_options(seen):
    """Draw the choices, and say which camera was used."""
    with st.expander(_heading(seen)):
        recall(*_KEYS)
        names = [FITS, NONE, *(name for name, _ in known_cameras())]
        if st.session_state.get("photo_camera") not in names:
            st.session_state["photo_camera"] = FITS
        st.selectbox("Learned camera", names, key="photo_camera", help=_CAMERA)
        _ask_flat()
        st.text_input("Ruler line on the photo mat by calipers, mm", key="mat_line_mm", placeholder="100", help=_MAT)
        keep(*_KEYS)
        if _mat_line() is None:
            st.caption(f":material/priority_high: the line is between {_LINE_MM[0]} and {_LINE_MM[1]} mm long.")
        if st.button("Learn a camera, print the mat", key="to_camera", type="tertiary"):
            go_to("camera")


_CAMERA = "Learned on the Camera page from one photo of a 24-patch chart; it is offered where camera and photo match."
_MAT = "Only where the printer did not keep to scale: areas are then right all the same."


def _heading(seen):
    camera = seen.measurement and seen.measurement.options["camera"]
    used = f"learned camera {camera}" if camera else "no learned camera"
    return f"Read with {used}" + (", against plain paper" if draft().get("flat") else "")


def _ask_flat():
    if flat := draft().get("flat"):
        with st.container(horizontal=True, vertical_alignment="center"):
            st.markdown(f"Light evened by **{report_words.plain(flat[0])}**", width="content")
            st.button("Without it", key="no_flat", type="tertiary", on_click=draft().pop, args=("flat", None))
        return
    given = st.file_uploader(
        "Plain paper in the same light and frame, to even the light",
        type=["jpg", "jpeg", "png", "heic", "webp"],
        key=f"flat_file_{draft().setdefault('flat_turn', 0)}",
    )
    if given is not None:
        draft().update(flat=(given.name, take_file(given)), flat_turn=draft()["flat_turn"] + 1)
        st.rerun()


def _mat_line():
    """Length of the mat's line in mm as typed; None while it is empty or makes no sense, which is said at its field."""
    try:
        length = parse_quantity("line_mm", str(draft().get("mat_line_mm") or "100"))
    except RecordError:
        return None
    return length if _LINE_MM[0] <= length <= _LINE_MM[1] else None


def show(book=None):
    """Draw the page, or the bench's step in its open book: the photo and the verdict of the piece in hand."""
    piece = held(book) if book is not None else None
    if book is None:
        st.title("Photo", anchor=False)
        book = session.the_book()
    if photo_keep.show_kept(book, piece):
        return
    of_piece = piece.batch.batch if piece and piece.batch else None
    if of_piece:
        st.markdown(f"**Batch {of_piece}** is in the book; it is photographed beside the grey card.")
    if not photo_roll.roll():
        place = st.container()
        with_form = _before_a_photo(book, of_piece)
        with place, st.container() if with_form else deed():
            taken = photo_roll.take_photos("A photo of the part beside the grey card", "photo_file")
        if taken:
            st.rerun()
        return
    _show_roll()
    options = options_now(book)
    looks = [_look_at(book, photo, options) for photo in list(photo_roll.roll())]
    seen = looks[photo_roll.roll().index(photo_roll.in_view())]
    if seen is not None and seen.problem:
        st.warning(report_words.plain(session.sentence(seen.problem)), icon=":material/crop_free:")
    left, right = st.columns([3, 2], gap="large")
    if seen is not None:
        with left:
            photo_correct.show_picture(seen)
            ask_options(seen)
    with right:
        if seen is not None:
            _show_readings(book, seen)
        shots = _shots(looks)
        _show_mean(shots)
        photo_keep.show_form(book, shots, of_piece)


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


def _before_a_photo(book, of_piece):
    """Draw what makes a good photo and, where none is in hand, the form of a batch without one; True with the form."""
    st.markdown(
        "Lay the part and a plain grey card side by side, in the same light. Soft light from a window or a light tent "
        "is best; lamps and bright things behind you show up in polished metal. Let the card be a good thumb's width "
        "away, and fill the picture with both."
    )
    show_tips()
    if of_piece:
        return False
    recall("without_photo")
    without = st.toggle("Write down a batch without a photo", key="without_photo")
    keep("without_photo")
    if without:
        photo_keep.show_form(book, ())
    return without


def _look_at(book, photo, options):
    """What was seen in a photo; None where the reading was stopped, which is said."""
    options = replace(options, **photo_correct.taps_of(photo))
    if options.twin_at is not None:
        options = replace(options, twin_lab=twin_of(book, photo.get("setup_key")))
    # a camera learned anew is another camera
    key = mark_of(photo["content"]), photo["name"], options, known_cameras()
    read = apart(see_photo, photo["content"], options, photo["name"])
    try:
        return tasks.done("photo", key, f"Reading {photo['name']}", read, most=12)
    except tasks.StoppedError as stopped:
        tasks.show_stopped(stopped)
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


_JUDGED_BY = ("lab", "lab_u", "lab_cov_parts", "setup", "photo_sha256", "shape_key", "finish")


def _show_readings(book, seen):
    """Draw what was read in the photo in view."""
    if seen.measurement is None:
        st.subheader("Not read", anchor=False)
        st.markdown("Tap the card's four corners in the picture, or take another photo.")
        return
    measurement = seen.measurement
    draft()["last_read"] = (photo_roll.in_view()["name"],)
    plain = [part.to_dict() for part in measurement.parts]
    draft()["last_parts"] = [{name: part[name] for name in _JUDGED_BY} for part in plain]
    st.subheader("Read", anchor=False)
    for number, part in enumerate(measurement.parts, start=1):
        title = f"Part {number}" if len(measurement.parts) > 1 else "The part"
        show_swatch(part.lab, title, part.lab_u)
        for line in report_photo.gloss_text(part):
            st.caption(f"{report_words.capital(line)}.")
        show_flags(report_photo.flag_lines(part.flags))
        for flaw in part.flaws:
            st.caption(f"Flaw: {report_photo.flaw_text(flaw)}")
    show_flags(report_photo.flag_lines(measurement.flags))
    for line in report_photo.step_lines(measurement.next_step):
        st.markdown(f":material/tips_and_updates: {report_words.plain(session.sentence(line))}")
    if measurement.parts:
        st.caption(f"Swatches are approximate: a screen is not a light booth. {report_words.PLUS_MINUS}")
    for note in measurement.warnings:
        st.caption(f"Note: {report_words.plain(note)}.")
    if measurement.parts:
        setup = measurement.parts[0].setup
        photo_roll.in_view()["setup_key"] = setup["key"]
        drawn = session.as_drawn(f"setup {setup['key']}", version_of(book, setup["key"]))
        if photo_roll.in_view().get("twin_at"):
            _ask_twin(book, setup["key"], drawn)
        _show_setup(book, setup, drawn)
    compare_with_sample(book, measurement.parts)


def _ask_twin(book, key, drawn):
    """Say that the parts are read in the light of their bare twin, and let its own colour be told."""
    told = twin_of(book, key)
    with st.expander("Read in the light of the bare twin" + ("" if told else ", its own colour taken as usual")):
        now = "" if told is None else ", ".join(f"{value:g}" for value in told)
        text = st.text_input("The twin's own L*, a*, b* by an instrument", now, key="twin_lab", placeholder="81, 0, -1")
        if st.button("Keep it with the set-up", key="keep_twin", disabled=text.strip() == now):
            keep_twin(book, key, text.strip() or None, drawn)
            st.rerun()


def _show_setup(book, setup, drawn):
    """Say in which set-up a photo was taken, with a name for it at one tap."""
    uses = list_setups(book)
    use = next((one for one in uses if setup["key"] in one.keys), None)
    named = setup["name"] or (use and use.name)
    with st.expander(
        f"Set-up: {(named and report_words.plain(named)) or ('not named yet' if use else 'new, not seen before')}"
    ):
        st.caption("Camera, lamp, card and place. Readings of one set-up are compared most surely; give it a name.")
        others = [one.name for one in uses if one.name and one.name != named]
        for number, name in enumerate(dict.fromkeys(others)):
            label = f"It is {report_words.plain(name)}"
            if st.button(label, key=f"setup_is_{number}"):
                name_setup(book, setup["key"], name, drawn)
                st.rerun()
        name = st.text_input("Its name", key="setup_name", placeholder="window bench")
        if st.button("Name it", key="name_setup", disabled=not name.strip()):
            name_setup(book, setup["key"], name, drawn)
            st.rerun()


def _show_mean(shots):
    """What the photos say together, where there are several."""
    read = [shot.reading for shot in shots if shot.reading is not None]
    if len(shots) < 2 or not read:
        return
    lab, lab_u, apart = mean_of(read)
    lines = [report_words.lab_text(lab, lab_u), f"no photo is further from it than {report_words.distance_text(apart)}"]
    show_slip(lab, f"Mean of {len(read)} photos", lines)
    if len(read) < len(shots):
        st.caption("Photos without a reading are kept with the batch, and count for nothing.")

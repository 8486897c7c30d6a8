"""How a photo is read: with which learned camera, against which sheet of plain paper, on which print of the mat."""

import streamlit as st

from dyebook.errors import RecordError
from dyebook.jobs.look import known_cameras
from dyebook.screens.drafts import draft, keep, recall
from dyebook.screens.given import take_bytes
from dyebook.units import parse_quantity

__all__ = ["ask_options", "options_now"]

FITS, NONE = "the one that fits the photo", "none: as most cameras are"
_KEYS = ("photo_camera", "mat_line_mm")
# no printer is further off than that
_LINE_MM = (80, 120)


def options_now(book):
    """Return what was chosen, as options of `dyebook.jobs.look.see_photo`; hashable."""
    chosen = draft().get("photo_camera", FITS)
    names = {name for name, _ in known_cameras()}
    own_card = book.setting("card_lab")
    flat = draft().get("flat")
    return {
        "camera": chosen if chosen in names else None,
        "own_camera": chosen == FITS,
        "cameras": known_cameras(),
        "card_lab": tuple(own_card) if own_card else None,
        "flat": flat[1] if flat else None,
        "mat_line_mm": _mat_line(),
    }


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
            st.switch_page(st.session_state["pages"]["camera"])


_CAMERA = "Learned on the Camera page from one photo of a 24-patch chart; it is offered where camera and photo match."
_MAT = "Only where the printer did not keep to scale: areas are then right all the same."


def _heading(seen):
    used = f"learned camera {seen.camera}" if seen.camera else "no learned camera"
    return f"Read with {used}" + (", against plain paper" if draft().get("flat") else "")


def _ask_flat():
    if flat := draft().get("flat"):
        with st.container(horizontal=True, vertical_alignment="center"):
            st.markdown(f"Light evened by **{flat[0]}**", width="content")
            st.button("Without it", key="no_flat", type="tertiary", on_click=draft().pop, args=("flat", None))
        return
    given = st.file_uploader(
        "Plain paper in the same light and frame, to even the light",
        type=["jpg", "jpeg", "png", "heic", "webp"],
        key=f"flat_file_{draft().setdefault('flat_turn', 0)}",
    )
    if given is not None:
        draft().update(flat=(given.name, take_bytes(given)), flat_turn=draft()["flat_turn"] + 1)
        st.rerun()


def _mat_line():
    """Length of the mat's line in mm as typed; None while it is empty or makes no sense, which is said at its field."""
    try:
        length = parse_quantity("line_mm", str(draft().get("mat_line_mm") or "100"))
    except RecordError:
        return None
    return length if _LINE_MM[0] <= length <= _LINE_MM[1] else None

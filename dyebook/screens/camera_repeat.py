"""How well readings repeat: one coupon, photographed again and again."""

import re

import streamlit as st

from dyebook.jobs.camera import check_repeats
from dyebook.photo.camera_store import list_cameras
from dyebook.report_camera import repeatability_text
from dyebook.screens import work
from dyebook.screens.drafts import draft
from dyebook.screens.shelf import the_book

__all__ = ["show"]

_FEWEST, _ENOUGH = 3, 10
_NONE = "none"


def show():
    """Draw the check; its result stays until another is made."""
    with st.expander("Check how well readings repeat"):
        st.markdown(
            f"Photograph one coupon {_ENOUGH} times beside the card, lifting and laying it anew each time. The spread "
            "is what your hands, light and camera add; no difference smaller than twice that can be seen in one photo."
        )
        camera = st.selectbox("Read with", [_NONE, *(camera.name for camera in list_cameras())], key="repeat_camera")
        given = st.file_uploader(
            "The photos", type=["jpg", "jpeg", "png", "heic"], accept_multiple_files=True, key="repeat_files"
        )
        few = len(given) < _FEWEST
        if given and few:
            st.caption(f"{len(given)} of at least {_FEWEST}; {_ENOUGH} tell more.")
        spread = _ask_spread()
        asked = st.button("Read them all", key="check_repeats", disabled=few or spread == ())
        lines = _check(asked, given, None if camera == _NONE else camera, spread)
        if lines is not None:
            draft()["repeats"] = lines
        for line in draft().get("repeats", ()):
            st.markdown(line)


def _ask_spread():
    """Spread of the shop's batches per L*, a*, b*; None where nothing was typed, empty where it makes no sense."""
    text = st.text_input(
        "Spread of your batches, where known", key="repeat_spread", placeholder="1.5 1.0 1.2", help=_SPREAD
    )
    figures = [float(figure) for figure in re.findall(r"\d+(?:\.\d+)?", text or "")]
    if not text:
        return None
    if len(figures) == 3 and min(figures) > 0:
        return tuple(figures)
    st.caption(":material/priority_high: three figures above 0 are needed, for L*, a* and b*, such as 1.5 1.0 1.2")
    return ()


_SPREAD = (
    "Standard deviations of L*, a* and b* over batches that should be alike. The reading's share of the whole "
    "spread is then told: under 10 % is good, over 30 % means that the readings cannot tell your batches apart."
)


def _check(asked, given, camera, spread):
    """Lines of words about the spread, once they were asked for."""
    photos, book = [(one.name, one.getvalue()) for one in given], the_book()

    def read(job):
        told = check_repeats(photos, camera, lambda done: job(f"{done} of {len(photos)} photos read"), book, spread)
        return tuple(line.strip().removeprefix("! ") for line in repeatability_text(told, camera).splitlines())

    return work.done_once("check repeats", asked, "Reading the coupon's photos", read)

"""How well readings repeat: one coupon, photographed again and again."""

import streamlit as st

from dyebook.jobs.camera import check_repeats
from dyebook.photo.camera_store import list_cameras
from dyebook.report_camera import repeatability_text
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
        if st.button("Read them all", key="check_repeats", disabled=few):
            draft()["repeats"] = _check(given, None if camera == _NONE else camera)
        for line in draft().get("repeats", ()):
            st.markdown(line)


def _check(given, camera):
    """Lines of words about the spread; the bar shows how far it is, and Stop at the top of the page ends it."""
    bar = st.progress(0.0, "Reading …")
    photos = [(one.name, one.getvalue()) for one in given]

    def progress(done):
        bar.progress(done / len(photos), f"{done} of {len(photos)} read")

    told = check_repeats(photos, camera, progress, the_book())
    bar.empty()
    return tuple(line.strip() for line in repeatability_text(told).splitlines())

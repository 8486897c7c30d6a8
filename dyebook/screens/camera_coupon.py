"""The check coupon: its chart over the days, and what to do when it leaves its kept colour."""

from datetime import date

import streamlit as st

from dyebook import report_camera as words
from dyebook.jobs import check_coupon
from dyebook.jobs.look import known_cameras
from dyebook.plots_trouble import plot_coupon
from dyebook.screens import camera_coupon_photo
from dyebook.screens.drafts import draft
from dyebook.screens.shelf import friendly_errors, the_book

__all__ = ["show", "show_chart"]

_NONE = "no learned camera"
_RULE = (
    "ΔL* lightness, ΔC* strength of colour, ΔH* hue: the mean of each day's photos against that of the first six days. "
    "One rule decides, for each line: a running sum of what lies beyond its usual scatter; a coupon and a camera that "
    "stay put set each line off about once in {length:.0f} days. Dotted upright: the day it left."
)


def show():
    """Draw the section."""
    book = the_book()
    st.subheader("Check coupon", anchor=False)
    st.markdown(
        "One dyed piece, kept unchanged and away from light, photographed each day beside the same card under the same "
        "lamp. It should read the same every day; when it does not, the phone, the lamp or the card has moved, not "
        "your baths."
    )
    cameras = check_coupon.coupon_cameras(book)
    left, right = st.columns([2, 3], gap="large")
    with left:
        camera = _choose_camera(cameras)
        with friendly_errors():
            camera_coupon_photo.show(book, camera)
    with right:
        told = check_coupon.coupon_days(book, camera)
        if told is None:
            how = f"with {camera}" if camera else "without a learned camera"
            st.markdown(f"No day read {how} yet. Seven days tell what is usual; begin with today's photo.")
            return
        show_chart(told)
        _show_days(book, told)


def show_chart(told):
    """Draw what the days tell, in words and as a chart."""
    head, lines = words.coupon_words(told)
    st.markdown(f"**{head}**")
    for line in lines:
        st.markdown(line)
    figure = plot_coupon(told.differences, told.since, told.put_right)
    st.plotly_chart(figure, key="coupon_chart", config={"displayModeBar": False})
    if told.drift is not None:
        st.caption(_RULE.format(length=told.drift.run_length))


def _choose_camera(cameras):
    """The learned camera to read with; empty for none. It begins with the one that read the coupon last."""
    names = [name for name, _ in known_cameras()]
    choices = list(dict.fromkeys([*(one for one in cameras if one in names or one == ""), *names, ""]))
    if st.session_state.get("coupon_camera") not in choices:
        st.session_state["coupon_camera"] = draft().get("coupon_camera", choices[0])
    chosen = st.selectbox(
        "Read with",
        choices,
        key="coupon_camera",
        format_func=lambda name: name or _NONE,
        help="Each camera has days of its own: their readings are not compared.",
    )
    draft()["coupon_camera"] = chosen
    return chosen


def _show_days(book, told):
    rows = words.coupon_rows(told)
    st.table({"Day": [row[0] for row in rows], **{name: [row[k] for row in rows] for k, name in _COLUMNS}})
    last = told.days[-1][0]
    with st.container(horizontal=True):
        if st.button("Take the last day back", key="coupon_take_back", type="tertiary"):
            check_coupon.take_back(book, told.camera, last)
            st.rerun()
        if told.moves and st.button("It was put right today", key="coupon_put_right", type="tertiary"):
            check_coupon.put_right(book, told.camera, date.today().isoformat())
            st.rerun()
        if told.put_right and st.button("It was not put right after all", key="coupon_not_right", type="tertiary"):
            check_coupon.put_right(book, told.camera, None)
            st.rerun()
    with st.expander("Another piece, another lamp for good, or the camera learned anew?"):
        st.markdown(
            "What was usual before is so no longer: the days are then counted, and held to, from a new first one."
        )
        first = st.date_input("Count from", date.fromisoformat(last), key="coupon_from", format="YYYY-MM-DD")
        with st.container(horizontal=True):
            if st.button("Count from that day", key="coupon_count_from"):
                check_coupon.count_from(book, told.camera, first.isoformat())
                st.rerun()
            if told.earlier and st.button("Count all days again", key="coupon_count_all", type="tertiary"):
                check_coupon.count_from(book, told.camera, None)
                st.rerun()


_COLUMNS = ((1, "ΔL*"), (2, "ΔC*"), (3, "ΔH*"))

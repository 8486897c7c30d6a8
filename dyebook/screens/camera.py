"""Camera: learned from one photo of a 24-patch chart; its check coupon; how well it repeats; the sheets to print."""

import re
import tempfile
from pathlib import Path

import streamlit as st

from dyebook.book.setups import list_setups, take_name_back
from dyebook.jobs.camera import check_repeats, forget_learned, keep_learned, learn_from, print_mat
from dyebook.jobs.check_coupon import coupon_cameras
from dyebook.jobs.verdict import coupon_steps, take_step
from dyebook.photo.camera.chart import PATCHES
from dyebook.photo.camera.store import list_cameras
from dyebook.report import camera as report_camera
from dyebook.report.batches import change_text
from dyebook.report.camera import repeatability_text
from dyebook.report.words import moment_text, plain
from dyebook.screens import coupon, tasks
from dyebook.screens.answers import name_page, offer_pdf, show_flags
from dyebook.screens.apart import apart, read_apart
from dyebook.screens.drafts import draft, forget, keep, mark_of, recall
from dyebook.screens.photo.roll import take_file
from dyebook.screens.session import friendly_errors, sentence, tap, the_book
from dyebook.screens.swatch import tap_corners

__all__ = ["show", "show_repeat"]

_TABLES = {"the one that fits": None, "made before November 2014": "before-2014", "made since": "after-2014"}
_KEYS = ("camera_name", "chart_left_out", "chart_table")
_CENTRES = (
    "Tap the middle of the first patch, dark skin.",
    "Now the last of that row, bluish green.",
    "Now the black one, in the corner below it.",
    "And the white one, the last corner.",
)


def show():
    """Draw the page."""
    name_page("Camera")
    st.markdown(
        "Every camera bends colours its own way. One photo of a 24-patch colour chart, in the light you work in, "
        "teaches the book how yours does; readings then come out closer, and say so."
    )
    # the day's work comes first once it has begun
    daily = bool(coupon_cameras(the_book()))
    if daily:
        with friendly_errors():
            coupon.show()
    left, right = st.columns([3, 2], gap="large")
    with left, friendly_errors():
        st.subheader("Learn a camera", anchor=False)
        _learn()
    with right, friendly_errors():
        _show_known()
        show_repeat()
        _show_setups(the_book())
        _offer_mat()
        _tell_flat()
    if not daily:
        with friendly_errors():
            coupon.show()


def _learn():
    if "chart" not in draft():
        _take_chart()
        return
    name, content = draft()["chart"]
    with st.container(horizontal=True, vertical_alignment="center"):
        st.markdown(f"**{plain(name)}**", width="content")
        st.button("Take another photo", key="chart_away", type="tertiary", on_click=_put_away)
    recall(*_KEYS)
    left_out = st.multiselect(
        "Patches to leave out", PATCHES, key="chart_left_out", help="Shadowed, dirty or covered ones."
    )
    table = st.selectbox("The chart was", list(_TABLES), key="chart_table", help="The maker changed its pigments then.")
    keep(*_KEYS)
    numbers = tuple(sorted(PATCHES.index(patch) for patch in left_out))
    asked = name, draft().get("chart_at"), numbers, _TABLES[table]
    key = mark_of(content), *asked
    learned = tasks.done("camera", key, f"Learning the camera from {name}", apart(learn_from, content, *asked), most=4)
    if learned.problem:
        st.warning(plain(sentence(learned.problem)), icon=":material/crop_free:")
    _show_chart(learned)
    if learned.profile is not None:
        _show_learned(learned)


def _take_chart():
    given = st.file_uploader(
        "A photo of the chart, flat, evenly lit, as large as the frame allows",
        type=["jpg", "jpeg", "png", "heic", "heif", "webp", "tif", "tiff", "dng"],
        key=f"chart_file_{draft().setdefault('chart_turn', 0)}",
        help="The same light and exposure as your photos of parts; no flash, no filter.",
    )
    if given is not None:
        draft()["chart"] = given.name, take_file(given)
        st.rerun()


def _put_away():
    for key in ("chart", "chart_at"):
        draft().pop(key, None)
    forget("chart_left_out")
    draft()["chart_turn"] = draft().get("chart_turn", 0) + 1


def _show_chart(learned):
    tapping = learned.profile is None or st.toggle("Tap the chart by hand", key="tap_chart")
    if not tapping:
        st.image(learned.overlay, width="stretch", alt="The chart with the patches that were read outlined")
        st.caption("Outlined: what was read of each patch, numbered from 0 as they are read, row by row.")
        return
    turn = draft().setdefault("chart_turn", 0)
    enough = "Drag a point to move it, then measure again."
    begin = draft().get("chart_at") or ()
    tapped = tap_corners(learned.plain, learned.size, f"chart_taps_{turn}", _CENTRES, enough, 4, 4, begin, turn)
    if tapped:
        draft()["chart_at"] = tapped
        st.rerun()
    if draft().get("chart_at"):
        st.button("Find the chart by itself again", key="chart_again", on_click=draft().pop, args=("chart_at", None))


def _show_learned(learned):
    head, lines = report_camera.learned_words(learned.profile, PATCHES)
    st.markdown(f"**{head}**")
    for line in lines:
        st.markdown(line)
    show_flags(report_camera.flag_lines(learned.profile.flags))
    recall("camera_name")
    name = st.text_input("Call it", key="camera_name", placeholder="bench phone, window light")
    keep("camera_name")
    known = {camera.name for camera in list_cameras()}
    again = name.strip() in known
    label = f"Learn {name.strip()} anew" if again else "Keep this camera"
    if st.button(label, key="keep_camera", type="primary", disabled=not name.strip()):
        keep_learned(the_book(), learned.named(name.strip()))
        _put_away()
        forget("camera_name")
        st.rerun()


def _show_known():
    st.subheader("Learned so far", anchor=False)
    cameras = list_cameras()
    if not cameras:
        st.markdown("None yet: photos are read as most cameras see.")
    for number, camera in enumerate(cameras):
        with st.container(key=f"todo_camera_{number}", horizontal=True, vertical_alignment="center"):
            st.markdown(report_camera.camera_line(camera), width="stretch")
            st.button("Forget", key=f"forget_camera_{number}", type="tertiary", on_click=_forget, args=(camera,))
    gone = draft().get("camera_forgotten")
    if gone is not None and gone not in (camera.name for camera in cameras):
        st.button(f"Bring {gone} back", key="camera_back", on_click=_bring_back)


def _forget(camera):
    forget_learned(the_book(), camera.name)
    draft()["camera_forgotten"] = camera.name
    st.session_state["camera_gone"] = camera


def _bring_back():
    draft().pop("camera_forgotten", None)
    if (camera := st.session_state.pop("camera_gone", None)) is not None:
        keep_learned(the_book(), camera)


def _show_setups(book):
    """The set-ups that photos were taken in, their names to take back, and their steps on the check coupon."""
    rows = {row["key"]: row for row in book.rows("setups") if row["name"]}
    st.subheader("Set-ups", anchor=False)
    st.markdown("Camera, lamp, card and place; they get their names on the Photo page.")
    for use in list_setups(book):
        st.markdown(f"**{plain(report_camera.setup_line(use))}**")
        for key, first, _ in use.of_keys:
            if key in rows:
                for change in book.history("setups", rows[key]["id"]):
                    st.caption(plain(change_text(change)))
                which = f" from what began {moment_text(first)}" if len(use.of_keys) > 1 else ""
                label = plain(f"Take the name {use.name} back{which}")
                back = tap(take_name_back, book, key, rows[key]["version"])
                st.button(label, key=f"name_back_{key}", type="tertiary", **back)
    for number, step in enumerate(coupon_steps(book)):
        st.markdown(f"{plain(report_camera.step_line(step))}.")
        label = "Leave it in again" if step.taken else "Take it off verdicts"
        deed = tap(take_step, book, step.here, step.there, not step.taken)
        st.button(label, key=f"take_step_{number}", type="tertiary", **deed)


def _offer_mat():
    st.subheader("The photo mat", anchor=False)
    st.markdown("A sheet with marks at its corners: card and parts are laid on it, and every part's area is read too.")
    offer_pdf("Mat to print", _mat_pdf, "mat", "photo_mat")


def _mat_pdf(paper):
    with tempfile.TemporaryDirectory() as folder:
        print_mat(file := Path(folder) / "mat.pdf", paper)
        return file.read_bytes()


def _tell_flat():
    with st.expander("Even the light with a sheet of plain paper"):
        st.markdown(
            "Where the light falls off across the picture, photograph a sheet of plain matt paper that fills the "
            "frame, with camera and lamps left as they are. Give it on the Photo page, under the picture, together "
            "with the photo of the part: the light is then evened by what the paper shows."
        )


_FEWEST, _ENOUGH = 3, 10
_NONE = "none"


def show_repeat():
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
    "spread is then shown: under 10 % is good, over 30 % means that the readings cannot tell your batches apart."
)


def _check(asked, given, camera, spread):
    """Lines of words about the spread, once they were asked for."""
    book = the_book()

    def read(job):
        photos = [(one.name, one.getvalue()) for one in given]
        stage = lambda done: job(f"{done} of {len(photos)} photos read")  # noqa: E731
        found = check_repeats(book, photos, spread, stage, read=read_apart(job), camera=camera)
        return tuple(line.strip().removeprefix("! ") for line in repeatability_text(found, camera).splitlines())

    return tasks.done_once("check repeats", asked, "Reading the coupon's photos", read)

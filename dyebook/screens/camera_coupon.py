"""The check coupon: today's photo of it, its chart over the days, and what to do when it leaves its kept colour."""

import hashlib
from dataclasses import replace
from datetime import date

import streamlit as st

from dyebook import report
from dyebook import report_camera as words
from dyebook.jobs import check_coupon
from dyebook.jobs.look import known_cameras, see_photo
from dyebook.lab import delta_e_00
from dyebook.plots_trouble import plot_coupon
from dyebook.report_screen import distance_text
from dyebook.screens import work
from dyebook.screens.drafts import draft
from dyebook.screens.given import take_bytes
from dyebook.screens.photo_roll import KINDS
from dyebook.screens.pieces import tap_corners
from dyebook.screens.shelf import sentence, the_book
from dyebook.screens.swatch import show_swatch

__all__ = ["show", "show_chart"]

_NONE = "no learned camera"
# further off than any lamp or card makes it: most likely another piece
_ANOTHER_PIECE = 12.0
_OUTLINE = ("Tap around the coupon, corner after corner.", "Go on around it.", "At least one more.")
_RULE = (
    "Of each day the mean of its photos, against the mean of the first six days. One rule decides, for each line: a "
    "running sum of what lies beyond its usual scatter; a coupon and a camera that stay put set it off about once in "
    "{length:.0f} days. Dotted upright: the day it left."
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
        _take_today(book, camera)
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


def _take_today(book, camera):
    shots = draft().setdefault("coupon_shots", [])
    turn = draft().setdefault("coupon_turn", 0)
    day = st.date_input("Photographed on", date.today(), max_value=date.today(), key="coupon_day", format="YYYY-MM-DD")
    given = st.file_uploader(
        "Today's photos of it; two or three are averaged",
        type=KINDS,
        accept_multiple_files=True,
        key=f"coupon_file_{turn}",
        help="The coupon alone beside the card, on a plain ground; lamp, place and phone as every day.",
    )
    if given:
        shots.extend({"name": one.name, "content": take_bytes(one)} for one in given)
        draft()["coupon_turn"] = turn + 1
        st.rerun()
    seen = [_show_shot(number, shot, camera) for number, shot in enumerate(shots)]
    ready = bool(seen) and all(one is not None for one in seen)
    if ready:
        _show_against(check_coupon.coupon_days(book, camera), [one.parts[0].lab for one in seen])
    if seen and st.button("Keep as this day's reading", key="keep_coupon_day", type="primary", disabled=not ready):
        kept = [(one, (shot["name"], shot["content"])) for one, shot in zip(seen, shots, strict=True)]
        check_coupon.keep_day(book, kept, camera, day)
        draft().pop("coupon_shots")
        st.rerun()


def _show_shot(number, shot, camera):
    """Draw a photo with what was read; its measurement with the coupon as its only part, or None until it has one."""
    seen = _look(shot, camera)
    with st.container(horizontal=True, vertical_alignment="center"):
        st.markdown(f"**{shot['name']}**", width="content")
        if st.button("Put away", key=f"coupon_away_{number}", type="tertiary"):
            draft()["coupon_shots"].remove(shot)
            st.rerun()
    if seen.measurement is None:
        st.warning(sentence(seen.problem), icon=":material/crop_free:")
        st.image(seen.plain, width="stretch", alt="The photo, not read")
        return None
    measurement = _only_coupon(number, shot, seen)
    if measurement is not None:
        for line in report.flag_lines(dict.fromkeys([*measurement.flags, *measurement.parts[0].flags])):
            meaning, remedy = line.split(": ", 1)
            st.html(f"<div class='doubt'><strong>{meaning}</strong><br>{remedy}</div>")
    return measurement


def _look(shot, camera):
    """What is seen in a photo of the coupon."""
    own_card, name = the_book().setting("card_lab"), shot["name"]
    asked = {"camera": camera or None, "card_lab": own_card and tuple(own_card), "part_at": shot.get("part_at")}
    sha = hashlib.sha256(shot["content"]).hexdigest()

    def look(job):
        return see_photo(shot["content"], name, progress=job, flaws=False, **asked)

    # a camera learned anew is another camera
    return work.done("coupon", (sha, name, known_cameras(), *asked.values()), f"Reading {name}", look, most=12)


def _only_coupon(number, shot, seen):
    parts = seen.measurement.parts
    turn = f"{number}_{shot.setdefault('turn', 0)}"
    outline = st.toggle("Outline the coupon by hand", key=f"coupon_outline_{turn}") if parts else True
    if outline:
        if not parts:
            st.warning("No coupon was found beside the card; tap around it.", icon=":material/crop_free:")
        enough = "Go on around it, or drag a corner to move it; then measure again."
        tapped = tap_corners(seen.plain, f"coupon_taps_{turn}", _OUTLINE, enough, 3, 80)
        if tapped:
            width, height = seen.size
            shot["part_at"] = (tuple((float(x) * width, float(y) * height) for x, y in tapped),)
            shot["turn"] += 1
            st.rerun()
        return None
    st.image(seen.overlay, width="stretch", alt="The photo with card and coupon outlined")
    chosen = 0
    if len(parts) > 1:
        chosen = st.radio(
            "The coupon is", range(len(parts)), key=f"coupon_part_{turn}", horizontal=True,
            format_func=lambda index: f"part {index + 1}",
        )  # fmt: skip
    return replace(seen.measurement, parts=(parts[chosen],))


def _show_against(told, labs):
    """The day's colour, and how far it lies from the one kept."""
    lab = tuple(sum(values) / len(labs) for values in zip(*labs, strict=True))
    show_swatch(lab, "The coupon")
    if told is None:
        return
    off = float(delta_e_00(told.kept, lab))
    st.markdown(f"{distance_text(off)} from its kept colour.")
    if off > _ANOTHER_PIECE:
        st.warning("So far off: is this the coupon, and does yellow outline the card?", icon=":material/priority_high:")


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

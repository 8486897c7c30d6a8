"""The check coupon: today's photos read and kept, its chart over the days, and what to do when it leaves its colour."""

from dataclasses import replace
from datetime import date

import streamlit as st

from dyebook.errors import PhotoError
from dyebook.jobs import check_coupon
from dyebook.jobs.photo import known_cameras, read_options, see_photo
from dyebook.lab import delta_e_00
from dyebook.report import camera as report_camera
from dyebook.report import photo as report_photo
from dyebook.report.plots import plot_coupon
from dyebook.report.trouble import false_signals_text
from dyebook.report.words import distance_text, plain
from dyebook.screens import tasks
from dyebook.screens.answers import show_flags
from dyebook.screens.apart import apart
from dyebook.screens.drafts import bytes_of, draft, mark_of
from dyebook.screens.photo.correct import CARD_WORDS, GO_AROUND, around_words, plain_picture
from dyebook.screens.photo.roll import KINDS, take_file
from dyebook.screens.session import as_drawn, friendly_errors, sentence, tap, the_book
from dyebook.screens.swatch import show_swatch, tap_corners
from dyebook.units import shop_now

__all__ = ["show", "show_chart", "show_photos"]

# further off than any lamp or card makes it: most likely another piece
_ANOTHER_PIECE = 12.0


def show_photos(book, camera):
    """Draw the day, the way to give photos, and what was read in them with a camera (empty: none learned)."""
    day = st.date_input(
        "Photographed on", shop_now().date(), max_value=shop_now().date(), key="coupon_day", format="YYYY-MM-DD"
    )
    _take_photos()
    shots = draft().setdefault("coupon_shots", [])
    seen = [_show_shot(number, shot, _look(book, shot, camera)) for number, shot in enumerate(list(shots))]
    ready = bool(seen) and all(one is not None for one in seen)
    series = check_coupon.coupon_days(book, camera)
    drawn = as_drawn(f"coupon {camera}", series)
    if ready:
        _show_against(series, [one.parts[0].lab for one in seen])
    if seen and st.button("Keep as this day's reading", key="keep_coupon_day", type="primary", disabled=not ready):
        kept = [(one, (shot["name"], bytes_of(shot["content"]))) for one, shot in zip(seen, shots, strict=True)]
        check_coupon.keep_day(book, kept, camera, day, drawn)
        draft().pop("coupon_shots")
        st.rerun()


def _take_photos():
    turn, shots = draft().setdefault("coupon_turn", 0), draft().setdefault("coupon_shots", [])
    given = st.file_uploader(
        "Today's photos of it; two or three are averaged",
        type=KINDS,
        accept_multiple_files=True,
        key=f"coupon_file_{turn}",
        help="The coupon alone beside the card, on a plain ground; lamp, place and phone as every day.",
    )
    if given:
        known = {shot["content"] for shot in shots}
        fresh = [{"name": one.name, "content": take_file(one), "turn": 0} for one in given]
        shots.extend(shot for shot in fresh if shot["content"] not in known)
        draft()["coupon_turn"] = turn + 1
        st.rerun()


def _look(book, shot, camera):
    """What is seen in a photo of the coupon; one that is none is put away, and the reason told."""
    name, places = shot["name"], {place: shot.get(place) for place in ("card_at", "part_at")}
    options = read_options(book, camera or None, flaws=False, **places)
    # a camera learned anew is another camera
    key = mark_of(shot["content"]), name, options, known_cameras()
    try:
        return tasks.done("coupon", key, f"Reading {name}", apart(see_photo, shot["content"], options, name), most=12)
    except PhotoError:
        draft()["coupon_shots"].remove(shot)
        raise


def _show_shot(number, shot, seen):
    """Draw a photo with what was read; its measurement with the coupon as its only part, or None until it has one."""
    with st.container(horizontal=True, vertical_alignment="center"):
        st.markdown(f"**{plain(shot['name'])}**", width="content")
        if st.button("Put away", key=f"coupon_away_{number}", type="tertiary"):
            draft()["coupon_shots"].remove(shot)
            st.rerun()
    turn = f"{number}_{shot['turn']}"
    if seen.measurement is None:
        st.warning(plain(sentence(seen.problem)), icon=":material/crop_free:")
        _tap("card_at", shot, seen, f"coupon_card_{turn}", CARD_WORDS, 4, 4)
        return None
    parts = seen.measurement.parts
    if not parts:
        st.warning("No coupon was found beside the card; tap around it.", icon=":material/crop_free:")
    if not parts or st.toggle("Outline the coupon by hand", key=f"coupon_outline_{turn}"):
        _tap("part_at", shot, seen, f"coupon_taps_{turn}", around_words("coupon"), 3, 80)
        return None
    st.image(seen.overlay, width="stretch", alt="The photo with card and coupon outlined")
    coupon = replace(seen.measurement, parts=(parts[_chosen(len(parts), f"coupon_part_{turn}")],))
    show_flags(report_photo.flag_lines(check_coupon.doubts_of(coupon)))
    return coupon


def _tap(place, shot, seen, key, ask, least, most):
    """Let the card or the coupon be pointed out, and read the photo anew."""
    corners = tap_corners(plain_picture(shot["content"], seen), seen.size, key, ask, GO_AROUND, least, most)
    if corners:
        shot[place] = corners if place == "card_at" else (corners,)
        shot["turn"] += 1
        st.rerun()


def _chosen(count, key):
    """Index of the part that is the coupon."""
    if count == 1:
        return 0
    return st.radio("The coupon is", range(count), key=key, horizontal=True, format_func=lambda k: f"part {k + 1}")


def _show_against(series, labs):
    """The day's colour, and how far it lies from the one kept."""
    lab = tuple(sum(values) / len(labs) for values in zip(*labs, strict=True))
    show_swatch(lab, "The coupon")
    if series is None:
        return
    off = float(delta_e_00(series.kept, lab))
    st.markdown(f"Against its kept colour: {distance_text(off)}.")
    if off > _ANOTHER_PIECE:
        st.warning("So far off: is this the coupon, and does yellow outline the card?", icon=":material/priority_high:")


_NONE = "no learned camera"
_RULE = (
    "ΔL* lightness, ΔC* strength of colour, ΔH* hue: the mean of each day's photos against that of the first six days. "
    "It is said to have left once small steps the same way have added up. {false} Dotted upright: the day it left."
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
            show_photos(book, camera)
    with right:
        series = check_coupon.coupon_days(book, camera)
        if series is None:
            how = f"with {camera}" if camera else "without a learned camera"
            st.markdown(f"No day read {how} yet. Seven days tell what is usual; begin with today's photo.")
            return
        show_chart(series)
        _show_days(book, series)


def show_chart(series):
    """Draw what the days tell, in words and as a chart."""
    head, lines = report_camera.coupon_words(series)
    st.markdown(f"**{head}**")
    for line in lines:
        st.markdown(line)
    figure = plot_coupon(series.differences, series.since, series.put_right)
    st.plotly_chart(figure, key="coupon_chart", config={"displayModeBar": False})
    if series.drift is not None:
        st.caption(_RULE.format(false=false_signals_text(series.drift)))


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


def _show_days(book, series):
    rows = report_camera.coupon_rows(series)
    st.table({"Day": [row[0] for row in rows], **{name: [row[k] for row in rows] for k, name in _COLUMNS}})
    last = series.days[-1][0]

    def offer(label, key, deed, day):
        st.button(label, key=key, type="tertiary", **tap(deed, book, series.camera, day, series))

    with st.container(horizontal=True):
        offer("Take the last day back", "coupon_take_back", check_coupon.take_back, last)
        if series.moves:
            offer("It was put right today", "coupon_put_right", check_coupon.put_right, shop_now().date().isoformat())
        if series.put_right:
            offer("It was not put right after all", "coupon_not_right", check_coupon.put_right, None)
    with st.expander("Another piece, another lamp for good, or the camera learned anew?"):
        st.markdown(
            "What was usual before is so no longer: the days are then counted, and held to, from a new first one."
        )
        first = st.date_input("Count from", date.fromisoformat(last), key="coupon_from", format="YYYY-MM-DD")
        with st.container(horizontal=True):
            offer("Count from that day", "coupon_count_from", check_coupon.count_from, first.isoformat())
            if series.earlier:
                offer("Count all days again", "coupon_count_all", check_coupon.count_from, None)


_COLUMNS = ((1, "ΔL*"), (2, "ΔC*"), (3, "ΔH*"))

"""Test dips: which one teaches most about a shade, how to begin with a new dye, and keeping a stepped coupon."""

import streamlit as st

from dyebook.errors import ModelError, RecordError
from dyebook.jobs.photo import parse_dwells, record_strip
from dyebook.record import DyeRecord
from dyebook.report import shade as report_shade
from dyebook.screens import tasks
from dyebook.screens.answers import show_figures
from dyebook.screens.apart import read_apart
from dyebook.screens.drafts import draft
from dyebook.screens.fields import ask, ask_text, choose_from
from dyebook.screens.piece import take_to_bench
from dyebook.screens.shade.baths import advise, as_it_stands, coupon, learn, learn_all, plan_of
from dyebook.screens.swatch import show_pair

__all__ = ["show"]

_NEW = "a new dye"


def show(book, asked):
    """Draw the plan for a `Question`, and the way a strip is kept."""
    bath = asked.bath or choose_from("shade_coupon_bath", "For", [*_likeliest(asked), _NEW])
    _show_plan(book, asked, bath)
    dips = asked.baths.get(bath)
    dye, tank = ("", "") if dips is None else dips[["dye", "bath"]].iloc[-1]
    _offer_strip(book, dye, tank if isinstance(tank, str) else "")


def _show_plan(book, asked, bath):
    if bath == _NEW:
        _show_start(asked.film_um, None, asked.fixed.get("bath_temp_c"))
        return
    try:
        learn(asked, bath)
    except ModelError as error:
        st.caption(f"{error}.")
        _show_start(asked.film_um, asked.fixed.get("dye_g_per_l"), asked.fixed.get("bath_temp_c"))
        return
    found = coupon(asked, bath)
    st.markdown("**Dip a coupon like this, photograph it, and the book knows more about this shade:**")
    show_figures(report_shade.setting_rows(as_it_stands(asked, bath, found.settings)))
    st.markdown(report_shade.sentence_text(found.why))
    show_pair([(asked.name, asked.target), ("The coupon, to expect", found.lab)])
    if st.button("Dip this coupon", key="dip_coupon", type="primary", icon=":material/arrow_forward:"):
        take_to_bench(book, plan_of(asked, bath, found.settings), "test dip")


def _likeliest(asked):
    """The baths, the one that comes nearest to the target first, those that cannot be learned yet last."""
    if not learn_all(asked).models:
        return list(asked.baths)
    advice = advise(asked)
    return [name for name, _ in advice.suggestions] + list(advice.left_out)


def _show_start(film_um, strength, temp):
    """Three coupons to begin with."""
    from dyebook.advice.coupon import starting_plan

    strength = strength or ask("shade_start_dye_g_per_l", "Dye strength, g/L", "3", quantity="dye_g_per_l")
    film_um = film_um or ask("shade_start_film_um", "Film, µm", "12", quantity="film_um")
    if strength is None or film_um is None:
        return
    for number, one in enumerate(starting_plan(film_um, strength, temp), start=1):
        st.markdown(f"**{number}. {report_shade.settings_text(one.settings)}** – {one.why}.")
    st.caption("Strengths, times and temperatures: the dye's own sheet comes first.")


_FIGURES = (("film_um", "Film, µm"), ("dye_g_per_l", "Dye strength, g/L"), ("bath_temp_c", "Bath, °C"), ("ph", "pH"))
_WET = {"wet or dry?": None, "dry": False, "wet": True}
_KINDS = ["jpg", "jpeg", "png", "heic", "heif", "webp", "tif", "tiff", "dng"]


def _offer_strip(book, dye, bath):
    """The form behind its own fold, the names of dye and bath written there already."""
    st.caption(report_shade.STRIP_HINT)
    with st.expander("Keep a stepped coupon"):
        if lines := draft().pop("strip_kept", None):
            st.success("In the book, safely on disk.", icon=":material/check:")
            for line in lines:
                st.markdown(line)
        record, dwells, problems = _ask_strip(dye, bath)
        turn = draft().setdefault("strip_turn", 0)
        photo = st.file_uploader("Photo of the whole strip beside the grey card", _KINDS, key=f"strip_photo_{turn}")
        pressed = st.button("Save the bands", key="save_strip", type="primary")
        if pressed and record is None:
            st.error(f"Not saved yet: {problems}.")
            return
        _save(book, pressed, record, dwells, None if photo is None else photo.getvalue())


def _ask_strip(dye, bath):
    """The record that the bands share, their dwells, and what is still missing."""
    left, right = st.columns(2)
    with left:
        dye = ask_text("shade_strip_dye", "Dye", dye or "Harbour blue") or dye
    with right:
        bath = ask_text("shade_strip_bath", "Bath", bath or "B1") or bath
    figures, columns = {}, st.columns(2) * 2
    for column, (name, label) in zip(columns, _FIGURES, strict=True):
        with column:
            figures[name] = ask(f"shade_strip_{name}", label, quantity="ph_a" if name == "ph" else name)
    text = ask_text("shade_strip_dwells", "Times in the dye, blanks between", "16 8 4 2 1 0:30")
    wet = _WET[choose_from("shade_strip_wet", "The strip was read", _WET)]
    given = {name: value for name, value in figures.items() if value is not None}
    missing = [label for name, label in _FIGURES if name != "ph" and name not in given]
    if missing or not dye:
        return None, (), f"{', '.join(missing or ['the dye'])} is still wanted"
    try:
        dwells = parse_dwells(text)
    except RecordError as error:
        return None, (), str(error)
    return DyeRecord(dye=dye, bath=bath or None, dwell_min=dwells[0], wet=wet, **given), dwells, ""


def _save(book, pressed, record, dwells, photo):
    def read(job):
        return record_strip(book, record, dwells, photo, progress=job, read=read_apart(job))

    kept = tasks.done_once("strip", pressed, "Reading the strip", read)
    if kept is None:
        return
    lines = [report_shade.sentence_text(line) for line in report_shade.strip_text(kept).splitlines()]
    draft().update(
        strip_kept=[*lines, *(report_shade.sentence_text(one) for one in kept.warnings)],
        strip_turn=draft()["strip_turn"] + 1,
    )
    st.rerun()

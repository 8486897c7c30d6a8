"""Which test dip teaches a bath most about the shade, and how to begin with a dye nobody has dipped."""

import streamlit as st

from dyebook import report_shade as words
from dyebook.errors import ModelError
from dyebook.screens.bench_pieces import ask, show_figures
from dyebook.screens.shade_baths import advise, coupon, learn, learn_all
from dyebook.screens.shade_pictures import show_pair
from dyebook.screens.shade_strip import offer_strip
from dyebook.screens.shade_target import choose_from

__all__ = ["show"]

NEW = "a dye nobody has dipped"


def show(book, asked):
    """Draw the plan for a `Question`, and the way a strip is kept."""
    bath = asked.bath or choose_from("shade_coupon_bath", "For", [*_likeliest(asked), NEW])
    _show_plan(asked, bath)
    dips = asked.baths.get(bath)
    dye, tank = ("", "") if dips is None else (dips["dye"].iloc[-1], dips["bath"].iloc[-1])
    offer_strip(book, dye, tank if isinstance(tank, str) else "")


def _show_plan(asked, bath):
    if bath == NEW:
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
    show_figures(words.setting_rows(found.settings))
    st.markdown(words.sentence_text(found.why))
    show_pair([(asked.name, asked.target), ("The coupon, to expect", found.lab)])


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
        st.markdown(f"**{number}. {words.settings_text(one.settings)}** – {one.why}.")
    st.caption("Strengths, times and temperatures: the dye's own sheet comes first.")

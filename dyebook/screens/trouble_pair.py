"""Sample and part in one photo: judged by their difference, which the camera's error hardly touches."""

import streamlit as st

from dyebook import report_trouble as words
from dyebook.advice.verdict import MEASURES, Shade, judge_shade
from dyebook.screens.drafts import draft, keep, recall
from dyebook.screens.shade_target import choose_from
from dyebook.screens.swatch import show_pair

__all__ = ["ask_tolerance", "show"]

_NAMES = {"00": "CIEDE2000", "76": "CIELAB 1976", "94": "CIE 1994", "cmc": "CMC(2:1)"}


def show(_book):
    """Draw the page's way for two parts of the last photo."""
    name, colours = draft().get("last_read", ("", ()))
    if len(colours) < 2:
        st.markdown(
            "Lay the customer's sample and the part side by side with the card in **one** photo and read it on the "
            "Photo page. What the camera gets wrong is then wrong for both, and their difference is surer than two "
            "photos could be."
        )
        return
    st.markdown(f"From {name}, {len(colours)} parts, left to right.")
    sample, part, measure, tolerance = _ask(range(len(colours)))
    found = judge_shade(Shade(colours[sample]), Shade(colours[part]), tolerance, measure=measure, together=True)
    head, lines = words.verdict_lines(found)
    st.subheader(head, anchor=False)
    show_pair(colours[sample], colours[part], ("Sample", "Part"), lines)


def _ask(places):
    """Which of the parts is which, and how they are judged."""
    with st.container(key="trouble_pair_parts"):
        left, right = st.columns(2)
    with st.container(key="trouble_pair_rule"):
        by, within = st.columns(2)
    with left:
        sample = choose_from("trouble_sample", "The sample is", places, _part)
    with right:
        part = choose_from("trouble_part", "The part is", [one for one in places if one != sample], _part)
    with by:
        measure = choose_from("trouble_measure", "By", MEASURES, _NAMES.get)
    with within:
        tolerance = ask_tolerance("Tolerance")
    return sample, part, measure, tolerance


def ask_tolerance(label):
    """Ask for the largest difference that passes, in units of the measure; remembered over pages."""
    recall("trouble_tolerance")
    if "trouble_tolerance" not in st.session_state:
        st.session_state["trouble_tolerance"] = 2.0
    found = st.number_input(label, 0.1, 20.0, step=0.1, format="%.1f", key="trouble_tolerance")
    keep("trouble_tolerance")
    return found


def _part(place):
    return f"part {place + 1}"

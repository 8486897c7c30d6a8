"""How to photograph shiny parts, on the photo page; the README says the same."""

import streamlit as st

from dyebook.report_help import PHOTO_TIPS, PHOTO_TITLE

__all__ = ["show_tips"]


def show_tips():
    """Draw the tips, folded away until somebody wants them."""
    with st.expander(PHOTO_TITLE):
        for tip in PHOTO_TIPS:
            st.markdown(f"- {tip}")

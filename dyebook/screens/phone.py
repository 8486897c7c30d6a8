"""What the desk shows for pairing a phone; a phone itself never sees it."""

import time

import segno
import streamlit as st

from dyebook.screens.session import came_by
from dyebook.server.pairing import LINK_LASTS_S, the_pairing

__all__ = ["show_phone_button"]


def show_phone_button():
    """Draw the button that shows the pairing code, at the desk of an app that phones may reach."""
    if the_pairing() is None or came_by() != "desk":
        return
    if st.button("Phone", key="phone", icon=":material/qr_code_2:", type="tertiary"):
        st.session_state["phone_link"] = the_pairing().fresh_link()
        _pair_a_phone()


@st.dialog("A phone at the bench")
def _pair_a_phone():
    pairing = the_pairing()
    if st.session_state.get("phone_fresh"):
        st.session_state["phone_link"] = pairing.fresh_link()
    link = st.session_state["phone_link"]
    if pairing.is_open(link.rsplit("/", 1)[1]):
        st.markdown(
            f"Point the phone's camera at the code and open the link. It works once, within {LINK_LASTS_S // 60} "
            "minutes; both must be in the shop's own network."
        )
        # dark on light with its margin, by day and by night: cameras expect it so
        code = segno.make(link, error="m", micro=False)
        st.image(code.svg_inline(scale=6, border=4, dark="#000", light="#fff"), width=330)
        st.caption("Without a camera, open this on the phone:")
        st.code(link, language=None)
    else:
        st.markdown("The code was used, or its time is over.")
    st.button("Fresh code", key="phone_fresh")
    _show_phones(pairing)


def _show_phones(pairing):
    phones = pairing.phones()
    st.markdown(f"**Paired now: {len(phones)}**")
    for phone in phones:
        hours = (time.monotonic() - phone.since) / 3600
        st.button(
            f"Let go of phone {phone.name}, paired {hours:.1f} h ago",
            key=f"let_go_{phone.name}",
            on_click=pairing.let_go,
            args=(phone.name,),
            help=phone.browser or None,
        )
    if phones:
        st.button("Let go of all", key="let_go_all", on_click=pairing.let_go)

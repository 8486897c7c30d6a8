"""Pieces of page of our own: the wall of swatches, and corners tapped on a photo."""

from base64 import b64encode
from pathlib import Path

import streamlit as st

from dyebook.screens.swatch import tile_of

__all__ = ["tap_corners", "wall", "web_text"]

_WEB = Path(__file__).parent / "web"


def web_text(name):
    """Return the text of a file beside the screens, such as a component's script."""
    return (_WEB / name).read_text(encoding="utf-8")


def wall(rows, key, near=None, doubts=None, ribbon=False):
    """Draw batches as swatches with their words and return the number of the one just chosen, or None.

    Parameters
    ----------
    rows : sequence of BatchRow
    key : str
    near : sequence of float or None, optional
        CIEDE2000 to what was looked for, one a row.
    doubts : dict of int to str, optional
        A few words of doubt by batch number.
    ribbon : bool
        One line that scrolls sideways instead of a wall.

    Returns
    -------
    int or None
    """
    near = near or [None] * len(rows)
    tiles = [tile_of(row, far, (doubts or {}).get(row.batch, "")) for row, far in zip(rows, near, strict=True)]
    piece = st.components.v2.component(
        "dyebook.wall", html='<div class="wall"></div>', css=web_text("wall.css"), js=web_text("wall.js")
    )
    return piece(key=key, data={"swatches": tiles, "ribbon": ribbon}, on_batch_change=_noted).batch


def tap_corners(picture_jpeg, key, ask, enough, least, most, corners=(), turn=0):
    """Let somebody tap corners on a picture, and return them once "measure again" is pressed.

    Parameters
    ----------
    picture_jpeg : bytes
    key : str
    ask : sequence of str
        What to tap next, by the number of corners there are.
    enough : str
        What to do once there are `least` corners.
    least, most : int
        How many corners are needed and taken.
    corners : sequence of (x, y), optional
        To begin with, as shares of width and height.
    turn : int
        A new number throws half-made taps away.

    Returns
    -------
    list of [x, y] or None
        Shares of the picture's width and height, 0..1.
    """
    piece = st.components.v2.component(
        "dyebook.outline", html=web_text("outline.html"), css=web_text("outline.css"), js=web_text("outline.js")
    )
    data = {
        "picture": "data:image/jpeg;base64," + b64encode(picture_jpeg).decode(),
        "ask": list(ask),
        "enough": enough,
        "least": least,
        "most": most,
        "corners": [list(map(float, corner)) for corner in corners],
        "round": turn,
    }
    return piece(key=key, data=data, on_corners_change=_noted).corners


def _noted():
    """Streamlit hands a trigger out only when somebody listens."""

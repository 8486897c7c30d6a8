"""Colours on a page: always a patch with its words and figures; walls of batches; corners tapped on a photo."""

from base64 import b64encode
from html import escape
from pathlib import Path

import streamlit as st

from dyebook.lab import describe_colour, lab_to_srgb8
from dyebook.report import batches as report_batches
from dyebook.report import words as report_words

__all__ = ["OUTSIDE", "hex_of", "show_pair", "show_slip", "show_swatch", "tap_corners", "wall", "web_text"]

# of a colour that the screen cannot show: its nearest stands there
OUTSIDE = "stronger than shown"
_WEB = Path(__file__).parent / "web"


def hex_of(lab):
    """Return the nearest screen colour of a Lab as ``#rrggbb``, and whether the screen cannot show it."""
    codes, outside = lab_to_srgb8(lab)
    return "#" + bytes(codes).hex(), bool(outside)


def _patch(lab, empty=""):
    """A patch of a colour; without one a hatched patch that says what is missing."""
    if lab is None:
        return f"<div class='patch unread'><span>{escape(empty)}</span></div>"
    return f"<div class='patch' style='background:{hex_of(lab)[0]}'></div>"


def _said(lab):
    """A colour in words, with what the screen does not show of it."""
    return escape(describe_colour(lab) + (f", {OUTSIDE}" if hex_of(lab)[1] else ""))


def _figures(lab, lab_u=None):
    """L*, a* and b*, each kept in one piece where the line breaks."""
    pieces = report_words.lab_text(lab, lab_u).split("  ")
    return " ".join(f"<span class='figure'>{escape(piece)}</span>" for piece in pieces)


def show_swatch(lab, title, lab_u=None, lines=()):
    """Draw one large swatch with its name, its figures and further lines of words."""
    words = [f"<strong>{escape(title)}</strong>", _said(lab), _figures(lab, lab_u)]
    words += [escape(line) for line in lines]
    st.html(f"<div class='dye-swatch'>{_patch(lab)}<div class='words'>{'<br>'.join(words)}</div></div>")


def show_slip(lab, title: str, lines=(), pairs=(), empty: str = "no shade yet"):
    """Draw a slip of paper: a small swatch, its name, and lines or (label, text) pairs beside it.

    Parameters
    ----------
    lab : sequence of 3 floats or None
        Without it the slip says `empty` where the colour would be.
    lines : sequence of str
    pairs : sequence of (str, str)
    """
    words = [f"<strong>{escape(title)}</strong>"]
    words += [f"<span class='said'>{_said(lab)}</span>"] if lab is not None else []
    words += [f"<span>{escape(line)}</span>" for line in lines]
    words += [report_words.pairs_html(pairs, "settings")] if pairs else []
    st.html(
        f"<div class='dye-slip'>{_patch(lab, empty)}<div class='words'>{''.join(words)}</div></div>", width="stretch"
    )


def show_pair(colours, lines=()):
    """Draw colours edge to edge, as an eye compares them, each with its name and figures, then lines of words.

    `colours` (sequence of (str, sequence of 3 floats)): name and Lab, the wanted first. `lines`: sequence of str.
    """
    patches = "".join(_patch(lab) for _, lab in colours)
    words = "".join(
        f"<div><strong>{escape(name)}</strong><br>{_said(lab)}<br>{_figures(lab)}</div>" for name, lab in colours
    )
    below = "".join(f"<p>{escape(line)}</p>" for line in lines)
    st.html(f"<div class='dye-pair'><div class='patches'>{patches}</div><div class='words'>{words}</div>{below}</div>")


def web_text(name):
    """Return the text of a file beside the screens, such as a component's script."""
    return (_WEB / name).read_text(encoding="utf-8")


def wall(rows, key: str, near=None, doubts=None, ribbon=False) -> int | None:
    """Draw batches as swatches with their words and return the number of the one just chosen, or None.

    Parameters
    ----------
    rows : sequence of BatchRow
    near : sequence of float or None, optional
        CIEDE2000 to what was looked for, one a row.
    doubts : dict of int to str, optional
        A few words of doubt by batch number.
    ribbon : bool
        One line that scrolls sideways instead of a wall.
    """
    near = near or [None] * len(rows)
    tiles = [_tile(row, far, (doubts or {}).get(row.batch, "")) for row, far in zip(rows, near, strict=True)]
    piece = st.components.v2.component(
        "dyebook.wall", html='<div class="wall"></div>', css=web_text("wall.css"), js=web_text("wall.js")
    )
    return piece(key=key, data={"swatches": tiles, "ribbon": ribbon}, on_batch_change=_noted).batch


def _tile(row, near, doubt):
    """A batch as the wall's script draws it."""
    colour, outside = (None, False) if row.lab is None else hex_of(row.lab)
    word = "" if row.lab is None else describe_colour(row.lab)
    figures = [] if row.lab is None else [report_words.lab_text(row.lab)]
    lines = [
        *report_batches.job_text(row),
        *figures,
        report_batches.dye_text(row),
        *report_batches.settings_lines(row),
        report_words.moment_text(row.dyed_at or row.added_at),
    ]
    if near is not None:
        lines.insert(0, report_words.distance_text(near))
    return {
        "batch": row.batch,
        "title": f"Batch {row.batch}",
        "colour": colour,
        "word": f"{word}, {OUTSIDE}" if outside else word,
        "lines": lines,
        "doubt": doubt,
    }


def tap_corners(picture_jpeg: bytes, size, key: str, ask, enough, least, most, corners=(), turn=0):
    """Let corners be tapped on a picture of a photo, and return them once "measure again" is pressed.

    They are (x, y) in pixels of the photo.

    Parameters
    ----------
    size : (width, height)
        Of the photo in pixels.
    ask : sequence of str
        What to tap next, by the number of corners there are.
    enough : str
        What to do once there are `least` corners.
    least, most : int
        How many corners are needed and taken.
    corners : sequence of (x, y), optional
        To begin with, in pixels of the photo.
    turn : int
        A new number throws half-made taps away.
    """
    width, height = size
    piece = st.components.v2.component(
        "dyebook.outline", html=web_text("outline.html"), css=web_text("outline.css"), js=web_text("outline.js")
    )
    data = {
        "picture": "data:image/jpeg;base64," + b64encode(picture_jpeg).decode(),
        "ask": list(ask),
        "enough": enough,
        "least": least,
        "most": most,
        "corners": [[float(x) / width, float(y) / height] for x, y in corners],
        "round": turn,
    }
    tapped = piece(key=key, data=data, on_corners_change=_noted).corners
    return tuple((float(x) * width, float(y) * height) for x, y in tapped) if tapped else None


def _noted():
    """Streamlit hands a trigger out only where a callback is given."""

"""Colours as people see them: a patch, and always its words and figures beside it."""

from html import escape

import streamlit as st

from dyebook import report
from dyebook import report_screen as words
from dyebook.lab import describe_colour, lab_to_srgb8

__all__ = ["hex_of", "show_swatch", "tile_of"]


def hex_of(lab):
    """Return the nearest screen colour of a Lab as ``#rrggbb``, and whether the screen cannot show it."""
    codes, outside = lab_to_srgb8(lab)
    return "#" + bytes(codes).hex(), bool(outside)


def tile_of(row, near=None, doubt=""):
    """Return a batch as the wall of swatches draws it.

    Parameters
    ----------
    row : BatchRow
    near : float, optional
        CIEDE2000 to what was looked for.
    doubt : str
        A few words.

    Returns
    -------
    dict
    """
    colour, outside = (None, False) if row.lab is None else hex_of(row.lab)
    figures = [] if row.lab is None else [report.lab_text(row.lab)]
    lines = [*figures, words.dye_text(row), *words.settings_lines(row), words.moment_text(row.dyed_at or row.added_at)]
    if near is not None:
        lines.insert(0, words.distance_text(near))
    return {
        "batch": row.batch,
        "title": f"Batch {row.batch}",
        "colour": colour,
        "outside": outside,
        "word": "" if row.lab is None else describe_colour(row.lab),
        "lines": lines,
        "doubt": doubt,
    }


def show_swatch(lab, title, lab_u=None, lines=()):
    """Draw one large swatch with its name, its figures and further lines of words."""
    colour, outside = hex_of(lab)
    told = [f"<strong>{escape(title)}</strong>", escape(describe_colour(lab)), _figures(lab, lab_u)]
    told += [escape(line) for line in lines]
    mark = "<span class='outside'>beyond this screen: nearest shown</span>" if outside else ""
    st.html(
        f"<div class='dye-swatch'><div class='colour' style='background:{colour}'>{mark}</div>"
        f"<div class='words'>{'<br>'.join(told)}</div></div>"
    )


def _figures(lab, lab_u):
    """L*, a* and b*, each kept in one piece where the line breaks."""
    return " ".join(f"<span class='figure'>{escape(piece)}</span>" for piece in report.lab_text(lab, lab_u).split("  "))

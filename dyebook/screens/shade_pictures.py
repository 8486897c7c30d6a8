"""Swatches that touch, and a bath as a ribbon of swatches with the target pinned on it."""

from html import escape

import streamlit as st

from dyebook import report
from dyebook.lab import describe_colour
from dyebook.report_shade import depth_text, dwell_text
from dyebook.screens.swatch import hex_of

__all__ = ["show_pair", "show_ribbon"]

_OUTSIDE = "beyond this screen: nearest shown"
# under every so many swatches stands a dwell
_LABEL_EVERY = 6


def show_pair(pairs):
    """Draw colours edge to edge, as one compares them, with their names and figures below.

    Parameters
    ----------
    pairs : sequence of (str, Lab)
    """
    patches, told = [], []
    for title, lab in pairs:
        colour, outside = hex_of(lab)
        mark = f"<span class='outside'>{_OUTSIDE}</span>" if outside else ""
        patches.append(f"<div style='background:{colour}'>{mark}</div>")
        figures = " ".join(f"<span class='figure'>{escape(piece)}</span>" for piece in report.lab_text(lab).split("  "))
        told.append(f"<div><strong>{escape(title)}</strong><br>{escape(describe_colour(lab))}<br>{figures}</div>")
    st.html(
        f"<div class='shade-pair'><div class='patches'>{''.join(patches)}</div>"
        f"<div class='told'>{''.join(told)}</div></div>"
    )


def show_ribbon(run, target):
    """Draw a bath from pale to deep, and pin the target where it comes nearest.

    Parameters
    ----------
    run : DepthRun
    target : Lab
    """
    count = len(run.dwell_min)
    cells = "".join(_cell(run, i) for i in range(count))
    ticks = "".join(
        f"<span style='left:{100 * (i + 0.5) / count:.2f}%'>{dwell_text(run.dwell_min[i]).removesuffix(' min')}</span>"
        for i in range(0, count, _LABEL_EVERY)
    )
    colour, outside = hex_of(target)
    at = 100 * (run.nearest + 0.5) / count
    side = "left" if at < 50 else "right"
    where = f"left:{at:.2f}%" if side == "left" else f"right:{100 - at:.2f}%"
    pin = (
        f"<div class='pin {side}' style='{where}'><span class='head' style='background:{colour}'></span>"
        f"<span>target{', ' + _OUTSIDE if outside else ''}</span></div>"
    )
    words = depth_text(run)
    st.html(
        f"<div class='shade-ribbon' role='img' aria-label='{escape(_spoken(run, words))}'>{pin}"
        f"<div class='cells'>{cells}</div><div class='ticks'>{ticks}</div></div>"
        f"<p class='ribbon-words'><strong>{escape(words)}</strong> {escape(_ends(run))}</p>"
    )


def _cell(run, index):
    colour, outside = hex_of(run.lab[index])
    title = f"{dwell_text(run.dwell_min[index])}: {report.lab_text(run.lab[index])}"
    kind = " class='beyond'" if outside else ""
    return f"<i{kind} style='background:{colour}' title='{escape(title + (', ' + _OUTSIDE if outside else ''))}'></i>"


def _ends(run):
    beyond = any(hex_of(lab)[1] for lab in run.lab)
    text = (
        f"From {describe_colour(run.lab[0])} to {describe_colour(run.lab[-1])}; minutes and seconds in the dye below."
    )
    return text + (" Hatched: beyond what a screen shows." if beyond else "")


def _spoken(run, words):
    return f"The bath from {describe_colour(run.lab[0])} to {describe_colour(run.lab[-1])}. Target pinned. {words}"

"""A part that is off: more time in the dye, accept it, or strip it and start again."""

import math

import streamlit as st

from dyebook.advice.judge import Shade
from dyebook.errors import ModelError
from dyebook.jobs.baths import bath_label
from dyebook.jobs.trouble import target_for
from dyebook.jobs.verdict import batch_shade, target_shade
from dyebook.report import shade as report_shade
from dyebook.screens.answers import show_cautions
from dyebook.screens.fields import ask, ask_text, choose, choose_from
from dyebook.screens.shade.baths import redip
from dyebook.screens.shade.target import read_colour
from dyebook.screens.swatch import show_pair

__all__ = ["show"]

BATCH, TYPED = "A batch in the book", "A reading"
_DRY = {"not known": None, "wet all the time": False, "dry at some time": True}
_SEALED = {"not known": None, "not sealed": False, "sealed": True}
_SETTINGS = ("film_um", "dye_g_per_l", "bath_temp_c", "dwell_min", "ph")


def show(book, asked):
    """Draw the questions about the part and the advice."""
    way = choose("shade_part", "The part", [BATCH, TYPED])
    part = _of_batch(book, asked) if way == BATCH else _typed(book, asked)
    left, right = st.columns(2)
    with left:
        dry = _DRY[choose_from("shade_dry", "Since the dye it was", _DRY)]
    with right:
        sealed = _SEALED[choose_from("shade_sealed", "Its film is", _SEALED)]
    if part is None:
        return
    bath, reading, target, settings, states = part
    dry, sealed = _known(dry, sealed, states)
    if bath not in asked.baths:
        raise ModelError(f"{bath} has no reading to learn from, or was thrown out; choose a bath that is on the bench")
    _show_advice(asked, reading, redip(asked, bath, settings, reading, target, dry, sealed))


def _of_batch(book, asked):
    """(bath, its shade, the shade wanted, settings, readings) of a stored batch; None until it is named."""
    number = ask_text("shade_redip_batch", "Number of the batch", "12")
    if not number:
        return None
    read_colour(f"batch {number}", book)
    row, own = book.batch(int(number)), target_for(book, int(number))
    target = asked.target
    if own is not None and tuple(target) == (own["L"], own["a"], own["b"]):
        target = target_shade(book, own, row.finish)
    values = {name: getattr(row, name) for name in _SETTINGS}
    known = {name: value for name, value in values.items() if value is not None and not math.isnan(value)}
    reading = batch_shade(book, row, Shade.of(target))
    return bath_label(row.dye, row.bath), reading, target, known, book.rows("readings", batch_id=row.batch)


def _known(dry, sealed, readings):
    """What was answered about the surface, else what the book shows: drying and sealing cannot be undone."""
    if dry is None and any(reading["wet"] is False for reading in readings):
        dry = True
        st.caption("The book has it read dry.")
    if sealed is None and any(reading["sealed"] for reading in readings):
        sealed = True
        st.caption("The book has it sealed.")
    return dry, sealed


def _typed(book, asked):
    """(bath, Lab, Lab wanted, settings, no readings) as typed; None until all is there."""
    text = ask_text("shade_redip_reading", "Its colour now", "55, 12, −30")
    bath = asked.bath or (choose_from("shade_redip_bath", "Dyed in", asked.baths) if asked.baths else None)
    columns = st.columns(3)
    figures = (("dye_g_per_l", "Dye strength, g/L"), ("bath_temp_c", "Bath, °C"), ("dwell_min", "Time in dye, min"))
    settings = {}
    for column, (name, label) in zip(columns, figures, strict=True):
        with column:
            settings[name] = ask(f"shade_redip_{name}", label, quantity=name)
    if not text or bath is None or None in settings.values():
        st.caption("Its colour and the three settings it was dipped at are needed.")
        return None
    if asked.film_um is not None:
        settings["film_um"] = asked.film_um
    return bath, read_colour(text, book), asked.target, settings, ()


def _show_advice(asked, reading, advice):
    pairs = [(asked.name, asked.target), ("The part now", getattr(reading, "lab", reading))]
    if advice.action == "more_time":
        pairs.append(("After more time", advice.lab))
    if advice.action == "next_bath":
        pairs.append((f"After {advice.bath}", advice.lab))
    show_pair(pairs)
    head, *rest = report_shade.redip_lines(advice)
    st.markdown(f"**{head}**")
    for line in rest:
        st.markdown(line)
    if advice.caution:
        show_cautions([advice.caution])

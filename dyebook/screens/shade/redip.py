"""A part that is off: more time in the dye, accept it, or strip it and start again."""

import math

import streamlit as st

from dyebook.advice.judge import Shade
from dyebook.errors import ModelError
from dyebook.jobs.baths import bath_label
from dyebook.jobs.orders import decide
from dyebook.jobs.trouble import judge_batch, target_for
from dyebook.jobs.verdict import batch_shade, target_shade
from dyebook.jobs.wet import surface_of
from dyebook.report import shade as report_shade
from dyebook.report.words import dwell_text
from dyebook.screens.answers import deed, show_cautions
from dyebook.screens.drafts import draft
from dyebook.screens.fields import ask, ask_text, choose, choose_from, key_of
from dyebook.screens.piece import take_to_bench
from dyebook.screens.shade.baths import plan_of, redip
from dyebook.screens.shade.target import read_colour
from dyebook.screens.swatch import show_pair

__all__ = ["show"]

BATCH, TYPED = "A batch in the book", "A reading"
_DRY = {"not known": None, "wet all the time": False, "dry at some time": True}
_SEALED = {"not known": None, "not sealed": False, "sealed": True}
_SETTINGS = ("film_um", "dye_g_per_l", "bath_temp_c", "dwell_min", "ph")


def show(book, asked):
    """Draw the questions about the part and the advice."""
    # what is not known yet stands above the answer, what is known below it
    above, answer, below = st.container(), st.container(), st.container()
    with below:
        way = choose("shade_part", "The part", [BATCH, TYPED])
        part = _of_batch(book, asked) if way == BATCH else _typed(book, asked)
    surface = part[-1] if part else (None, None)
    with above if None in surface else below:
        dry = _DRY[choose("shade_dry", "Since the dye it was", list(_DRY))]
        sealed = _SEALED[choose("shade_sealed", "Its film is", list(_SEALED))]
        dry, sealed = _known(dry, sealed, *surface)
    if part is None:
        return
    bath, reading, target, settings, _ = part
    if bath not in asked.baths:
        raise ModelError(f"{bath} has no reading to learn from, or is out of use; choose a bath that is on the bench")
    advice = redip(asked, bath, settings, reading, target, dry, sealed)
    with answer:
        _show_advice(asked, reading, advice)
    if way == BATCH and advice.action in ("more_time", "next_bath"):
        _offer_dip(book, asked, bath, settings, advice)


def _offer_dip(book, asked, bath, settings, advice):
    """The advised dip, waiting at the bench with its minutes; what was decided is kept with the batch."""
    number = int(draft()[key_of("shade_redip_batch")])
    again = advice.action == "more_time"
    dip = {**settings, "dwell_min": advice.extra_dwell_min} if again else advice.settings
    where = "Back into the dye" if again else f"Into {advice.bath}"
    label = f"{where}, {dwell_text(dip['dwell_min'])}"
    with deed():
        taken = st.button(label, key="dip_again", type="primary", icon=":material/arrow_forward:")
    if not taken:
        return
    target = target_for(book, number)
    if target is not None:
        decide(book, number, target["id"], "redip", judge_batch(book, number).delta_e00)
    take_to_bench(book, plan_of(asked, bath if again else advice.bath, dip), f"batch {number} again", after=number)


def _of_batch(book, asked):
    """(bath, its shade, the shade wanted, settings, surface) of a stored batch; None until it is named."""
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
    return bath_label(row.dye, row.bath), reading, target, known, surface_of(book, row.batch)


def _known(dry, sealed, was_dry, was_sealed):
    """What was answered about the surface, else what the book shows: drying and sealing cannot be undone."""
    if dry is None and was_dry is not None:
        dry = was_dry
        st.caption("The book has it read dry." if dry else "The book has it read wet, and never dry.")
    if sealed is None and was_sealed is not None:
        sealed = was_sealed
        st.caption("The book has it sealed." if sealed else "The book has it not sealed.")
    return dry, sealed


def _typed(book, asked):
    """(bath, Lab, Lab wanted, settings, nothing of its surface) as typed; None until all is there."""
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
    return bath, read_colour(text, book), asked.target, settings, (None, None)


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

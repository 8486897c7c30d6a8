"""The shade to reach: typed, from a batch, from what a customer brought, or from the last photo."""

import re

import streamlit as st

from dyebook.advice.judge import Shade
from dyebook.advice.suggest import sample_caution
from dyebook.errors import RecordError
from dyebook.jobs.shade import shades_to_match
from dyebook.jobs.verdict import batch_shade
from dyebook.lab import Lab, looks_like_munsell, munsell_to_lab, srgb8_to_lab
from dyebook.record import check_value
from dyebook.screens.answers import show_doubt
from dyebook.screens.drafts import draft
from dyebook.screens.fields import ask_text, choose, choose_from

__all__ = ["batch_number", "pick_target", "read_colour"]

TYPED, BATCH, KEPT, PHOTO = "Typed", "Batch", "Customer's", "Photo"
_KINDS = ("dyed metal", "plastic", "paper", "cloth", "paint")
_HELP = (
    "CIELAB under D65 and the 2° observer as L, a, b; a screen colour as #rrggbb; or a Munsell notation by ASTM D1535 "
    "such as 5PB 4/8 or N5, brought from illuminant C to D65."
)


def pick_target(book):
    """Draw the question and return (name, Shade, tolerance in CIEDE2000 or None); None until there is one."""
    way = choose("shade_from", "The shade to reach", [TYPED, BATCH, KEPT, PHOTO])
    ask = {TYPED: _typed, BATCH: _of_batch, KEPT: _kept, PHOTO: _of_photo}[way]
    found = ask(book)
    if way in (TYPED, KEPT):
        made_of = choose_from("shade_sample_kind", "What it should match is", _KINDS)
        if caution := sample_caution(made_of):
            show_doubt(caution)
    return found


def read_colour(text: str, book):
    """Return the Lab of a colour as it was typed.

    `text`: ``"35, 10, -42"``, ``"#1f4e8c"``, a Munsell notation, or ``"batch 12"``, ``"12"``.
    """
    if looks_like_munsell(text):
        return _munsell(text)
    text = text.strip().replace("−", "-")
    code = re.fullmatch(r"#?([0-9a-fA-F]{6})", text)
    if code and (text.startswith("#") or not text.isdigit()):
        return Lab(*map(float, srgb8_to_lab(bytes.fromhex(code[1]))))
    if (number := batch_number(text)) is not None:
        row = book.batch(number)
        if row.lab is None:
            raise RecordError(f"batch {row.batch} has no reading yet; photograph it, or give the colour as L, a, b")
        return Lab(*map(float, row.lab))
    numbers = re.findall(r"[-+]?\d+(?:\.\d+)?", text)
    if len(numbers) != 3:
        raise RecordError(f"{text!r} is no colour; write L, a, b such as 35, 10, -42, or #rrggbb, or a batch's number")
    return Lab(*(check_value(axis, number) for axis, number in zip("Lab", numbers, strict=True)))


def batch_number(text: str) -> int | None:
    """Return the batch that a colour as typed names, such as "batch 12"; None where it is a colour of its own."""
    found = re.fullmatch(r"(?:batch\s*)?#?(\d+)", text.strip(), re.IGNORECASE)
    is_code = re.fullmatch(r"#[0-9a-fA-F]{6}", text.strip())
    return int(found[1]) if found and not is_code else None


@st.cache_data(max_entries=100, show_spinner="Looking the notation up …")
def _munsell(text):
    return munsell_to_lab(text)


def _typed(book):
    text = ask_text("shade_typed", "Colour", "35, 10, −42 or #1f4e8c or 5PB 4/8", explain=_HELP)
    return (f"Target {text}", Shade(read_colour(text, book)), None) if text else None


def _of_batch(book):
    number = ask_text("shade_batch", "Number of the batch", "12")
    if not number:
        return None
    shade = Shade(read_colour(f"batch {number}", book))
    if number.strip().isdigit():
        shade = batch_shade(book, book.batch(int(number)))
    return f"As batch {number}", shade, None


def _kept(book):
    shades = {shade.name: shade for shade in shades_to_match(book)}
    if not shades:
        st.markdown("No customer's shade is in the book yet. Photograph one beside a part, and say which it is.")
        return None
    name = choose_from("shade_kept", "Shade", shades)
    return name, shades[name].shade, shades[name].tolerance_de00


def _of_photo(_book):
    (name, *_), parts = draft().get("last_read", ("",)), draft().get("last_parts", ())
    if not parts:
        st.markdown("No photo was read yet. Take one on the Photo page, then come back.")
        return None
    index = 0
    if len(parts) > 1:
        index = choose_from("shade_photo_part", "Which", range(len(parts)), lambda one: f"part {one + 1}")
    return f"From {name}", Shade.of(parts[index]), None

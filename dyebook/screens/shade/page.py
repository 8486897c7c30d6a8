"""Shade: what to set for a shade, what to expect of it, what to do with a part that is off, and what to try next."""

from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

import streamlit as st

from dyebook.advice.judge import Shade
from dyebook.lab import Lab
from dyebook.screens import session
from dyebook.screens.answers import name_page
from dyebook.screens.fields import ask, choose, choose_from, switch
from dyebook.screens.shade.baths import baths_of, stands_of
from dyebook.screens.shade.target import pick_target

__all__ = ["ALL_BATHS", "Question", "show"]

ALL_BATHS = "all baths: which first?"
# what can be asked, by the module shade_… that answers it
WAYS = {"answer": "What to set", "redip": "Put a part right", "coupon": "Test dip"}
_WEB = Path(__file__).parents[1] / "web"


@dataclass(frozen=True)
class Question:
    """What is asked of the baths."""

    name: str  # what the target is called
    shade: Shade  # the target as it was read or stated
    tolerance: float | None  # CIEDE2000 that passes, where the target came with one
    baths: dict  # dict of DataFrame: dips by bath
    bath: str | None  # the bath to dip in; None while any will do
    film_um: float | None
    fixed: dict  # settings that cannot move
    place: str  # the book, for what is remembered of it
    stands: dict  # `Stands` today by bath
    free: bool  # True where strength and temperature of the bath may be changed for this shade

    @property
    def target(self) -> Lab:
        """The colour to reach."""
        return self.shade.lab


def show(book=None):
    """Draw the page, or the bench's step in its open book."""
    for style in ("bench.css", "shade.css"):
        st.html(_WEB / style)
    if book is None:
        name_page("Shade")
        book = session.the_book()
    baths = baths_of(book)
    left, right = st.columns([2, 3], gap="large")
    target = None
    with left, session.friendly_errors():
        target = pick_target(book)
    with left:
        bath, film_um, fixed, free = _ask_settings(book, baths)
    # on the phone what is known already stands below the answer
    answer = right.container(key="shade_first" if target is not None else "shade_later")
    with answer, session.friendly_errors():
        way = choose("shade_way", "Asked", list(WAYS), WAYS.get, hidden=True)
        if target is None:
            _before_a_target(baths)
            return
        stands = stands_of(book, baths)
        asked = Question(*target, baths, bath, film_um, fixed, str(book.place.name), stands, free)
        import_module(f"dyebook.screens.shade.{way}").show(book, asked)


def _ask_settings(book, baths):
    """Ask which bath and what cannot move; return (bath or None, film or None, fixed settings, strength free)."""
    bath = choose_from("shade_bath", "Bath", [ALL_BATHS, *baths])
    bath = None if bath == ALL_BATHS else bath
    left, right = st.container(key="shade_settings").columns(2)
    with left:
        film_um = ask("shade_film_um", "Film, µm", hint="free", quantity="film_um", explain=_FREE)
    with right:
        temp = ask("shade_bath_temp_c", "My bath is at, °C", hint="as it is", quantity="bath_temp_c", explain=_FREE)
    strength = ph = None
    if bath:
        now = stands_of(book, baths)[bath].now_g_per_l
        hint = f"{now:.2g}, as it is" if now is not None else "free"
        with left:
            strength = ask("shade_dye_g_per_l", "Dye strength, g/L", hint=hint, quantity="dye_g_per_l", explain=_TODAY)
        with right:
            ph = ask("shade_ph", "pH", hint="as usual", quantity="ph_a")
    free = switch("shade_free", "It may be warmed and topped up", explain=_TODAY)
    given = {"dye_g_per_l": strength, "bath_temp_c": temp, "ph": ph}
    return bath, film_um, {name: value for name, value in given.items() if value is not None}, free


_FREE = "Leave it empty where it may be chosen for you. Other units are welcome."
_TODAY = (
    "A bath is taken as it stands: as strong as its own page says, as warm as its last dip found it, within your "
    "rules. The time in the dye is the answer."
)


def _before_a_target(baths):
    if not baths:
        st.markdown(
            "No bath in the book has a reading yet. Three to six dips that were photographed are enough to begin "
            "with; **Test dip** says which ones teach most."
        )
        return
    count = sum(len(dips) for dips in baths.values())
    some = "One bath" if len(baths) == 1 else f"{len(baths)} baths"
    st.markdown(f"{some} with {count} readings can be asked. Say which shade is wanted.")

"""A year in the invented shop, batch by batch: what was planned, what truly happened, and what was noted.

Its dyes are invented too: how much of one a film takes up follows the uptake model, what colour it then has its bands.
"""

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dyebook.lab import Lab
from dyebook.physics.optics import BANDS_NM, film_reflectance, metal_reflectance, reflectance_to_lab
from dyebook.physics.uptake import arrhenius_factor, isotherm_langmuir, ph_bell, uptake_crank1975

__all__ = [
    "BATH_LIFE", "COUNT", "DYE_RULES", "FOLDER", "NEWEST_WITH_PHOTO", "SHOP_DYES", "Film", "Planned", "ShopDye",
    "dyed_film", "film_lab", "photo_of", "shop_year",
]  # fmt: skip

# what an exhausted or foul bath carries besides its own dye
_FOREIGN = ((640, 40, 0.55), (430, 45, 0.35))

_OUTER = 0.056  # reflection of the film's surface, of index 1.62


@dataclass(frozen=True)
class Film:
    """A dyed film on aluminium: absorption bands (peak nm, sigma nm, weight), peak absorbance of one pass."""

    bands: tuple = ()
    absorbance: float = 0.0
    metal: float = 0.9  # what etched metal gives back, against a mirror of aluminium
    veil: float = 0.002  # grey light that the film scatters before it has met dye


def film_lab(film: Film) -> Lab:
    """Return the Lab of a film, the mirror reflection of its surface excluded."""
    bands = (w * np.exp(-0.5 * ((BANDS_NM - peak) / sigma) ** 2) for peak, sigma, w in film.bands)
    absorbance = film.absorbance * sum(bands, np.zeros_like(BANDS_NM))
    seen = film_reflectance(absorbance, film.metal * metal_reflectance(), _OUTER, veil=film.veil)
    return Lab(*map(float, reflectance_to_lab(seen - _OUTER)))


@dataclass(frozen=True)
class ShopDye:
    """An invented dye; figures of the usual order, no measured dye stands behind them."""

    bands: tuple  # absorption bands, as those of a `Film`
    full_absorbance: float  # peak absorbance of one pass through 10 µm of film that holds all it can
    half_g_per_l: float  # strength that fills half of it
    diffusivity_um2_per_min: float  # at 40 °C
    best_ph: float


# wider than the scene's own dyes, with a little of everything absorbed: colours that a phone's file can hold
SHOP_DYES = {
    "Ember": ShopDye(((480, 52, 1.0), (560, 120, 0.16)), 3.0, 1.6, 3.0, 5.5),
    "Harbour blue": ShopDye(((605, 60, 1.0), (500, 130, 0.24)), 1.7, 2.4, 1.6, 5.6),
    "Heather": ShopDye(((555, 55, 1.0), (560, 140, 0.2)), 1.9, 1.1, 2.6, 5.2),
    "Lichen": ShopDye(((650, 55, 0.9), (430, 50, 0.9), (540, 150, 0.28)), 2.0, 2.8, 2.0, 5.8),
}


def dyed_film(
    dye: str, film_um: float, dye_g_per_l: float, bath_temp_c: float, dwell_min: float, ph: float, foreign: float = 0.0
) -> Film:
    """Return the film that a dip in one of SHOP_DYES gives, its settings as they truly were, not as planned.

    `foreign` is foreign dye in the bath against its own, 0 for a clean one.
    """
    kind = SHOP_DYES[dye]
    diffusivity = kind.diffusivity_um2_per_min * arrhenius_factor(bath_temp_c, 45.0)
    filled = isotherm_langmuir(dye_g_per_l, kind.half_g_per_l) * uptake_crank1975(film_um, dwell_min, diffusivity)
    absorbance = kind.full_absorbance * film_um / 10 * float(filled * ph_bell(ph, kind.best_ph, 1.6))
    strange = tuple((peak, sigma, weight * foreign) for peak, sigma, weight in _FOREIGN) if foreign else ()
    return Film(kind.bands + strange, absorbance, 0.86, 0.004)


COUNT = 86
NEWEST_WITH_PHOTO = 8
FOLDER = Path(__file__).parent / "photos"

# dye, bath, film_um, dye_g_per_l, bath_temp_c, dwell_min, ph, alloy, finish, what for
_RECIPES = {
    "knobs": ("Ember", "E1", 12.0, 3.0, 50.0, 6.0, 5.5, "6061", "blasted", "lamp knobs"),
    "pale knobs": ("Ember", "E1", 12.0, 3.0, 50.0, 1.5, 5.5, "6061", "blasted", "lamp knobs, pale run"),
    "paddles": ("Harbour blue", "B1", 15.0, 4.0, 55.0, 12.0, 5.6, "6082", "brushed", "paddle ferrules"),
    "tags": ("Harbour blue", "B1", 10.0, 4.0, 55.0, 3.0, 5.6, "5005", "brushed", "key tags"),
    "grips": ("Heather", "H1", 12.0, 2.0, 45.0, 5.0, 5.2, "6061", "etched", "tool grips"),
    "rings": ("Heather", "H1", 8.0, 2.0, 45.0, 1.5, 5.2, "6061", "polished", "drawer pulls"),
    "pegs": ("Lichen", "L1", 14.0, 5.0, 55.0, 8.0, 5.8, "6082", "etched", "tent pegs"),
}
# the shop's round of work; the newest batches end it
_ROUND = ("knobs", "paddles", "grips", "pegs", "tags", "knobs", "pale knobs", "rings", "paddles", "grips")
_NEWEST = ("grips", "knobs", "paddles", "tags", "pegs", "knobs", "rings", "paddles", "knobs", "tags")

# dye, bath, days ago, what happened, g/L then, pH then, note
BATH_LIFE = (
    ("Ember", "E1", 366, "made_up", 3.0, 5.5, "made up fresh, filtered"),
    ("Harbour blue", "B1", 366, "made_up", 4.0, 5.6, None),
    ("Heather", "H1", 366, "made_up", 2.0, 5.2, None),
    ("Lichen", "L1", 366, "made_up", 5.0, 5.8, None),
    ("Harbour blue", "B1", 250, "topped_up", 4.0, 5.6, None),
    ("Ember", "E1", 160, "topped_up", 3.0, 5.5, "knobs had come out ever paler"),
    ("Harbour blue", "B1", 130, "topped_up", 4.0, 5.6, None),
    ("Heather", "H1", 96, "thrown_out", 2.0, 5.0, "dull since a rack came over from the green bath unrinsed"),
    ("Heather", "H2", 94, "made_up", 2.0, 5.2, "its own drip rack from now on"),
    ("Lichen", "L1", 70, "topped_up", 5.0, 5.8, None),
)
# dye, pH window, temperature window, days until the shop makes it up afresh
DYE_RULES = (
    ("Ember", (5.2, 5.8), (48, 52), 540),
    ("Harbour blue", (5.3, 5.9), (53, 57), 540),
    ("Heather", (4.9, 5.5), (43, 47), 360),
    ("Lichen", (5.5, 6.1), (53, 57), 540),
)
# wetted area of a batch of each job
_AREA_DM2 = {"knobs": 5.2, "pale knobs": 5.2, "paddles": 7.6, "tags": 3.1, "grips": 8.4, "rings": 2.2, "pegs": 4.5}
_FADE_PER_DAY = {"E1": 0.0038, "B1": 0.0007, "H1": 0.0008, "H2": 0.0005, "L1": 0.0008}
_FOUL_DAYS_AGO = (124, 96)
_LOST_CONTACT = 51


@dataclass(frozen=True)
class Planned:
    """One batch of the year."""

    index: int  # from 0, oldest first
    days_ago: int
    hour: int
    settings: dict  # names of `dyebook.record.FIELDS`, as they were written down
    job: str  # key of the shop's recipes
    film: Film  # as it truly came out
    replaces: int | None = None  # index of the batch that was stripped and is done again
    true_film_um: float = math.nan  # the film that truly grew


def shop_year():
    """Return all batches, oldest first; the same every time."""
    rng = np.random.default_rng(1811)
    return tuple(_batch(rng, index) for index in range(COUNT))


def _batch(rng, index):
    days_ago = round(363 * (1 - index / (COUNT - 1)) + (rng.uniform(-1.5, 1.5) if index < COUNT - 1 else 0))
    days_ago = max(days_ago, 0)
    job = _job(index)
    dye, bath, film_um, g_per_l, temp, dwell, ph, alloy, finish, what = _RECIPES[job]
    if bath == "H1" and days_ago < 94:
        bath = "H2"
    settings = {
        "dye": dye,
        "bath": bath,
        "film_um": film_um,
        "dye_g_per_l": g_per_l,
        "bath_temp_c": round(temp + rng.normal(0, 0.5), 1),
        "dwell_min": dwell,
        "ph": round(ph + rng.normal(0, 0.06), 1),
        "area_dm2": _AREA_DM2[job],
        "alloy": alloy,
        "finish": finish,
        "note": what,
    }
    true_film_um = film_um * math.exp(rng.normal(0, 0.03))
    if index == _LOST_CONTACT:
        true_film_um = 4.6
        settings |= {"film_measured_um": 4.8, "note": f"{what}; pale all over, the rack had lost contact"}
    replaces = _LOST_CONTACT if index == _LOST_CONTACT + 1 else None
    if replaces is not None:
        settings["note"] = f"{what}; stripped, re-racked, done again"
    strength = g_per_l * _strength(bath, days_ago)
    foreign = 0.5 if bath == "H1" and _FOUL_DAYS_AGO[1] <= days_ago <= _FOUL_DAYS_AGO[0] else 0.0
    film = dyed_film(dye, true_film_um, strength, settings["bath_temp_c"], dwell, settings["ph"], foreign)
    return Planned(index, days_ago, int(rng.integers(9, 17)), settings, job, film, replaces, true_film_um)


def _job(index):
    if index >= COUNT - len(_NEWEST):
        return _NEWEST[index - COUNT + len(_NEWEST)]
    return "knobs" if index in (_LOST_CONTACT, _LOST_CONTACT + 1) else _ROUND[index % len(_ROUND)]


def _strength(bath, days_ago):
    """Dye left against what was noted, since the bath was last made up or topped up."""
    fresh = [life[2] for life in BATH_LIFE if life[1] == bath and life[2] >= days_ago and life[3] != "thrown_out"]
    return math.exp(-_FADE_PER_DAY[bath] * (min(fresh) - days_ago)) if fresh else 1.0


def photo_of(planned):
    """Return the file of a batch's photo, or None for the older ones."""
    if planned.index < COUNT - NEWEST_WITH_PHOTO - 1 or planned.index == COUNT - 1:
        return None  # the very newest is still waiting for its photo
    return FOLDER / f"batch_{planned.index + 1}.jpg"

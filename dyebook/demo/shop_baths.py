"""The invented shop's dyes and baths: how much dye its films take up, and what colour they then have."""

from dataclasses import dataclass

from dyebook.demo.spectra import Film
from dyebook.physics.uptake import arrhenius_factor, isotherm_langmuir, ph_bell, uptake_crank1975

__all__ = ["SHOP_DYES", "ShopDye", "dyed_film"]

# what an exhausted or foul bath carries besides its own dye
_FOREIGN = ((640, 40, 0.55), (430, 45, 0.35))


@dataclass(frozen=True)
class ShopDye:
    """An invented dye; figures of the usual order, no measured dye stands behind them.

    Attributes
    ----------
    bands : tuple
        Absorption bands as in `dyebook.demo.spectra`.
    full_absorbance : float
        Peak absorbance of one pass through 10 µm of film that holds all it can.
    half_g_per_l : float
        Strength that fills half of it.
    diffusivity_um2_per_min : float
        At 40 °C.
    best_ph : float
    """

    bands: tuple
    full_absorbance: float
    half_g_per_l: float
    diffusivity_um2_per_min: float
    best_ph: float


# wider than the scene's own dyes, with a little of everything absorbed: colours that a phone's file can hold
SHOP_DYES = {
    "Ember": ShopDye(((480, 52, 1.0), (560, 120, 0.16)), 3.0, 1.6, 3.0, 5.5),
    "Harbour blue": ShopDye(((605, 60, 1.0), (500, 130, 0.24)), 1.7, 2.4, 1.6, 5.6),
    "Heather": ShopDye(((555, 55, 1.0), (560, 140, 0.2)), 1.9, 1.1, 2.6, 5.2),
    "Lichen": ShopDye(((650, 55, 0.9), (430, 50, 0.9), (540, 150, 0.28)), 2.0, 2.8, 2.0, 5.8),
}


def dyed_film(dye, film_um, dye_g_per_l, bath_temp_c, dwell_min, ph, foreign=0.0):
    """Return the film that a dip gives.

    Parameters
    ----------
    dye : str
        A key of SHOP_DYES.
    film_um, dye_g_per_l, bath_temp_c, dwell_min, ph : float
        As they truly were, not as planned.
    foreign : float
        Foreign dye in the bath against its own, 0 for a clean one.

    Returns
    -------
    dyebook.demo.spectra.Film
    """
    kind = SHOP_DYES[dye]
    diffusivity = kind.diffusivity_um2_per_min * arrhenius_factor(bath_temp_c, 45.0)
    filled = isotherm_langmuir(dye_g_per_l, kind.half_g_per_l) * uptake_crank1975(film_um, dwell_min, diffusivity)
    absorbance = kind.full_absorbance * film_um / 10 * float(filled * ph_bell(ph, kind.best_ph, 1.6))
    strange = tuple((peak, sigma, weight * foreign) for peak, sigma, weight in _FOREIGN) if foreign else ()
    return Film(kind.bands + strange, absorbance, 0.86, 0.004)

"""How much dye a film takes up: diffusion, adsorption, temperature and pH, as plain functions of arrays.

Each is dimensionless, so that fitting code can put them together; nothing here knows a particular dye.
"""

import numpy as np

from dyebook.physics.rates import GAS_J_PER_MOL_K

__all__ = ["ZERO_C_K", "arrhenius_factor", "isotherm_langmuir", "ph_bell", "uptake_crank1975"]

ZERO_C_K = 273.15
_TERMS = 8
# below this Dt/L² the square-root law, above it the series; both are exact there to 1e-12
_SHORT = 0.1


def uptake_crank1975(film_um, dwell_min, diffusivity_um2_per_min) -> np.ndarray:
    """Return the fraction of saturation dye in a film that is open at one face and sealed at the metal.

    `film_um`, `dwell_min`, `diffusivity_um2_per_min` (float or array_like, broadcastable): film above 0; dwell and
    diffusivity not negative. ValueError if a film is not positive, or a dwell or diffusivity is negative.

    Notes
    -----
    Fickian diffusion with a constant concentration at the open face. Short times use
    2 sqrt(x) (1/sqrt(pi) + 2 Σ (-1)^n ierfc(n / sqrt(x))) with x = Dt/L², long times the cosine series.

    References
    ----------
    Crank, The Mathematics of Diffusion, 2nd ed. (1975), equations 4.18 and 4.20.
    """
    from scipy.special import erfc

    film, dwell, diffusivity = (np.asarray(v, dtype=float) for v in (film_um, dwell_min, diffusivity_um2_per_min))
    if np.any(film <= 0):
        raise ValueError("film_um must be above 0")
    if np.any(dwell < 0) or np.any(diffusivity < 0):
        raise ValueError("dwell_min and diffusivity_um2_per_min must not be negative")
    x = diffusivity * dwell / film**2
    root = np.sqrt(np.maximum(x, 1e-300))
    first = 1 / root
    ierfc = np.exp(-(first**2)) / np.sqrt(np.pi) - first * erfc(first)
    short = 2 * root * (1 / np.sqrt(np.pi) - 2 * ierfc)
    odd = ((2 * np.arange(_TERMS) + 1) * np.pi) ** 2
    long = 1 - np.sum(8 / odd * np.exp(-odd * np.maximum(x, _SHORT / 2)[..., None] / 4), axis=-1)
    return np.where(x < _SHORT, short, long)


def isotherm_langmuir(dye_g_per_l, half_g_per_l):
    """Return the covered share C / (C + half), Langmuir (1918); `half_g_per_l` is the strength that covers half."""
    dye = np.asarray(dye_g_per_l, dtype=float)
    return dye / (dye + half_g_per_l)


def arrhenius_factor(bath_temp_c, energy_kj_per_mol, reference_temp_c=40.0) -> np.ndarray:
    """Return the ratio of a rate to its value at `reference_temp_c`.

    It is 1 at the reference, and larger when warmer for positive energies.
    """
    inverse = 1 / (np.asarray(bath_temp_c, dtype=float) + ZERO_C_K) - 1 / (reference_temp_c + ZERO_C_K)
    return np.exp(-np.asarray(energy_kj_per_mol, dtype=float) * 1e3 / GAS_J_PER_MOL_K * inverse)


def ph_bell(ph, best_ph, width_ph):
    """Return the uptake relative to that at the dye's best pH: a bell of standard width `width_ph`, above 0."""
    return np.exp(-0.5 * ((np.asarray(ph, dtype=float) - best_ph) / width_ph) ** 2)

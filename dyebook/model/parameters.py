"""The unknowns of a bath: what each means, and what is believed of it before the first dip.

The fit works on standard-normal coordinates; a parameter's value is link(mean + spread * coordinate).
"""

from dataclasses import dataclass

import numpy as np

__all__ = ["SURFACE", "UPTAKE", "Parameter", "parameter_values"]


@dataclass(frozen=True)
class Parameter:
    """One unknown with its prior.

    Attributes
    ----------
    name : str
        Name with its unit.
    mean, spread : float
        Of the normal prior, on the scale of the link.
    link : {"identity", "exp", "logistic"}
    source : str
        Where the prior comes from.
    """

    name: str
    mean: float
    spread: float
    link: str
    source: str


def parameter_values(table, z):
    """Return the values behind standard coordinates.

    Parameters
    ----------
    table : sequence of Parameter
    z : ndarray, shape (..., len(table))

    Returns
    -------
    list of ndarray, each of shape (...)
    """
    return [_link(row.link, row.mean + row.spread * z[..., i]) for i, row in enumerate(table)]


def _link(kind, x):
    if kind == "exp":
        return np.exp(x)
    return 1 / (1 + np.exp(-x)) if kind == "logistic" else x


_LN = np.log

SURFACE = (
    Parameter(
        "surface", _LN(0.03), 0.7, "exp", "mirror part of a film, n 1.5 to 1.77, partly seen; veil of matte work"
    ),
    Parameter("inner", -1.4, 1.1, "logistic", "0.05 collimated to 0.7 diffuse light inside the film"),
    Parameter("metal", 1.6, 1.0, "logistic", "smooth aluminium 0.95 to grey etched alloys near 0.5"),
    Parameter("metal_tilt", 0.0, 0.15, "identity", "slope of the metal over wavelength"),
    Parameter("path_spread", _LN(0.04), 1.0, "exp", "relative variance of the light's path through dye"),
)

UPTAKE = (
    Parameter("half_g_per_l", _LN(2.5), 1.2, "exp", "full shades need 2 g/L, pastels far less"),
    Parameter("isotherm_exponent", _LN(0.8), 0.3, "exp", "Langmuir 1, Freundlich 0.3 to 0.7"),
    Parameter("time_constant_min", _LN(11.0), 1.4, "exp", "handbook dwells of 5 to 30 min"),
    Parameter("energy_kj_per_mol", 35.0, 10.0, "identity", "20 to 50 kJ/mol on alumina"),
    Parameter("capacity_energy_kj_per_mol", 4.0, 6.0, "identity", "dyeing of alumina is weakly endothermic"),
    Parameter("order", _LN(0.65), 0.3, "exp", "diffusion 0.5, reaction 1"),
    Parameter("sharpness", _LN(1.8), 0.6, "exp", "second order 1, first order near 2, diffusion 5.8"),
    Parameter("rate_film_exponent", 1.0, 0.7, "identity", "diffusion 2, reaction at the surface 0"),
    Parameter("capacity_film_exponent", 0.85, 0.3, "identity", "a film holds dye in its volume: 1"),
    Parameter("rate_dye_exponent", 0.1, 0.25, "identity", "strong baths may fill faster"),
    Parameter("best_ph", 5.5, 0.6, "identity", "general practice 5 to 6, kept per dye"),
    Parameter("ph_curvature", _LN(0.35), 0.9, "exp", "inverse variance of the pH bell; width 1 to 3 units"),
)

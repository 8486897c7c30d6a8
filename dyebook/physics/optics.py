"""The spectrum of a dyed film on metal, and the colour it has.

Light enters the film, crosses the dye twice with a reflection at the metal between, and leaves, some of it bouncing
inside. Everything is computed on 31 bands from 400 to 700 nm and integrated to CIELAB.

References
----------
Saunderson, J. Opt. Soc. Am. 32 (1942) 727, for the interface correction; the closed form used here is its
normal-incidence, incoherent sum.
"""

from functools import cache
from importlib.resources import files

import numpy as np

__all__ = [
    "BANDS_NM",
    "LN_DOUBLE_PASS",
    "film_reflectance",
    "lab_of_xyz_ratio",
    "light_weights",
    "metal_reflectance",
    "reflectance_to_lab",
]

BANDS_NM = np.arange(400.0, 701.0, 10.0)
# absorbance is decadic and light crosses the film twice: transmittance = exp(-LN_DOUBLE_PASS * A)
LN_DOUBLE_PASS = 2 * np.log(10.0)
_DELTA = 6 / 29


@cache
def _table():
    text = files("dyebook.physics").joinpath("spectral.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    values = np.array([line.split(",") for line in lines[1:]], dtype=float)
    return dict(zip(lines[0].split(","), values.T, strict=True))


@cache
def light_weights(light="d65") -> np.ndarray:
    """Return the weights that turn a spectrum into tristimulus values.

    They are CIE 1931 2-degree X, Y, Z per unit reflectance, (31, 3), Y of a perfect white being 1. `light` ("d65", "a",
    "led"): CIE illuminant D65, A (lamp) or LED-B3.
    """
    if light not in ("d65", "a", "led"):
        raise ValueError(f"light must be 'd65', 'a' or 'led', not {light!r}")
    return np.stack([_table()[f"{axis}_{light}"] for axis in "xyz"], axis=1)


def metal_reflectance(film_index: float = 1.62) -> np.ndarray:
    """Return the reflectance of smooth pure aluminium inside a film, at normal incidence.

    `film_index`: refractive index of what lies on the metal; 1.0 for air.

    References
    ----------
    Rakic, Appl. Opt. 34 (1995) 4755 for the index of aluminium.
    """
    n, k = _table()["al_n"], _table()["al_k"]
    return ((n - film_index) ** 2 + k**2) / ((n + film_index) ** 2 + k**2)


def film_reflectance(
    absorbance, metal=None, outer: float = 0.056, inner: float | None = None, veil: float = 0.0
) -> np.ndarray:
    """Return the reflectance of a dyed film on metal.

    Parameters
    ----------
    absorbance : array_like, shape (..., 31)
        Decadic absorbance of one pass.
    metal : array_like, optional
        Reflectance of the bare metal inside the film; aluminium when left out.
    outer, inner
        Reflectance of the film's surface from outside and from inside; `inner` equals `outer` when left out, which
        is the case of normal incidence. Diffuse light has a much larger `inner`.
    veil
        Light scattered back at the surface without having seen dye.

    Notes
    -----
    R = outer + veil + (1 - outer)(1 - inner) Rm T² / (1 - inner Rm T²) with T² = 10^(-2 A).
    """
    metal = metal_reflectance() if metal is None else np.asarray(metal, dtype=float)
    inner = outer if inner is None else inner
    inside = metal * np.exp(-LN_DOUBLE_PASS * np.asarray(absorbance, dtype=float))
    return outer + veil + (1 - outer) * (1 - inner) * inside / (1 - inner * inside)


def reflectance_to_lab(reflectance, light="d65"):
    """Return CIELAB of spectra (..., 31) for the 2-degree observer, white point that of the `light` itself."""
    weights = light_weights(light)
    ratio = np.asarray(reflectance, dtype=float) @ (weights / weights.sum(axis=0))
    return lab_of_xyz_ratio(ratio)


def lab_of_xyz_ratio(ratio):
    """Return L*, a*, b* of X/Xn, Y/Yn, Z/Zn, shape (..., 3) in and out (ISO/CIE 11664-4)."""
    ratio = np.asarray(ratio)
    f = np.where(ratio > _DELTA**3, np.cbrt(np.maximum(ratio, 1e-12)), ratio / (3 * _DELTA**2) + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)

"""Spectra of lights, bench materials and dyed film, and the colour a spectrum has under D65."""

from functools import cache

import colour
import numpy as np
from colour.difference import delta_E_CIE2000

WAVELENGTHS_NM = np.arange(380.0, 781.0, 5.0)
SHAPE = colour.SpectralShape(380, 780, 5)

# name: how often it lights a bench
ILLUMINANTS = {
    "D50": 2, "D55": 3, "D65": 3, "D75": 2, "A": 2, "FL2": 1, "FL10": 1, "FL11": 1,
    "LED-B1": 2, "LED-B2": 2, "LED-B3": 3, "LED-B4": 2, "LED-B5": 2, "LED-BH1": 1, "LED-V1": 1,
}  # fmt: skip

# peak nm, width nm, weight of each absorption band; the widths are usual ones for each class of dye, no source
DYES = {
    "straw": [(425, 38, 1.0)],
    "gold": [(445, 48, 1.0), (520, 60, 0.25)],
    "orange": [(485, 40, 1.0)],
    "scarlet": [(505, 36, 1.0), (400, 45, 0.35)],
    "claret": [(520, 42, 1.0), (430, 50, 0.5), (600, 40, 0.25)],
    "pink": [(535, 30, 1.0)],
    "violet": [(560, 42, 1.0), (600, 30, 0.4)],
    "navy": [(590, 45, 1.0), (640, 35, 0.7), (470, 60, 0.25)],
    "azure": [(630, 30, 1.0), (585, 28, 0.45)],
    "lagoon": [(660, 34, 1.0), (610, 30, 0.5), (400, 40, 0.3)],
    "leaf": [(430, 40, 0.9), (640, 36, 1.0), (595, 30, 0.4)],
    "bronze": [(430, 60, 1.0), (530, 70, 0.6), (630, 60, 0.3)],
    "black": [(440, 60, 1.0), (540, 55, 1.0), (620, 60, 1.1), (690, 45, 0.8)],
    "slate": [(450, 70, 0.8), (570, 60, 1.0), (660, 60, 0.9)],
}


@cache
def observer():
    """Return the 2-degree colour matching functions, shape (81, 3)."""
    return colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(SHAPE).values


@cache
def illuminant(name):
    """Return the power of a light over the wavelengths, scaled to mean 1; shape (81,)."""
    power = colour.SDS_ILLUMINANTS[name].copy().align(SHAPE).values
    return power / power.mean()


def _gauss(peak_nm, width_nm):
    return np.exp(-0.5 * ((WAVELENGTHS_NM - peak_nm) / width_nm) ** 2)


def xyz(reflectance):
    """Return D65 tristimulus values (Y = 1 for white) of reflectances, shape (..., 81) to (..., 3)."""
    weight = illuminant("D65")[:, None] * observer()
    return reflectance @ weight / weight[:, 1].sum()


def lab(reflectance):
    """Return CIELAB (D65, 2 degrees) of a reflectance; a perfect white is exactly 100, 0, 0."""
    ratio = xyz(reflectance) / xyz(np.ones(WAVELENGTHS_NM.size))
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


def linear_srgb(reflectance):
    """Return linear sRGB of a reflectance, white at (1, 1, 1)."""
    matrix = np.asarray(colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB)
    white = matrix @ xyz(np.ones(WAVELENGTHS_NM.size))
    return xyz(reflectance) @ matrix.T / white


def bands(parts):
    """Return the absorbance of unit strength of a list of (peak nm, width nm, weight) bands."""
    return sum(weight * _gauss(peak, width) for peak, width, weight in parts)


class Film:
    """A dyed film on aluminium: absorbance per single pass, the metal under it, and the haze of its surface."""

    def __init__(self, absorbance, base, haze):
        self.absorbance, self.base, self.haze = np.maximum(absorbance, 0), base, haze

    def reflectance(self, path=1.0):
        """Return what comes back out of the film after two passes of a relative path length, without the haze."""
        metal = 0.99 - 0.06 * (WAVELENGTHS_NM - 550) / 230  # aluminium falls a little towards red
        through = metal * 10.0 ** (-2.0 * np.multiply.outer(path, self.absorbance))
        again = 0.4  # share of the returning light that the film's surface sends back for another round
        return self.base * through * (1 - again) / (1 - again * through)

    @property
    def lab(self):
        """Lab of a flat piece, mirror reflection excluded."""
        return lab(self.reflectance() + self.haze)

    @property
    def in_gamut(self):
        """Whether sRGB can hold the colour."""
        rgb = linear_srgb(self.reflectance() + self.haze)
        return bool(np.all((rgb >= 0) & (rgb <= 1)))


def draw_film(rng):
    """Return a film of a random dye, strength and finish."""
    name = rng.choice(list(DYES))
    absorbance = bands([(p + rng.normal(0, 5), w * rng.uniform(0.85, 1.25), k) for p, w, k in DYES[name]])
    if rng.random() < 0.25:
        other = DYES[rng.choice(list(DYES))]
        absorbance = absorbance + rng.uniform(0.05, 0.35) * bands(other)
    strong = {"black": (0.4, 1.3), "slate": (0.12, 0.6)}.get(name, (0.12, 0.95))
    strength = np.exp(rng.uniform(*np.log(strong)))
    return Film(strength * absorbance, rng.uniform(0.5, 0.78), rng.uniform(0.003, 0.011))


def near_film(film, rng):
    """Return a film of the same bath, CIEDE2000 2 to 8 away: dipped longer or shorter, or the bath a little off."""
    goal = rng.uniform(2.0, 8.0)
    change = rng.choice([-1, 1]) * film.absorbance
    if rng.random() < 0.4:
        change = film.absorbance.max() * bands(DYES[rng.choice(list(DYES))])
    low, high = 0.0, 0.6 if change.min() < 0 else 2.0
    for _ in range(24):
        middle = (low + high) / 2
        other = Film(film.absorbance + middle * change, film.base, film.haze)
        low, high = (middle, high) if delta_E_CIE2000(film.lab, other.lab) < goal else (low, middle)
    return other if delta_E_CIE2000(film.lab, other.lab) > 0.9 * goal else None


def neutral(level, slope=0.0, bump=0.0):
    """Return a nearly grey reflectance; slope is its relative rise towards red, bump a swelling at 570 nm."""
    x = (WAVELENGTHS_NM - 570) / 200
    return level * (1 + slope * x + bump * (_gauss(570, 50) - 0.35))


def pigment(low, high, edge_nm, width_nm=25.0):
    """Return a reflectance that rises from low to high at an edge (browns, reds, yellows)."""
    return low + (high - low) / (1 + np.exp(-(WAVELENGTHS_NM - edge_nm) / width_nm))


MATERIALS = {
    "paper": neutral(0.84, 0.03) * (1 - 0.75 * (WAVELENGTHS_NM < 405)) + 0.05 * _gauss(440, 18),
    "cream": pigment(0.55, 0.80, 480, 40),
    "ink": neutral(0.04),
    "light wood": pigment(0.14, 0.55, 560, 70),
    "dark wood": pigment(0.05, 0.27, 590, 60),
    "mat": 0.05 + 0.16 * _gauss(525, 45) + 0.12 * (WAVELENGTHS_NM > 720),
    "steel": neutral(0.52, 0.10),
    "melamine": neutral(0.62, 0.06),
    "towel": 0.08 + 0.38 * _gauss(465, 50) + 0.3 * (WAVELENGTHS_NM > 715),
    "yellow": pigment(0.06, 0.74, 515, 14),
    "red": pigment(0.05, 0.55, 605, 14),
    "masking": pigment(0.22, 0.68, 520, 45),
    "copper": pigment(0.28, 0.72, 575, 30),
    "brass": pigment(0.25, 0.70, 515, 28),
    "white": neutral(0.9),
}

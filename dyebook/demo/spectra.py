"""Reflectances and illuminants of rendered photographs, on one wavelength grid; the only place that knows spectra."""

from dataclasses import dataclass
from functools import cache

import numpy as np

from dyebook.lab import WHITE_D65, Lab, lab_to_xyz, xyz_to_lab

__all__ = [
    "DYES",
    "LIGHTS",
    "WAVELENGTH_NM",
    "Film",
    "Metal",
    "Paint",
    "film_reflectance",
    "illuminant",
    "material_reflectance",
    "paint_reflectance",
    "reflectance_lab",
    "standard_observer",
    "training_reflectances",
]

WAVELENGTH_NM = np.arange(380.0, 781.0, 5.0)
FILM_INDEX = 1.62
FILM_R0 = ((FILM_INDEX - 1) / (FILM_INDEX + 1)) ** 2

# aluminium against a film of index 1.62, from the complex index of Rakic, Appl. Opt. 34 (1995) 4755
_ALUMINIUM_NM = (400, 450, 500, 550, 600, 650, 700, 750)
_ALUMINIUM_R = (0.8864, 0.8822, 0.8761, 0.8707, 0.8635, 0.8549, 0.8421, 0.8232)

# invented dyes: absorption bands (peak nm, sigma nm, weight); peaks lie where azo, triarylmethane and
# anthraquinone dyes absorb, widths are typical (no measured dye stands behind them)
DYES = {
    "straw": ((425, 38, 1.0),),
    "amber": ((455, 45, 1.0), (520, 40, 0.15)),
    "orange": ((485, 40, 1.0),),
    "red": ((510, 35, 1.0), (470, 35, 0.3)),
    "rose": ((532, 36, 1.0),),
    "violet": ((560, 42, 1.0), (600, 35, 0.4)),
    "blue": ((615, 40, 1.0), (580, 35, 0.4)),
    "turquoise": ((630, 30, 1.0), (410, 20, 0.25)),
    "green": ((635, 32, 1.0), (430, 38, 0.7)),
    "bronze": ((430, 60, 1.0), (540, 70, 0.45), (640, 60, 0.2)),
    "grey": ((450, 70, 0.8), (570, 80, 1.0), (660, 60, 0.6)),
}

# names that `illuminant` takes, grouped as a shop would see them
LIGHTS = {
    "daylight": ("daylight 4800", "daylight 5500", "D65", "daylight 6800", "daylight 7500"),
    "incandescent": ("blackbody 2700", "A", "blackbody 3200"),
    "led": ("LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5", "LED-V1", "LED-V2"),
    "fluorescent": ("FL2", "FL7", "FL8", "FL10", "FL11", "FL12"),
}


@dataclass(frozen=True)
class Film:
    """Dyed anodic film on aluminium: absorption bands, peak absorbance of one pass, and what lies under and in it."""

    bands: tuple = ()
    absorbance: float = 0.0
    metal: float = 0.9  # share of the light that etched or brushed metal gives back, against a mirror
    veil: float = 0.002  # grey scatter of the film itself: no real black is blacker


@dataclass(frozen=True)
class Paint:
    """Paint, paper, cloth, plastic or wood of a given Lab under D65."""

    lab: Lab


@dataclass(frozen=True)
class Metal:
    """Bare metal: reflectance at 380 nm and at 780 nm, a straight line between."""

    blue: float = 0.5
    red: float = 0.58


@cache
def _resampled(table, name):
    """Return one column set of a colour-science table on the grid, zero where it has no data."""
    import colour

    data = getattr(colour, table)[name]
    columns = np.atleast_2d(data.values.T)
    return np.stack([np.interp(WAVELENGTH_NM, data.wavelengths, c, left=0, right=0) for c in columns], axis=-1)


@cache
def standard_observer():
    """Return the CIE 1931 2-degree colour-matching functions on the grid, shape (81, 3)."""
    return _resampled("MSDS_CMFS", "CIE 1931 2 Degree Standard Observer")


@cache
def illuminant(name: str):
    """Return the spectral power of a light on the grid, 1 at its greatest.

    Parameters
    ----------
    name
        ``"daylight 5200"`` and ``"blackbody 3000"`` (kelvin), or a CIE illuminant that colour-science knows.

    Returns
    -------
    ndarray, shape (81,)
    """
    kind, _, kelvin = name.partition(" ")
    if kind == "daylight":
        power = _daylight(float(kelvin))
    elif kind == "blackbody":
        metre = WAVELENGTH_NM * 1e-9
        power = metre**-5 / np.expm1(1.438776877e-2 / (metre * float(kelvin)))
    else:
        power = _resampled("SDS_ILLUMINANTS", name)[:, 0]
    return power / power.max()


def _daylight(kelvin):
    """CIE daylight of a correlated colour temperature, 4000 K to 25000 K."""
    import colour

    xy = colour.temperature.CCT_to_xy_CIE_D(kelvin * 1.4388 / 1.4380)
    power = colour.sd_CIE_illuminant_D_series(xy)
    return np.interp(WAVELENGTH_NM, power.wavelengths, power.values)


@cache
def _observer_under_d65():
    """Weights (81, 3) that turn reflectance into XYZ under D65, perfect white exactly the house's white."""
    weights = standard_observer() * illuminant("D65")[:, None]
    return weights * (WHITE_D65 / weights.sum(axis=0))


def reflectance_lab(reflectance):
    """Return the Lab (D65, 2 degrees) of reflectances on the grid, (..., 81) to (..., 3)."""
    return xyz_to_lab(np.asarray(reflectance) @ _observer_under_d65())


def film_reflectance(film: Film, path=1.0):
    """Return the reflectance of a dyed film, the mirror reflection of its first surface excluded.

    Parameters
    ----------
    path : float or array
        Length of the double pass through the film, 1 for a flat piece seen straight on.

    Returns
    -------
    ndarray, shape (..., 81)

    Notes
    -----
    R = (1 - r0)^2 Rm T2 / (1 - r0 Rm T2) with T2 = 10^(-2 A): incoherent double pass over a metal, with the
    light that the film's inner face throws back; plus the film's own grey veil.
    """
    absorbance = np.zeros_like(WAVELENGTH_NM)
    for peak_nm, sigma_nm, weight in film.bands:
        absorbance += weight * np.exp(-0.5 * ((WAVELENGTH_NM - peak_nm) / sigma_nm) ** 2)
    metal = film.metal * np.interp(WAVELENGTH_NM, _ALUMINIUM_NM, _ALUMINIUM_R)
    seen = metal * 10 ** (-2 * film.absorbance * np.multiply.outer(path, absorbance))
    return (1 - FILM_R0) ** 2 * seen / (1 - FILM_R0 * seen) + film.veil


def paint_reflectance(lab):
    """Return a smooth reflectance of a given Lab under D65, shape (81,).

    Exact for colours near grey; of strong colours the impossible part below 0 or above 1 is cut off.
    """
    waves = [1 / (1 + np.exp(-(WAVELENGTH_NM - edge) / 22)) for edge in (490, 580)]
    basis = np.stack([1 - waves[0], waves[0] - waves[1], waves[1]])
    amounts = np.linalg.solve((basis @ _observer_under_d65()).T, lab_to_xyz(lab))
    return np.clip(amounts @ basis, 0.002, 1.0)


def material_reflectance(material, path=1.0):
    """Return the reflectance of a Film, Paint or Metal; `path` lengthens the way through a film."""
    if isinstance(material, Film):
        return film_reflectance(material, path)
    if isinstance(material, Paint):
        return paint_reflectance(material.lab)
    return np.interp(WAVELENGTH_NM, (380, 780), (material.blue, material.red))


@cache
def training_reflectances():
    """Return reflectances a camera maker would tune on: 24 chart patches and 60 smooth ones, shape (84, 81)."""
    import colour

    chart = [
        np.interp(WAVELENGTH_NM, sd.wavelengths, sd.values) for sd in colour.SDS_COLOURCHECKERS["ISO 17321-1"].values()
    ]
    rng = np.random.default_rng(17321)
    lab = np.column_stack([rng.uniform(20, 90, 60), rng.normal(0, 22, 60), rng.normal(5, 25, 60)])
    return np.vstack([chart, [paint_reflectance(row) for row in lab]])

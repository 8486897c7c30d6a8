"""From the unknowns of a bath to the colours of dips, and how the colours answer to each unknown.

The vector of unknowns is laid out as surface | spectrum | uptake | discrepancy | around | drift | bend | seen, all
standard normal beforehand. log load = physics(settings) - physics(reference dip) + discrepancy(settings) +
circumstances; log absorbance = spectrum + log load, its shape drifting a little with the settings and bending with the
load. The film is `dyebook.physics.optics` with the light's paths spread; uptake follows the laws of
`dyebook.physics.uptake` and their blends, written in logarithms so that values and slopes cost one pass.
"""

from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np

from dyebook.model.parameters import DRIFT_BASIS, SPECTRUM_BASIS, SPECTRUM_MEAN, SURFACE, UPTAKE, parameter_values
from dyebook.physics.optics import BANDS_NM, LN_DOUBLE_PASS, lab_of_xyz_ratio, light_weights, metal_reflectance
from dyebook.physics.rates import GAS_J_PER_MOL_K
from dyebook.physics.uptake import ZERO_C_K

__all__ = [
    "Film", "Hyper", "Layout", "Load", "SettingLogs", "Shape", "colours", "colours_with_slopes", "film_of",
    "prior_spectrum",
]  # fmt: skip

_PATH_SPREAD = np.array([row.spread for row in SURFACE])
_TILT = 3 * np.log(BANDS_NM / 550)


@cache
def _ratio_weights(light="d65"):
    weights = light_weights(light)
    return weights / weights.sum(axis=0)


@cache
def _aluminium():
    return metal_reflectance()


class Film:
    """Reflectance and colour of a film for surface coordinates z (..., 5) and absorbance (..., n, 31).

    Notes
    -----
    R = s + (1 - s)(1 - r) u / (1 - r u), u = metal (1 + v x)^(-1/v), x = 2 ln(10) A: light takes paths whose lengths
    follow a gamma law of relative variance v, the plain double pass for v = 0.
    """

    def __init__(self, z, absorbance):
        surface, inner, metal, tilt, spread = (v[..., None, None] for v in parameter_values(SURFACE, z))
        self.front, self.inner, self.metal, self.spread = surface, inner, metal, spread
        self.path = LN_DOUBLE_PASS * absorbance
        self.log_path = np.log1p(spread * self.path)
        self.inside = _aluminium() * metal * np.exp(tilt * _TILT - self.log_path / spread)
        self.escape = 1 / (1 - inner * self.inside)
        self.reflectance = surface + (1 - surface) * (1 - inner) * self.inside * self.escape

    @property
    def absorbance(self):
        """Decadic absorbance of one pass, shape (..., n, 31)."""
        return self.path / LN_DOUBLE_PASS

    def lab(self, light="d65"):
        """Return L*, a*, b*, shape (..., n, 3)."""
        return lab_of_xyz_ratio(self.reflectance @ _ratio_weights(light))

    def lab_slopes(self):
        """Return dLab / d ln A, shape (..., n, 3, 31), and dLab / d surface coordinates, shape (..., n, 3, 5)."""
        weights = _ratio_weights()
        by_reflectance = _slopes_of_lab(self.reflectance @ weights) @ weights.T
        share = (1 - self.front) * (1 - self.inner)
        by_inside = share * self.escape**2 * self.inside
        shortened = self.path / (1 + self.spread * self.path)
        by_log = by_reflectance * (-by_inside * shortened)[..., None, :]
        columns = [
            self.front * (1 - (1 - self.inner) * self.inside * self.escape),
            self.inner * (1 - self.inner) * (1 - self.front) * self.inside * (self.inside - 1) * self.escape**2,
            by_inside * (1 - self.metal),
            by_inside * _TILT,
            by_inside * (self.log_path / self.spread - shortened),
        ]
        return by_log, by_reflectance @ (np.stack(columns, axis=-1) * _PATH_SPREAD)


def _slopes_of_lab(ratio):
    """dLab / d(X/Xn, Y/Yn, Z/Zn), shape (..., 3, 3)."""
    slope = np.where(ratio > (6 / 29) ** 3, np.maximum(ratio, 1e-9) ** (-2 / 3) / 3, 1 / (3 * (6 / 29) ** 2))
    out = np.zeros((*ratio.shape, 3))
    out[..., 0, 1] = 116 * slope[..., 1]
    out[..., 1, 0], out[..., 1, 1] = 500 * slope[..., 0], -500 * slope[..., 1]
    out[..., 2, 1], out[..., 2, 2] = 200 * slope[..., 1], -200 * slope[..., 2]
    return out


REFERENCE_FILM_UM = 12.0
REFERENCE_DYE_G_PER_L = 2.0
REFERENCE_TEMP_C = 40.0
_SPREAD = np.array([row.spread for row in UPTAKE])


@dataclass(frozen=True)
class SettingLogs:
    """Settings of n dips as the laws use them: logarithms, and inverse temperature in mol/kJ."""

    film: np.ndarray
    dye: np.ndarray
    cold: np.ndarray
    dwell: np.ndarray
    ph: np.ndarray
    cold_per_degree: np.ndarray

    @classmethod
    def of(cls, settings):
        """Return the logs of `Settings`."""
        kelvin = settings.bath_temp_c + ZERO_C_K
        per = 1e3 / GAS_J_PER_MOL_K
        return cls(
            np.log(settings.film_um / REFERENCE_FILM_UM),
            np.log(settings.dye_g_per_l / REFERENCE_DYE_G_PER_L),
            per / kelvin - per / (REFERENCE_TEMP_C + ZERO_C_K),
            np.log(settings.dwell_min),
            settings.ph,
            -per / kelvin**2,
        )

    def __getitem__(self, rows):
        return SettingLogs(*(value[rows] for value in vars(self).values()))


class Load:
    """Log of dye taken up by n dips, up to a constant, for uptake coordinates z of shape (..., 12).

    Attributes
    ----------
    value : ndarray, shape (..., n)
    """

    def __init__(self, z, logs):
        self.logs = logs
        values = (value[..., None] for value in parameter_values(UPTAKE, z))
        (half, self.exponent, self.time_constant, self.energy, self.capacity_energy, self.order, self.sharpness,
         self.rate_film, self.capacity_film, self.rate_dye, self.best_ph, self.curvature) = values  # fmt: skip
        self.strength = self.exponent * (logs.dye - np.log(half / REFERENCE_DYE_G_PER_L))
        self.log_time = (
            logs.dwell
            - np.log(self.time_constant)
            - self.energy * logs.cold
            - self.rate_film * logs.film
            + self.rate_dye * logs.dye
        )
        self.turn = self.order * self.sharpness * self.log_time
        self.unfilled = np.logaddexp(0, -self.turn)
        self.off_ph = logs.ph - self.best_ph
        self.value = (
            self.capacity_film * logs.film
            - np.logaddexp(0, -self.strength)
            - self.capacity_energy * logs.cold
            - self.unfilled / self.sharpness
            - 0.5 * self.curvature * self.off_ph**2
        )

    @cached_property
    def bare(self):
        """d value / d strength: the share of places still bare."""
        return 1 / (1 + np.exp(np.minimum(self.strength, 50)))

    @cached_property
    def growing(self):
        """d value / d log time."""
        return self.order / (1 + np.exp(np.minimum(self.turn, 50)))

    def by_parameter(self):
        """Return d value / d coordinate, shape (..., n, 12)."""
        logs, growing, bare = self.logs, self.growing, self.bare
        like = np.zeros_like(self.value)
        columns = [
            -bare * self.exponent,
            bare * self.strength,
            -growing,
            -growing * logs.cold,
            like - logs.cold,
            growing * self.log_time,
            self.unfilled / self.sharpness + growing * self.log_time,
            -growing * logs.film,
            like + logs.film,
            growing * logs.dye,
            self.curvature * self.off_ph,
            -0.5 * self.curvature * self.off_ph**2,
        ]
        return np.stack(columns, axis=-1) * _SPREAD

    def by_setting(self):
        """Return d value / d (log film, log dye, temperature in °C, log dwell, pH), shape (..., n, 5)."""
        growing = self.growing
        columns = [
            self.capacity_film - self.rate_film * growing,
            self.bare * self.exponent + self.rate_dye * growing,
            -(self.capacity_energy + self.energy * growing) * self.logs.cold_per_degree,
            growing,
            -self.curvature * self.off_ph,
        ]
        return np.stack(columns, axis=-1)


_LOAD_LIMIT = 8.0


@dataclass(frozen=True)
class Hyper:
    """How far a bath may leave the physics."""

    discrepancy: float = 0.12  # standard deviation of log load about the physics
    drift: float = 0.08  # standard deviation of a spectral drift coefficient per unit of a setting
    load_noise: float = 0.03  # standard deviation of log load from dip to dip, beyond the recorded uncertainties
    reading_scale: float = 1.0  # factor on the stated uncertainty of the readings


@dataclass(frozen=True)
class Layout:
    """Where each group of unknowns sits in the vector, for so many columns of each block."""

    features: int
    around: int
    drifting: int
    seen: int = 0

    def __post_init__(self):
        sizes = {
            "surface": len(SURFACE),
            "spectrum": SPECTRUM_BASIS.shape[1],
            "uptake": len(UPTAKE),
            "discrepancy": self.features,
            "around_at": self.around,
            "drift": DRIFT_BASIS.shape[1] * self.drifting,
            "bend": DRIFT_BASIS.shape[1],
            "seen": self.seen,
        }
        start = 0
        for name, size in sizes.items():
            object.__setattr__(self, name, slice(start, start + size))
            start += size
        object.__setattr__(self, "size", start)


@dataclass(frozen=True)
class Shape:
    """What is fixed while unknowns vary: n dips seen from a reference dip."""

    # logs, reference: of the dips and of the reference dip
    logs: SettingLogs
    reference: SettingLogs
    # (n, 5 + r): settings relative to the reference, in ordinary changes, and the circumstances that may move the hue
    scaled: np.ndarray
    features: np.ndarray  # (n, m): of the discrepancy
    around: np.ndarray  # (n, q): of the circumstances
    seen: np.ndarray | None  # (n, 3, k): shifts of the colours as they were read; None for the colours themselves
    layout: Layout

    @classmethod
    def of(cls, settings, reference, discrepancy, usual=(None, None), shifts=0):
        """Return the shape of `settings` seen from the dip `reference`; `usual` circumstances fill what is None.

        `shifts` counts the columns of `seen` where the settings are of no records.
        """
        scaled = settings.scaled()
        features = discrepancy.features(scaled)
        around, hue = (
            np.broadcast_to(instead, (len(scaled), instead.shape[1])) if block is None else block
            for block, instead in zip((settings.around, settings.hue), usual, strict=True)
        )
        scaled = np.hstack([scaled - reference.scaled(), hue])
        shifts = shifts if settings.seen is None else settings.seen.shape[2]
        layout = Layout(features.shape[1], around.shape[1], scaled.shape[1], shifts)
        logs = SettingLogs.of(settings), SettingLogs.of(reference)
        return cls(*logs, scaled, features, around, settings.seen, layout)

    def __getitem__(self, rows):
        seen = None if self.seen is None else self.seen[rows]
        blocks = self.scaled[rows], self.features[rows], self.around[rows], seen
        return Shape(self.logs[rows], self.reference, *blocks, self.layout)


def prior_spectrum(z):
    """Return log absorbance (..., 31) of the reference dip for spectrum coordinates z (..., 14)."""
    return SPECTRUM_MEAN + z @ SPECTRUM_BASIS.T


def _log_load(z, shape, hyper):
    """Log load (..., n) relative to the reference dip, and the physics at the dips and at the reference."""
    here = Load(z[..., shape.layout.uptake], shape.logs)
    there = Load(z[..., shape.layout.uptake], shape.reference)
    left = hyper.discrepancy * (z[..., shape.layout.discrepancy] @ shape.features.T)
    left = left + z[..., shape.layout.around_at] @ shape.around.T
    return np.clip(here.value - there.value + left, -_LOAD_LIMIT, _LOAD_LIMIT), here, there


def _film(z, load, shape, hyper):
    layout = shape.layout
    drift = z[..., layout.drift].reshape(*z.shape[:-1], -1, DRIFT_BASIS.shape[1])
    shift = shape.scaled @ drift + load[..., None] * z[..., None, layout.bend]
    log = prior_spectrum(z[..., layout.spectrum])[..., None, :] + load[..., None]
    return Film(z[..., layout.surface], np.exp(log + hyper.drift * shift @ DRIFT_BASIS.T))


def film_of(z, shape, hyper):
    """Return the `Film` that dips leave for unknowns z (..., p)."""
    return _film(z, _log_load(z, shape, hyper)[0], shape, hyper)


def colours(z, shape, hyper, light="d65"):
    """Return L*, a*, b* (..., n, 3) for unknowns z (..., p) under a light."""
    return film_of(z, shape, hyper).lab(light)


def colours_with_slopes(z, shape, hyper: Hyper):
    """Return colours and how they answer to unknowns, load and settings.

    Parameters
    ----------
    z : ndarray, shape (..., p)
    shape : Shape of n dips

    Returns
    -------
    lab : ndarray, shape (..., n, 3)
    slopes : ndarray, shape (..., n, 3, p)
        By unknown.
    by_load : ndarray, shape (..., n, 3)
        By log load.
    by_setting : ndarray, shape (..., n, 5)
        Of log load, by log film, log dye, °C, log dwell and pH.
    """
    layout = shape.layout
    load, here, there = _log_load(z, shape, hyper)
    film = _film(z, load, shape, hyper)
    by_log, by_surface = film.lab_slopes()
    by_drift = hyper.drift * by_log @ DRIFT_BASIS
    by_load = by_log.sum(axis=-1) + np.sum(by_drift * z[..., None, None, layout.bend], axis=-1)
    slopes = np.empty((*by_load.shape, layout.size))
    slopes[..., layout.surface] = by_surface
    slopes[..., layout.spectrum] = by_log @ SPECTRUM_BASIS
    uptake = here.by_parameter() - there.by_parameter()
    slopes[..., layout.uptake] = by_load[..., None] * uptake[..., None, :]
    slopes[..., layout.discrepancy] = by_load[..., None] * (hyper.discrepancy * shape.features[:, None, :])
    slopes[..., layout.around_at] = by_load[..., None] * shape.around[:, None, :]
    drift = shape.scaled[:, None, :, None] * by_drift[..., None, :]
    slopes[..., layout.drift] = drift.reshape(*by_load.shape, -1)
    slopes[..., layout.bend] = by_drift * load[..., None, None]
    lab = film.lab()
    slopes[..., layout.seen] = 0.0 if shape.seen is None else shape.seen
    if shape.seen is not None:
        lab = lab + np.einsum("nik,...k->...ni", shape.seen, z[..., layout.seen])
    return lab, slopes, by_load, here.by_setting()

"""From the unknowns of a bath to the colours of dips, and how the colours answer to each unknown.

The vector of unknowns is laid out as surface | spectrum | uptake | discrepancy | around | drift | bend, all standard
normal beforehand. log load = physics(settings) - physics(reference dip) + discrepancy(settings) + circumstances;
log absorbance = spectrum + log load, its shape drifting a little with the settings and bending with the load.
"""

from dataclasses import dataclass

import numpy as np

from dyebook.model.basis import DRIFT_BASIS, SPECTRUM_BASIS, SPECTRUM_MEAN
from dyebook.model.film import Film
from dyebook.model.load import Load, SettingLogs
from dyebook.model.parameters import SURFACE, UPTAKE

__all__ = ["Hyper", "Layout", "Shape", "colours", "colours_with_slopes", "film_of", "prior_spectrum"]

_LOAD_LIMIT = 8.0


@dataclass(frozen=True)
class Hyper:
    """How far a bath may leave the physics.

    Attributes
    ----------
    discrepancy : float
        Standard deviation of log load about the physics.
    drift : float
        Standard deviation of a spectral drift coefficient per unit of a setting.
    load_noise : float
        Standard deviation of log load from dip to dip, beyond the recorded uncertainties.
    reading_scale : float
        Factor on the stated uncertainty of the readings.
    """

    discrepancy: float = 0.12
    drift: float = 0.08
    load_noise: float = 0.03
    reading_scale: float = 1.0


@dataclass(frozen=True)
class Layout:
    """Where each group of unknowns sits in the vector, for so many columns of each block."""

    features: int
    around: int
    drifting: int

    def __post_init__(self):
        sizes = {
            "surface": len(SURFACE),
            "spectrum": SPECTRUM_BASIS.shape[1],
            "uptake": len(UPTAKE),
            "discrepancy": self.features,
            "around_at": self.around,
            "drift": DRIFT_BASIS.shape[1] * self.drifting,
            "bend": DRIFT_BASIS.shape[1],
        }
        start = 0
        for name, size in sizes.items():
            object.__setattr__(self, name, slice(start, start + size))
            start += size
        object.__setattr__(self, "size", start)


@dataclass(frozen=True)
class Shape:
    """What is fixed while unknowns vary: n dips seen from a reference dip.

    Attributes
    ----------
    logs, reference : SettingLogs
        Of the dips and of the reference dip.
    scaled : ndarray, shape (n, 5 + r)
        Settings relative to the reference, in ordinary changes, and the circumstances that may move the hue.
    features : ndarray, shape (n, m)
        Of the discrepancy.
    around : ndarray, shape (n, q)
        Of the circumstances.
    layout : Layout
    """

    logs: SettingLogs
    reference: SettingLogs
    scaled: np.ndarray
    features: np.ndarray
    around: np.ndarray
    layout: Layout

    @classmethod
    def of(cls, settings, reference, discrepancy, usual=(None, None)):
        """Return the shape of `settings` seen from the dip `reference`; `usual` circumstances fill what is None."""
        scaled = settings.scaled()
        features = discrepancy.features(scaled)
        around, hue = (
            np.broadcast_to(instead, (len(scaled), instead.shape[1])) if block is None else block
            for block, instead in zip((settings.around, settings.hue), usual, strict=True)
        )
        scaled = np.hstack([scaled - reference.scaled(), hue])
        layout = Layout(features.shape[1], around.shape[1], scaled.shape[1])
        return cls(SettingLogs.of(settings), SettingLogs.of(reference), scaled, features, around, layout)

    def __getitem__(self, rows):
        return Shape(
            self.logs[rows], self.reference, self.scaled[rows], self.features[rows], self.around[rows], self.layout
        )


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


def colours_with_slopes(z, shape, hyper):
    """Return colours and how they answer to unknowns, load and settings.

    Parameters
    ----------
    z : ndarray, shape (..., p)
    shape : Shape of n dips
    hyper : Hyper

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
    return film.lab(), slopes, by_load, here.by_setting()

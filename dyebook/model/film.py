"""The film's reflectance with its slopes, for fitting: `dyebook.physics.optics` with the light's paths spread."""

from functools import cache

import numpy as np

from dyebook.model.parameters import SURFACE, parameter_values
from dyebook.physics.optics import BANDS_NM, LN_DOUBLE_PASS, lab_of_xyz_ratio, light_weights, metal_reflectance

__all__ = ["Film"]

_SPREAD = np.array([row.spread for row in SURFACE])
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
        return by_log, by_reflectance @ (np.stack(columns, axis=-1) * _SPREAD)


def _slopes_of_lab(ratio):
    """dLab / d(X/Xn, Y/Yn, Z/Zn), shape (..., 3, 3)."""
    slope = np.where(ratio > (6 / 29) ** 3, np.maximum(ratio, 1e-9) ** (-2 / 3) / 3, 1 / (3 * (6 / 29) ** 2))
    out = np.zeros((*ratio.shape, 3))
    out[..., 0, 1] = 116 * slope[..., 1]
    out[..., 1, 0], out[..., 1, 1] = 500 * slope[..., 0], -500 * slope[..., 1]
    out[..., 2, 1], out[..., 2, 2] = 200 * slope[..., 1], -200 * slope[..., 2]
    return out

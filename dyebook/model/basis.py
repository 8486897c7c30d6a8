"""Gaussian-process priors written as features: a function is features @ coefficients, coefficients standard normal."""

from dataclasses import dataclass

import numpy as np

from dyebook.physics.optics import BANDS_NM

__all__ = ["DRIFT_BASIS", "SPECTRUM_BASIS", "SPECTRUM_MEAN", "Discrepancy", "squared_exponential"]

_JITTER = 1e-6
_MOST_RECORD_POINTS = 60
_DESIGN_POINTS = 32


def squared_exponential(x, y, lengths):
    """Return exp(-r²/2) of points x (n, d) and y (m, d), distances counted in `lengths`; shape (n, m)."""
    x, y = x / lengths, y / lengths
    square = np.sum(x**2, axis=1)[:, None] + np.sum(y**2, axis=1) - 2 * x @ y.T
    return np.exp(-0.5 * np.maximum(square, 0))


def _spectral_basis(length_nm, spread, offset_spread, count):
    nm = BANDS_NM[:, None]
    kernel = spread**2 * squared_exponential(nm, nm, length_nm) + offset_spread**2
    values, vectors = np.linalg.eigh(kernel)
    return (vectors * np.sqrt(np.maximum(values, 0)))[:, ::-1][:, :count]


# log absorbance of a pass at the reference dip: bands some 80 to 150 nm wide over tails two or three e-folds lower
SPECTRUM_MEAN = np.log(0.12)
SPECTRUM_BASIS = _spectral_basis(60.0, 1.3, 0.9, 14)
# change of the log absorbance's shape from dip to dip, per unit of a drift coefficient
DRIFT_BASIS = _spectral_basis(60.0, 1.0, 0.0, 5)


@dataclass(frozen=True)
class Discrepancy:
    """A smooth function of the settings as features, from inducing points among records and a covering design.

    Attributes
    ----------
    points : ndarray, shape (m, d)
    lengths : ndarray, shape (d,)
    whiten : ndarray, shape (m, m)
    additive : float
        Share of the variance that belongs to functions of one setting alone.
    """

    points: np.ndarray
    lengths: np.ndarray
    whiten: np.ndarray
    additive: float

    @classmethod
    def learn(cls, x, lengths, additive=0.5):
        """Return features for scaled settings x (n, d)."""
        points = np.vstack([_spread_out(x, _MOST_RECORD_POINTS), _covering_design(x)])
        kernel = _kernel(points, points, lengths, additive)
        values, vectors = np.linalg.eigh(kernel)
        keep = values > _JITTER * len(points)
        return cls(points, lengths, vectors[:, keep] / np.sqrt(values[keep]), additive)

    def features(self, x):
        """Return features (n, m) of unit prior variance at scaled settings x (n, d)."""
        return _kernel(x, self.points, self.lengths, self.additive) @ self.whiten


def _kernel(x, y, lengths, additive):
    joint = squared_exponential(x, y, lengths)
    single = sum(squared_exponential(x[:, [i]], y[:, [i]], lengths[i]) for i in range(x.shape[1]))
    return (1 - additive) * joint + additive / x.shape[1] * single


def _spread_out(x, most):
    """At most `most` rows of x, each as far as possible from those before."""
    x = np.unique(np.round(x, 2), axis=0)
    if len(x) <= most:
        return x
    x = x[np.linspace(0, len(x) - 1, min(len(x), 2000)).astype(int)]
    chosen = [int(np.argmin(np.sum((x - x.mean(axis=0)) ** 2, axis=1)))]
    nearest = np.full(len(x), np.inf)
    for _ in range(most - 1):
        nearest = np.minimum(nearest, np.sum((x - x[chosen[-1]]) ** 2, axis=1))
        chosen.append(int(np.argmax(nearest)))
    return x[chosen]


def _covering_design(x):
    """Points that cover the box around the records, one length beyond them, by a Sobol sequence."""
    from scipy.stats import qmc

    low, high = x.min(axis=0) - 1.5, x.max(axis=0) + 1.5
    return low + (high - low) * qmc.Sobol(x.shape[1], scramble=False).random(_DESIGN_POINTS)

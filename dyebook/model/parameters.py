"""The unknowns of a bath: what each means, and what is believed of it before the first dip.

The fit works on standard-normal coordinates; a parameter's value is link(mean + spread * coordinate). Functions with a
Gaussian-process prior are written as features: a function is features @ coefficients, coefficients standard normal.
"""

from dataclasses import dataclass

import numpy as np

from dyebook.physics.optics import BANDS_NM

__all__ = [
    "DRIFT_BASIS", "SPECTRUM_BASIS", "SPECTRUM_MEAN", "SURFACE", "UPTAKE", "Discrepancy", "Parameter",
    "parameter_values",
]  # fmt: skip


@dataclass(frozen=True)
class Parameter:
    """One unknown with its prior."""

    name: str  # name with its unit
    # mean, spread: of the normal prior, on the scale of the link
    mean: float
    spread: float
    link: str  # {"identity", "exp", "logistic"}
    source: str  # where the prior comes from


def parameter_values(table, z):
    """Return the values behind standard coordinates.

    They come as a list of arrays of shape (...). `table`: sequence of Parameter. `z` has shape (..., len(table)).
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
    """A smooth function of the settings as features, from inducing points among records and a covering design."""

    points: np.ndarray  # (m, d)
    lengths: np.ndarray  # (d,)
    whiten: np.ndarray  # (m, m)
    additive: float  # share of the variance that belongs to functions of one setting alone

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

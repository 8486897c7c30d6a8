"""Finding the most probable unknowns, and weighing how far a bath leaves the physics.

Gauss-Newton with damping on a Student-t likelihood. The uncertainty of a record's settings moves its colour along the
bath's own curve of depth, so each record has its own 3 x 3 covariance. Several strengths of discrepancy and drift are
fitted and weighted by Laplace's approximation of their evidence.
"""

from dataclasses import dataclass, replace

import numpy as np

from dyebook.model.forward import Film, Hyper, Shape, colours_with_slopes, prior_spectrum
from dyebook.model.inputs import SETTINGS, Settings
from dyebook.model.parameters import SPECTRUM_BASIS, Discrepancy

__all__ = ["Fit", "fit_hypotheses", "weigh"]

# one record in ten may come from a spoiled batch
_STUDENT_DEGREES = 4.0
_LENGTHS = np.full(5, 2.3)
_DISCREPANCIES = (0.04, 0.12, 0.36)
_DRIFTS = (0.02, 0.1, 0.4)
_LIBRARY, _STARTS = 300, 3
_EXPLORED, _CARRIED = 120, 3
_CHUNK = 1000
_LOAD_NOISES = (0.01, 0.03, 0.06, 0.12)
_READING_SCALES = (0.6, 0.8, 1.0, 1.3, 1.7, 2.4)


@dataclass(frozen=True)
class Fit:
    """One hypothesis, fitted: the most probable unknowns, the triangular root of their precision, the evidence."""

    hyper: Hyper
    z: np.ndarray
    root: np.ndarray
    log_evidence: float


def fit_hypotheses(training, seed: int = 0):
    """Return fitted hypotheses, the discrepancy they share, and the reference dip.

    `seed` is of the spectra tried as starting points. Many records: the hypotheses are explored on a hundred of them,
    and the best go on with all.
    """
    reference = _middle(training.settings)
    discrepancy = Discrepancy.learn(training.settings.scaled(), _LENGTHS)
    few = training[np.linspace(0, len(training) - 1, min(len(training), _EXPLORED)).astype(int)]
    fits = _explore(few, Shape.of(few.settings, reference, discrepancy), seed)
    if len(training) > _EXPLORED:
        fits = sorted(fits, key=lambda fit: -fit.log_evidence)[:_CARRIED]
        shape = Shape.of(training.settings, reference, discrepancy)
        fits = [_climb(fit.z, training, shape, fit.hyper, 8) for fit in fits]
    return fits, discrepancy, reference


def _explore(training, shape, seed):
    """Fits of every strength of discrepancy and drift, from the best of several starting spectra."""
    fits = [_climb(z, training, shape, Hyper(), 12) for z in _starts(training, shape, seed)]
    best = max(fits, key=lambda fit: fit.log_evidence)
    best = _climb(best.z, training, shape, _fit_noise(best, training, shape), 15)
    out = []
    for sigma in _DISCREPANCIES:
        for drift in _DRIFTS:
            start = _rescale(best, shape.layout, sigma, drift)
            fit = _climb(start, training, shape, replace(best.hyper, discrepancy=sigma, drift=drift), 8)
            out.append(_climb(fit.z, training, shape, _fit_noise(fit, training, shape), 4))
    return out


def _middle(settings):
    """The median dip."""
    middle = {name: np.atleast_1d(np.median(getattr(settings, name))) for name in SETTINGS}
    return Settings(**middle)


def _rescale(fit, layout, sigma, drift):
    """Coordinates that leave the same discrepancy and drift under other scales, where these do not grow."""
    z = fit.z.copy()
    z[layout.discrepancy] *= min(1.0, fit.hyper.discrepancy / sigma)
    z[layout.drift] *= min(1.0, fit.hyper.drift / drift)
    z[layout.bend] *= min(1.0, fit.hyper.drift / drift)
    return z


def _starts(training, shape, seed):
    """Starting vectors: prior spectra whose curve of depth passes closest to the readings."""
    rng = np.random.default_rng(seed)
    spectra = rng.standard_normal((_LIBRARY, SPECTRUM_BASIS.shape[1]))
    base = np.zeros(shape.layout.size)
    loads = np.linspace(-3, 3, 19)
    lab = training.lab[:: len(training.lab) // 40 + 1]
    curves = Film(base[shape.layout.surface], np.exp(prior_spectrum(spectra)[:, None, :] + loads[:, None])).lab()
    distance = np.linalg.norm(curves[:, :, None, :] - lab, axis=-1)
    miss = np.median(distance.min(axis=1), axis=1) + distance.min(axis=1).mean(axis=1)
    nearest = np.median(loads[distance.argmin(axis=1)], axis=1)
    flat = np.linalg.lstsq(SPECTRUM_BASIS, np.ones(len(SPECTRUM_BASIS)), rcond=None)[0]
    starts = np.tile(base, (_STARTS, 1))
    chosen = np.argsort(miss)[:_STARTS]
    starts[:, shape.layout.spectrum] = spectra[chosen] + nearest[chosen, None] * flat
    return starts


def weigh(training, answer, hyper: Hyper):
    """Return how badly colours miss the readings, and the robust precision of each reading.

    `answer` is from `colours_with_slopes`; noises of `hyper` may be arrays of shape (k, 1) to try several. The cost,
    float or (k,), is minus the log likelihood, up to a constant; the precision has shape (..., n, 3, 3).
    """
    lab, _, by_load, by_setting = answer
    variance = np.sum((by_setting * training.relative_sd) ** 2, axis=1) + np.asarray(hyper.load_noise) ** 2
    reading = training.lab_sd * np.asarray(hyper.reading_scale)[..., None]
    covariance = by_load[:, :, None] * by_load[:, None, :] * variance[..., None, None]
    covariance = covariance + (reading**2)[..., None] * np.eye(3)
    residual = training.lab - lab
    precision = np.linalg.inv(covariance)
    square = np.einsum("ni,...nij,nj->...n", residual, precision, residual)
    nu = _STUDENT_DEGREES
    cost = np.sum((nu + 3) / 2 * np.log1p(square / nu) + np.log(np.linalg.det(covariance)) / 2, axis=-1)
    return cost, precision * ((nu + 3) / (nu + square))[..., None, None]


def _state(z, training, shape, hyper):
    """Cost at z, and the normal equations there; records are taken in chunks to keep memory small."""
    cost, precision, slope = 0.5 * z @ z, np.eye(len(z)), -z
    for start in range(0, len(training), _CHUNK):
        rows = slice(start, start + _CHUNK)
        part = training[rows]
        answer = colours_with_slopes(z, shape[rows], hyper)
        miss, weight = weigh(part, answer, hyper)
        root = np.swapaxes(np.linalg.cholesky(weight), 1, 2)
        slopes = (root @ answer[1]).reshape(-1, len(z))
        cost = cost + miss
        precision = precision + slopes.T @ slopes
        slope = slope + slopes.T @ (root @ (part.lab - answer[0])[..., None]).ravel()
    return cost, precision, slope


def _climb(z, training, shape, hyper, most):
    """Damped Gauss-Newton from z."""
    from scipy.linalg import cho_factor, cho_solve

    damping = 1e-3
    cost, precision, slope = _state(z, training, shape, hyper)
    for _ in range(most):
        damped = precision + damping * np.diag(np.diag(precision))
        step = cho_solve(cho_factor(damped, lower=True, check_finite=False), slope, check_finite=False)
        new_cost, *equations = _state(z + step, training, shape, hyper)
        if new_cost < cost:
            gain, z, cost = cost - new_cost, z + step, new_cost
            precision, slope = equations
            damping = max(damping / 5, 1e-6)
            if gain < 0.01:
                break
        else:
            damping *= 8
            if damping > 1e4:
                break
    root = np.linalg.cholesky(precision)
    return Fit(hyper, z, root, -cost - np.log(np.diag(root)).sum())


def _fit_noise(fit, training, shape):
    """Noise of load and readings that the residuals of a fit support, held by a prior."""
    answer = colours_with_slopes(fit.z, shape, fit.hyper)
    # unknowns have already taken their share of the residuals
    spent = min(0.9, _effective_unknowns(fit) / training.lab.size)
    lab = training.lab + (answer[0] - training.lab) / np.sqrt(1 - spent)
    load_noise, scale = (grid.ravel()[:, None] for grid in np.meshgrid(_LOAD_NOISES, _READING_SCALES))
    trial = replace(fit.hyper, load_noise=load_noise, reading_scale=scale)
    cost = weigh(training, (lab, *answer[1:]), trial)[0]
    score = cost + 0.5 * (np.log(scale[:, 0]) / 0.35) ** 2 + 0.5 * (np.log(load_noise[:, 0] / 0.03) / 0.7) ** 2
    best = int(np.argmin(score))
    return replace(fit.hyper, load_noise=float(load_noise[best, 0]), reading_scale=float(scale[best, 0]))


def _effective_unknowns(fit):
    from scipy.linalg.lapack import dtrtri

    inverse = dtrtri(fit.root, lower=1)[0]
    return len(fit.z) - np.sum(np.tril(inverse) ** 2)

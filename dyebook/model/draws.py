"""Equally likely versions of a bath, and the colours they give.

Draws come from the normal approximation at each hypothesis' mode, and colours are taken to first order about that
mode. Pushing such draws through the full model instead would widen every prediction: draws that differ along a bent
valley no longer pass through the records.

References
----------
Immer, Korzepa & Bauer, AISTATS 2021 (improving predictions by local linearisation).
"""

from dataclasses import dataclass

import numpy as np

from dyebook.model.forward import Hyper, colours, colours_with_slopes

__all__ = ["Draws", "colour_draws", "draw_posterior", "mode_colours"]

_LEAST_WEIGHT = 0.02


@dataclass(frozen=True)
class Draws:
    """Equally likely departures (draws, p) from the mode (p,) of one hypothesis."""

    hyper: Hyper
    mode: np.ndarray
    departures: np.ndarray


def hypothesis_weights(fits):
    """Return the share of each fit by its evidence; the negligible get none."""
    evidence = np.array([fit.log_evidence for fit in fits])
    weight = np.exp(evidence - evidence.max())
    weight = np.where(weight / weight.sum() < _LEAST_WEIGHT, 0, weight)
    return weight / weight.sum()


def draw_posterior(fits, count, seed, temper=1.0):
    """Return about `count` draws in all, hypotheses in proportion to their evidence; opposite pairs.

    Parameters
    ----------
    fits : list of Fit
    count : int
    seed : int
    temper : float
        Factor on the departures.

    Returns
    -------
    tuple of Draws
    """
    from scipy.linalg import solve_triangular

    rng = np.random.default_rng(seed)
    out = []
    for fit, share in zip(fits, hypothesis_weights(fits), strict=True):
        half = int(np.ceil(share * count / 2)) if share else 0
        if half:
            noise = rng.standard_normal((len(fit.z), half))
            departures = temper * solve_triangular(fit.root.T, noise, lower=False).T
            out.append(Draws(fit.hyper, fit.z, np.concatenate([departures, -departures])))
    return tuple(out)


def colour_draws(draws, shape, every=1):
    """Return equally likely colours (draws, n, 3) of the dips in `shape`, of every so many-th draw."""
    out = []
    for part in draws:
        lab, slopes, *_ = colours_with_slopes(part.mode, shape, part.hyper)
        count, size = len(lab), slopes.shape[-1]
        shift = part.departures[::every] @ slopes.reshape(3 * count, size).T
        out.append(lab + shift.reshape(-1, count, 3))
    lab = np.concatenate(out)
    lab[..., 0] = np.clip(lab[..., 0], 0, 100)
    return lab


def mode_colours(draws, shape, light="d65"):
    """Return colours (draws, n, 3) under a light, each hypothesis' mode repeated as often as it has draws."""
    return np.concatenate(
        [np.tile(colours(part.mode, shape, part.hyper, light), (len(part.departures), 1, 1)) for part in draws]
    )

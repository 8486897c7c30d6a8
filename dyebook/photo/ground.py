"""How the light falls off over the ground: a smooth surface through the material that covers most of the photo."""

import cv2
import numpy as np

from dyebook.photo.card import fill_polygon

__all__ = ["fit_ground", "surface_terms"]

_WORKING_SIDE = 1000
_CELLS = 60  # along the long side: texture averages out, light does not
_DARKEST, _BRIGHTEST = 0.004, 0.97
# how far apart two cells of one material may lie: log brightness (light falls off), log of red and blue over green
_BRIGHTNESS, _HUE = 0.25, 0.12
_SAMPLES = 150
_STIFF = 1.0  # pull of the surface towards even light, in cells
_TURNS = 12
_OUTLIER = 4.0
# the surface is believed when the ground scatters less than this about it, and lies around card and parts
_ROUGHEST, _LEAST_SHARE = 0.13, 0.35
_NEIGHBOURHOOD = 0.12
_LUMINANCE = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)


def surface_terms(x, y):
    """Return the terms of the surface beside its constant: x, y, x², x·y, y²."""
    return x, y, x * x, x * y, y * y


def fit_ground(photo, quad, centre):
    """Return the fall-off of the light over the ground.

    Parameters
    ----------
    photo : LinearPhoto
    quad : ndarray of shape (4, 2) or None
        The card's corners, left out of the ground.
    centre : ndarray of shape (2,)
        Where the surface is zero, as shares of width and height.

    Returns
    -------
    ndarray of shape (5,) or None
        Log light as factors of `surface_terms` of the place off the centre in long sides of the photo; None where
        no one material covers enough of the photo for its brightness to tell of the light.

    Notes
    -----
    The commonest colour is looked up first; a quadratic surface is then fitted to the log brightness of cells of
    that hue by iterated reweighting (Tukey's biweight), so that shadows, parts and clutter drop out.
    """
    cells, free = _cells(photo, quad)
    height, width = free.shape
    long_side = max(width, height)
    x = (np.arange(width) + 0.5 - centre[0] * width) / long_side
    y = (np.arange(height) + 0.5 - centre[1] * height) / long_side
    places = np.stack(np.broadcast_arrays(x[None, :], y[:, None]), axis=-1)[free]
    light = cells[free]
    if len(light) < 100:
        return None
    level, hue = _of_light(light)
    alike, seed = _commonest(level, hue)
    factors, weights, spread = _fit_surface(places, level, alike, seed)
    share = _share_around(places, weights, np.zeros(2))
    if spread > _ROUGHEST or share < _LEAST_SHARE or (weights > 0.2).mean() < _LEAST_SHARE:
        return None
    return factors[1:]


def _cells(photo, quad):
    """Mean light of square cells (h, w, 3), and which of them are neither card nor beyond what the photo can show."""
    reduced = photo.reduced(_WORKING_SIDE)
    height, width = reduced.pixels.shape[:2]
    side = max(1, min(max(width, height) // _CELLS, width, height))
    size = width // side, height // side
    cells = cv2.resize(reduced.pixels[: size[1] * side, : size[0] * side], size, interpolation=cv2.INTER_AREA)
    free = (cells.min(axis=2) > _DARKEST) & (cells.max(axis=2) < _BRIGHTEST)
    if quad is not None:
        step = reduced.scale * side
        card = fill_polygon(quad, (0, 0, size[0] * step, size[1] * step), step)
        free &= ~cv2.dilate(card.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    return cells, free


def _of_light(light):
    """Log brightness (N,) and log of red and blue over green (N, 2)."""
    light = np.maximum(light, 1e-4)
    log_light = np.log(light)
    return np.log(light @ _LUMINANCE), log_light[:, [0, 2]] - log_light[:, [1]]


def _commonest(level, hue):
    """Weights of likeness to the commonest hue, and which cells have the commonest brightness too."""
    traits = np.column_stack([level / _BRIGHTNESS, hue / _HUE]).astype(np.float32)
    samples = traits[:: max(1, len(traits) // _SAMPLES)]
    apart = ((traits[None] - samples[:, None]) ** 2).sum(axis=-1)
    apart = (traits - samples[np.exp(-apart / 2).sum(axis=1).argmax()]) ** 2
    off_hue = apart[:, 1] + apart[:, 2]
    alike = np.exp(-off_hue / 4)
    return np.where(alike > 0.1, alike, 0), (off_hue < 6) & (apart[:, 0] < 9)


def _fit_surface(places, level, alike, seed):
    """Factors (6,) of the surface, weight of each cell, and spread about it."""
    terms = np.column_stack([np.ones(len(places)), *surface_terms(*places.T)])
    stiffness = np.diag([1e-9, *[_STIFF] * 2, *[4 * _STIFF] * 3])
    weights = seed.astype(float)
    for _ in range(_TURNS):
        weighted = terms * weights[:, None]
        factors = np.linalg.solve(weighted.T @ terms + stiffness, weighted.T @ level)
        rest = level - terms @ factors
        used = np.abs(rest[weights > 0.05])
        spread = max(1.4826 * float(np.median(used)), 0.015) if len(used) else 1.0
        weights = alike * np.clip(1 - (rest / (_OUTLIER * spread)) ** 2, 0, None) ** 2
    return factors, weights, spread


def _share_around(places, weights, point):
    """Share of the cells around a place that the surface rests on."""
    near = np.exp(-((places - point) ** 2).sum(axis=1) / (2 * _NEIGHBOURHOOD**2))
    return float((weights * near).sum() / max(near.sum(), 1e-9))

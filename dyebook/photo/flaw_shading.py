"""A part's own shading, fitted so that flaws have no say, and what is left once it is taken away."""

from functools import cache

import cv2
import numpy as np

__all__ = ["CHROMA", "NEUTRAL", "level_profiles", "unshaded"]

# directions in log light: light and shade move all channels alike, only dye (and mirror light) moves the other two
NEUTRAL = np.full(3, 1 / np.sqrt(3), np.float32)
CHROMA = np.array([[1, -1, 0], [1, 1, -2]], np.float32) / np.sqrt([[2], [6]]).astype(np.float32)
_AXES = np.vstack([NEUTRAL, CHROMA]).astype(np.float32)

_ROWS, _COLUMNS = 32, 48
_ROUNDS = 4
_RIDGE = 1e-2
_STRETCHES = 5
_LINES, _FINE = 72, 60
_FEW_PRODUCTS = 200_000


def unshaded(view):
    """Return what is left of a part's log light (H, W, 3) without its shading.

    Parameters
    ----------
    view : PartView

    Returns
    -------
    ndarray of float32, shape (H, W, 3)
        0 outside the part.

    Notes
    -----
    Shading of a turned part is a profile across it, of a plate a gentle slope, of a ring or dome a profile from the
    middle outwards that swings once or twice around it; all of this moves brightness. The ratios of the channels
    follow it little, by the mirror light and the longer way through the film, so they are fitted with few terms: a
    large pale zone that the brightness fit might take for shading stays in them. Pixels far off lose their say
    (Cauchy's weights), first by their ratios, then by their brightness. What all stretches of a row (mirror stripe),
    and in brightness of a column (groove), share goes after.
    """
    values = cv2.transform(view.log_light, _AXES)
    seen = view.unrolled(cv2.blur(values, (3, 3)), _ROWS, _COLUMNS).reshape(-1, 3).astype(float)
    where = np.flatnonzero(view.unrolled(view.inner, _ROWS, _COLUMNS).ravel())
    stiff, supple = _terms(view.is_round)
    middle = np.median(seen[where], axis=0)
    seen = seen - middle
    chroma, weights = _robust_fit(stiff[where], seen[where, 1:], np.ones(len(where)))
    bright, _ = _robust_fit(supple[where], seen[where, :1], weights)
    model = np.column_stack([supple @ bright, stiff @ chroma]) + middle
    rest = values - view.rolled(model.reshape(_ROWS, _COLUMNS, 3))
    rest -= view.rolled(_shared(rest, view, across=True))
    if not view.is_round:
        rest[..., 0] -= view.rolled(_shared(rest, view, across=False)[..., 0])
    return cv2.transform(np.where(view.mask[..., None], rest, 0), np.ascontiguousarray(_AXES.T))


def level_profiles(view, across=False):
    """Return log light on a grid of places without its profile from rim to rim, or (`across`) from end to end.

    Parameters
    ----------
    view : PartView
    across : bool

    Returns
    -------
    rest : ndarray of shape (rows over q, columns over p, 3)
        Median 0 in each row (column); nan where nothing is seen.
    seen : ndarray of bool, shape (rows, columns)
    """
    seen = view.unrolled(view.inner, _ROWS, _COLUMNS)
    values = view.unrolled(cv2.blur(view.log_light, (3, 3)), _ROWS, _COLUMNS)
    values = np.where(seen[..., None], values, np.nan)
    axis = 0 if across else 1
    return values - np.expand_dims(_median(values, axis), axis), seen


def _robust_fit(terms, seen, weights):
    """Factors (T, C) of terms (N, T), and the weights that pixels end with."""
    given = weights
    for _ in range(_ROUNDS):
        heavy = terms * weights[:, None]
        factors = np.linalg.solve(_product(heavy, terms) + _RIDGE * np.eye(terms.shape[1]), heavy.T @ seen)
        away = seen - terms @ factors
        away = np.sqrt(np.einsum("ij,ij->i", away, away))
        weights = given / (1 + (away / (1.5 * np.median(away) + 1e-4)) ** 2)
    return factors, weights


def _product(heavy, terms):
    """heavy.T @ terms, a few rows at a time: libraries start threads for more, which cost more than they save."""
    rows = max(1, _FEW_PRODUCTS // terms.shape[1] ** 2)
    return sum(heavy[k : k + rows].T @ terms[k : k + rows] for k in range(0, len(terms), rows))


@cache
def _terms(is_round):
    """Terms (rows × columns, T) of the grid for the ratios of the channels, few, and for brightness, more."""
    q, p = (
        axis.ravel() for axis in np.meshgrid(np.linspace(-1, 1, _ROWS), np.linspace(-1, 1, _COLUMNS), indexing="ij")
    )
    if is_round:
        swings = [f(k * np.pi * p) for k in (1, 2, 3, 4) for f in (np.cos, np.sin)]
        stiff = [*_hats(q, 7), *swings[:2], *(swing * q for swing in swings[:2])]
        hats = _hats(q, 9)
        fine = [swing * q**power for swing in swings[4:] for power in (0, 1)]
        supple = [*hats, *(hat * swing for swing in swings[:4] for hat in hats), *fine]
    else:
        stiff = [*_hats(q, 9), p, p * q]
        mixed = [p * q, p**2 * q, p * q**2, p**2 * q**2, p**3 * q, p * q**3, p**3 * q**2, p**2 * q**3]
        supple = [*_hats(q, 11), *_hats(p, 8), *mixed]
    return np.stack(stiff, axis=1), np.stack(supple, axis=1)


def _hats(place, count):
    """Tents over -1..1, (count, N)."""
    knots = np.linspace(-1, 1, count)
    return np.maximum(0, 1 - np.abs(place[None] - knots[:, None]) * ((count - 1) / 2))


def _shared(rest, view, across):
    """Grid of what all stretches of a line share: the middle one of the medians of its stretches."""
    rows, columns = (_LINES, _FINE) if across else (_FINE // 2, 2 * _LINES)
    grid = view.unrolled(rest, rows, columns)
    seen = view.unrolled(view.inner, rows, columns)
    if not across:
        grid, seen = grid.swapaxes(0, 1), seen.swapaxes(0, 1)
    lines, length = seen.shape
    grid = np.where(seen[..., None], grid, np.nan).reshape(lines, _STRETCHES, length // _STRETCHES, 3)
    shared = _median(_median(grid, 2), 1)
    out = np.broadcast_to(np.nan_to_num(shared)[:, None], (lines, length, 3))
    return out if across else out.swapaxes(0, 1)


def _median(values, axis):
    """Median along an axis of what is not nan; nan where nothing is seen."""
    count = np.isfinite(values).sum(axis=axis, keepdims=True)
    ordered = np.sort(values, axis=axis)  # nan go last
    low = np.take_along_axis(ordered, np.maximum(count - 1, 0) // 2, axis=axis)
    high = np.take_along_axis(ordered, np.minimum(count // 2, values.shape[axis] - 1), axis=axis)
    return ((low + high) / 2).squeeze(axis)

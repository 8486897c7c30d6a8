"""A part's own shading, fitted so that flaws have no say, and what is left once it is taken away."""

import cv2
import numpy as np

__all__ = ["lengthwise_rest", "smooth_inside", "unshaded"]

_SAMPLES = 1600
_ROUNDS = 4
_RIDGE = 1e-2
_ACROSS_KNOTS, _ALONG_KNOTS, _OUTWARD_KNOTS = 11, 8, 9
_TABLE = 41
_CHUNKS, _FEWEST = 3, 4
_LINE_SAMPLES = 15_000


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
    middle outwards that swings once or twice around it. The fit is by least squares, reweighted so that pixels far
    off lose their say (Cauchy's weights). What all stretches of a row (mirror stripe), a column (groove) or a circle
    share goes after.
    """
    p, q = _places(view)
    rest = _rest(view, p, q, _round_terms if view.is_round else _long_terms)
    rest = _without_lines(rest, view.inner, p, q)
    if not view.is_round:
        rest = _without_lines(rest, view.inner, q, p)
    return np.where(view.mask[..., None], rest, 0).astype(np.float32)


def lengthwise_rest(view, across=True):
    """Return log light (H, W, 3) without the profile across (outwards, or along) alone: other change stays."""
    p, q = _places(view)
    rest = _rest(view, p, q, lambda p, q: _hats(q if across else p, _ACROSS_KNOTS))
    return np.where(view.mask[..., None], rest, 0).astype(np.float32)


def smooth_inside(values, inner, sigma):
    """Return values (H, W, 3) averaged over inner pixels with a Gaussian window."""
    weight = cv2.GaussianBlur(inner.astype(np.float32), (0, 0), sigma)
    total = cv2.GaussianBlur(np.where(inner[..., None], values, 0), (0, 0), sigma)
    return total / np.maximum(weight, 1e-3)[..., None]


def _places(view):
    """Place along and across, or around and outwards, -1..1."""
    if not view.is_round:
        return view.along, view.across
    rows, columns = np.flatnonzero(view.mask.any(axis=1)), np.flatnonzero(view.mask.any(axis=0))
    y, x = np.mgrid[: view.mask.shape[0], : view.mask.shape[1]].astype(np.float32)
    y = (y - np.float32(rows.mean())) / np.float32(np.ptp(rows) / 2 + 0.5)
    x = (x - np.float32(columns.mean())) / np.float32(np.ptp(columns) / 2 + 0.5)
    return np.arctan2(y, x) / np.float32(np.pi), np.clip(2 * np.hypot(x, y) - 1, -1, 1)


def _rest(view, p, q, terms):
    """Log light without the robust fit of terms of two places."""
    where = np.flatnonzero(view.inner.ravel())
    some = where[:: max(1, len(where) // _SAMPLES)]
    seen = view.log_light.reshape(-1, 3)[some].astype(np.float64)
    mean = np.median(seen, axis=0)
    picked = terms(p.ravel()[some], q.ravel()[some]).T.astype(np.float64)
    factors = _robust_fit(picked, seen - mean)
    # the model is smooth: a table of it, looked up between its knots, serves all pixels
    knots_p, knots_q = np.meshgrid(np.linspace(-1, 1, _TABLE), np.linspace(-1, 1, _TABLE))
    table = (terms(knots_p.ravel(), knots_q.ravel()).T @ factors + mean).reshape(_TABLE, _TABLE, 3)
    scale = np.float32((_TABLE - 1) / 2)
    model = cv2.remap(table.astype(np.float32), (p + 1) * scale, (q + 1) * scale, cv2.INTER_LINEAR)
    return view.log_light - model


def _robust_fit(picked, seen):
    weights = np.ones(len(seen))
    for _ in range(_ROUNDS):
        heavy = picked * weights[:, None]
        normal = heavy.T @ picked + _RIDGE * np.eye(picked.shape[1])
        factors = np.linalg.solve(normal, heavy.T @ seen)
        away = np.linalg.norm(seen - picked @ factors, axis=1)
        weights = 1 / (1 + (away / (1.5 * np.median(away) + 1e-4)) ** 2)
    return factors


def _hats(place, count):
    """Tents over -1..1, (count, N)."""
    knots = np.linspace(-1, 1, count)
    return np.maximum(0, 1 - np.abs(place[None] - knots[:, None]) * ((count - 1) / 2))


def _long_terms(u, v):
    mixed = np.stack([u * v, u**2 * v, u * v**2, u**2 * v**2, u**3 * v, u * v**3, u**3 * v**2, u**2 * v**3])
    return np.concatenate([_hats(v, _ACROSS_KNOTS), _hats(u, _ALONG_KNOTS), mixed])


def _round_terms(turn, outwards):
    swings = [f(k * np.pi * turn) for k in (1, 2, 3, 4) for f in (np.cos, np.sin)]
    hats = _hats(outwards, _OUTWARD_KNOTS)
    fine = [swing * outwards**power for swing in swings[4:] for power in (0, 1)]
    return np.concatenate([hats, *(hats * swing for swing in swings[:4]), np.stack(fine)])


def _without_lines(rest, inner, along, across):
    """Take away what all stretches of a line share: the middle one of the medians of its stretches."""
    count = int(np.clip(min(inner.shape), 24, 160))
    lines = np.clip(((across + 1) / 2 * count).astype(int), 0, count - 1)
    chunk = np.clip(((along + 1) / 2 * _CHUNKS).astype(int), 0, _CHUNKS - 1)
    where = np.flatnonzero(inner.ravel())
    where = where[:: max(1, len(where) // _LINE_SAMPLES)]
    key = (lines * _CHUNKS + chunk).ravel()[where]
    medians = np.stack([_medians(channel, key, count * _CHUNKS) for channel in rest.reshape(-1, 3)[where].T], axis=1)
    return rest - np.median(medians.reshape(count, _CHUNKS, 3), axis=1)[lines]


def _medians(values, key, count):
    """Median of the values of each key, 0 where there are few."""
    order = np.lexsort((values, key))
    edges = np.searchsorted(key[order], np.arange(count + 1))
    middles = np.minimum((edges[:-1] + edges[1:]) // 2, len(values) - 1)
    return np.where(np.diff(edges) >= _FEWEST, values[order][middles], 0).astype(np.float32)

"""Changes of colour over a whole part: gradients and two tones."""

import numpy as np

from dyebook.photo.flaw_cues import change_delta_e
from dyebook.photo.flaw_places import depth_direction
from dyebook.photo.flaw_shading import lengthwise_rest

__all__ = ["WHOLE_CUES", "whole_changes"]

WHOLE_CUES = (
    "line_delta_e",
    "line_fits",
    "line_depth",
    "line_depth_fits",
    "line_like_dye",
    "line_like_shade",
    "step_delta_e",
    "step_fits",
    "step_depth",
    "step_depth_fits",
    "step_like_dye",
    "step_like_shade",
    "step_sharp",
    "step_place",
    "noise",
    "agree",
    "round",
    "aspect",
    "film_L",
    "film_chroma",
    "across",
)

_BINS = 24
_LEAN = 0.7
_TURNS = 8
_FEWEST = 8
_SQUARE = 0.55


def whole_changes(view, film, facts):
    """Return rows of cues (N, len(WHOLE_CUES)), the direction (x, y) and the change of log light of each.

    Parameters
    ----------
    view : PartView
    film : ndarray of shape (3,)
    facts : dict

    Returns
    -------
    list of (ndarray, tuple, ndarray, ndarray)
        Cues; direction; change of log light from end to end, and across the best step.
    """
    out = []
    for direction, rest, place in _ways(view):
        middles, profile = _profile(rest, place, view)
        if len(middles) >= _BINS // 2:
            row, line, step = _cues(middles, profile, film)
            across = float(direction[1] != 0 and not view.is_round)
            facts_row = [float(view.is_round), facts["aspect"], facts["L"], facts["chroma"], across]
            out.append((np.array([*row, *facts_row]), direction, line, step))
    return out


def _ways(view):
    """Directions in which the colour may change, the rest of light for each, and the place along it, -1..1."""
    rest = lengthwise_rest(view)
    if view.is_round:
        across = np.linspace(-1, 1, view.mask.shape[0], dtype=np.float32)[:, None]
        for turn in np.arange(_TURNS) * np.pi / _TURNS:
            way = float(np.cos(turn)), float(np.sin(turn))
            yield way, rest, way[0] * view.along + way[1] * across
        return
    yield (1.0, 0.0), rest, view.along
    rows, columns = view.mask.any(axis=1).sum(), view.mask.any(axis=0).sum()
    if rows > _SQUARE * columns:
        across = np.broadcast_to(np.linspace(-1, 1, view.mask.shape[0], dtype=np.float32)[:, None], view.mask.shape)
        yield (0.0, 1.0), lengthwise_rest(view, across=False), across


def _profile(rest, place, view):
    """Places and medians (N, 3) of log light of the bins that have pixels."""
    where = view.inner & (view.lean < _LEAN)
    if where.sum() < 4 * _BINS:
        where = view.inner
    seen, spot = rest[where], place[where]
    low, high = np.quantile(spot, (0.01, 0.99)) if len(spot) else (0, 1)
    key = np.clip(((spot - low) / max(high - low, 1e-6) * _BINS).astype(int), 0, _BINS - 1)
    order = np.argsort(key, kind="stable")
    edges = np.searchsorted(key[order], np.arange(_BINS + 1))
    seen = seen[order]
    full = [k for k in range(1, _BINS - 1) if edges[k + 1] - edges[k] >= _FEWEST]
    profile = [np.median(seen[edges[k] : edges[k + 1]], axis=0) for k in full]
    return (np.array(full) + 0.5) * 2 / _BINS - 1, np.array(profile).reshape(-1, 3)


def _cues(t, profile, film):
    paler = depth_direction(film)
    hue = paler - paler.mean()
    depth = profile @ hue / max(hue @ hue, 1e-3)
    line, line_fits = _line(t, profile)
    depth_line, depth_line_fits = _line(t, depth[:, None])
    cut, step, step_fits = _step(profile)
    _, depth_step, depth_step_fits = _step(depth[:, None])
    near = profile[cut : cut + 3].mean(axis=0) - profile[max(cut - 3, 0) : cut].mean(axis=0)
    agree = np.corrcoef(depth, profile.sum(axis=1))[0, 1] if depth.std() > 1e-6 else 0.0
    row = [
        float(change_delta_e(film, line)),
        line_fits,
        abs(depth_line[0]),
        depth_line_fits,
        abs(line @ paler) / (np.linalg.norm(line) + 1e-6),
        abs(line.sum()) / (np.sqrt(3) * np.linalg.norm(line) + 1e-6),
        float(change_delta_e(film, step)),
        step_fits,
        abs(depth_step[0]),
        depth_step_fits,
        abs(step @ paler) / (np.linalg.norm(step) + 1e-6),
        abs(step.sum()) / (np.sqrt(3) * np.linalg.norm(step) + 1e-6),
        near @ step / max(step @ step, 1e-6),
        abs(float(t[cut])),
        float(change_delta_e(film, np.full(3, 0.0) + np.diff(profile, axis=0).std(axis=0))),
        float(agree),
    ]
    return row, line, step


def _line(t, values):
    """Change from end to end of a robust straight line, and the share of the spread it explains."""
    weights = np.ones(len(t))
    for _ in range(4):
        middle = weights @ values / weights.sum()
        off = t - weights @ t / weights.sum()
        slope = (weights * off) @ (values - middle) / max(weights @ off**2, 1e-6)
        away = np.linalg.norm(values - middle - off[:, None] * slope, axis=1)
        weights = 1 / (1 + (away / (2 * np.median(away) + 1e-5)) ** 2)
    spread = np.linalg.norm(values - np.median(values, axis=0), axis=1)
    return 2 * slope, float(1 - np.median(away) / max(np.median(spread), 1e-5))


def _step(values):
    """Best cut into two levels: its index, the step, and the share of the spread it explains."""
    count = len(values)
    sums, total = np.cumsum(values, axis=0), values.sum(axis=0)
    k = np.arange(3, count - 2)
    left, right = sums[k - 1] / k[:, None], (total - sums[k - 1]) / (count - k)[:, None]
    gain = ((right - left) ** 2).sum(axis=1) * k * (count - k) / count
    best = int(k[gain.argmax()])
    a, b = np.median(values[:best], axis=0), np.median(values[best:], axis=0)
    away = np.linalg.norm(np.concatenate([values[:best] - a, values[best:] - b]), axis=1)
    spread = np.linalg.norm(values - np.median(values, axis=0), axis=1)
    return best, b - a, float(1 - np.median(away) / max(np.median(spread), 1e-5))

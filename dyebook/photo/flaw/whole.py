"""Changes of colour over a whole part: gradients and two tones.

Light without the profile across a part is looked at along it, and across or at a slant on parts nearly square, as the
medians of equally many samples; a straight line and the best cut into two levels are fitted to that profile.
"""

import numpy as np

from dyebook.photo.flaw.candidates import depth_direction
from dyebook.photo.flaw.features import change_delta_e
from dyebook.photo.flaw.view import CHROMA, PartView, level_profiles

__all__ = ["WHOLE_FEATURES", "whole_changes"]

# fmt: off
WHOLE_FEATURES = (
    # of the best straight line, and of the best step: share explained, depth, what the change is one of, hue
    "line_fits", "line_depth", "line_depth_fits", "line_like_dye", "line_like_shade", "line_like_mirror", "line_hue",
    "step_fits", "step_depth", "step_depth_fits", "step_like_dye", "step_like_shade", "step_like_mirror", "step_hue",
    "step_sharp", "step_place",
    # of the profile, and the differences from end to end and across the step
    "agree", "rough", "line_delta_e", "step_delta_e",
)
# fmt: on

# bins of a profile, and the fewest samples of one
_BINS, _FEWEST = 24, 8
# share from the middle line to the rim that shows changes along a part
_FACING = 0.7
# a part this square may change across or at a slant too
_SQUARE = 0.45
# weight of brightness against hue where a change's direction is sought
_BRIGHTNESS_WEIGHT = 0.3
# fewest bins on either side of a step, and those beside it that show how sharp it is
_STEP_BINS = 3
_MIRROR_FLOOR, _HUE_FLOOR = 0.02, 1e-3
# how far off, in medians, a sample's weight is halved
_HALF_WEIGHT, _HALF_FLOOR = 2, 1e-5
_TINY = 1e-6


def whole_changes(view: PartView, film: np.ndarray, facts: dict) -> list[tuple]:
    """Return how a part may change as a whole, one entry for each direction looked along.

    Parameters
    ----------
    film : ndarray of shape (3,)
    facts : dict
        From `part_facts`.

    Returns
    -------
    list of (ndarray, tuple, ndarray, ndarray)
        Features (len(WHOLE_FEATURES),); direction (x, y); change of log light from end to end, and across the step.
    """
    out = []
    for way, rest, place in _ways(view, film, facts):
        middles, profile = _profile(rest, place)
        if len(middles) >= _BINS // 2:
            row, line, step = _features(middles, profile, film)
            out.append((row, way, line, step))
    if not out:
        return []
    lines, steps = (change_delta_e(film, np.array([entry[k] for entry in out])) for k in (2, 3))
    for entry, line, step in zip(out, lines, steps, strict=True):
        entry[0][WHOLE_FEATURES.index("line_delta_e")] = float(line)
        entry[0][WHOLE_FEATURES.index("step_delta_e")] = float(step)
    return [(np.array(row), *others) for row, *others in out]


def _ways(view, film, facts):
    """Directions in which the colour may change, the rest of light (N, 3) for each, and the place along it, -1..1."""
    rest, q, p = _samples(view, across=False)
    if view.is_round:
        outwards = (q + 1) / 2
        x, y = outwards * np.cos(np.pi * p), outwards * np.sin(np.pi * p)
        yield (1.0, 0.0), rest, x
        way = _steepest(rest, x, y, film)
        yield way, rest, way[0] * x + way[1] * y
        return
    facing = np.abs(q) < _FACING
    yield (1.0, 0.0), rest[facing], p[facing]
    if facts["aspect"] > _SQUARE:
        way = _steepest(rest, p, q, film)
        yield way, rest, way[0] * p + way[1] * q
        rest, q, p = _samples(view, across=True)
        yield (0.0, 1.0), rest, q


def _samples(view, across):
    """Rest of log light (N, 3) without the profile across (or along), and places q, p."""
    rest, seen = level_profiles(view, across)
    q, p = np.meshgrid(*(np.linspace(-1, 1, n) for n in seen.shape), indexing="ij")
    return rest[seen], q[seen], p[seen]


def _steepest(rest, x, y, film):
    """Direction in which the dye changes most by a robust plane."""
    paler = depth_direction(film)
    hue = paler - paler.mean()
    depth = rest @ (hue + _BRIGHTNESS_WEIGHT * paler.mean())
    terms = np.stack([np.ones_like(x), x, y], axis=1)
    weights = np.ones(len(x))
    for _ in range(3):
        heavy = terms * weights[:, None]
        plane = np.linalg.solve(heavy.T @ terms + _TINY * np.eye(3), heavy.T @ depth)
        away = np.abs(depth - terms @ plane)
        weights = 1 / (1 + (away / (_HALF_WEIGHT * np.median(away) + _TINY)) ** 2)
    length = np.hypot(*plane[1:])
    return (float(plane[1] / length), float(plane[2] / length)) if length > _TINY else (1.0, 0.0)


def _profile(rest, place):
    """Places and medians (N, 3) of log light of bins of equal numbers of samples, the outermost left out."""
    each = len(place) // _BINS
    if each < _FEWEST:
        return np.zeros(0), np.zeros((0, 3))
    order = np.argsort(place, kind="stable")[(len(place) - each * _BINS) // 2 :][: each * _BINS]
    seen = np.sort(rest[order].reshape(_BINS, each, 3), axis=1)
    where = place[order].reshape(_BINS, each).mean(axis=1)
    return where[1:-1], (seen[1:-1, (each - 1) // 2] + seen[1:-1, each // 2]) / 2


def _middle(values):
    """Median over the first axis, many times as fast as `numpy.median` on short input."""
    ordered, count = np.sort(values, axis=0), len(values)
    return (ordered[(count - 1) // 2] + ordered[count // 2]) / 2


def _features(t, profile, film):
    """Features of one profile up to `step_delta_e`, whose two differences are still to come; the line, the step."""
    paler, mirror = depth_direction(film), 1 / np.clip(film, _MIRROR_FLOOR, None)
    hue = paler - paler.mean()
    depth = profile @ hue / max(hue @ hue, _HUE_FLOOR)
    line, line_fits = _line(t, profile)
    depth_line, depth_line_fits = _line(t, depth[:, None])
    cut, step, step_fits = _step(profile)
    _, depth_step, depth_step_fits = _step(depth[:, None])
    near = profile[cut : cut + _STEP_BINS].mean(axis=0) - profile[max(cut - _STEP_BINS, 0) : cut].mean(axis=0)
    agree = np.corrcoef(depth, profile.sum(axis=1))[0, 1] if depth.std() > _TINY else 0.0
    row = [
        line_fits,
        abs(depth_line[0]),
        depth_line_fits,
        *_likeness(line, paler, mirror),
        step_fits,
        abs(depth_step[0]),
        depth_step_fits,
        *_likeness(step, paler, mirror),
        near @ step / max(step @ step, _TINY),
        abs(float(t[cut])),
        float(agree),
        float(_middle(np.linalg.norm(np.diff(profile, axis=0), axis=1))),
        0.0,
        0.0,
    ]
    return row, line, step


def _likeness(change, paler, mirror):
    """How much a change is one of dye, of shade, of mirror light; and how much of it is hue."""
    length = np.linalg.norm(change) + _TINY
    ways = (paler, np.ones(3), mirror)
    return [*(abs(change @ way) / (np.linalg.norm(way) * length) for way in ways), np.linalg.norm(CHROMA @ change)]


def _line(t, values):
    """Change from end to end of a robust straight line, and the share of the spread it explains."""
    weights = np.ones(len(t))
    for _ in range(4):
        middle = weights @ values / weights.sum()
        off = t - weights @ t / weights.sum()
        slope = (weights * off) @ (values - middle) / max(weights @ off**2, _TINY)
        away = np.linalg.norm(values - middle - off[:, None] * slope, axis=1)
        weights = 1 / (1 + (away / (_HALF_WEIGHT * _middle(away) + _HALF_FLOOR)) ** 2)
    spread = np.linalg.norm(values - _middle(values), axis=1)
    return 2 * slope, float(1 - _middle(away) / max(_middle(spread), _HALF_FLOOR))


def _step(values):
    """Best cut into two levels: its index, the step, and the share of the spread it explains."""
    count = len(values)
    sums, total = np.cumsum(values, axis=0), values.sum(axis=0)
    k = np.arange(_STEP_BINS, count - _STEP_BINS + 1)
    left, right = sums[k - 1] / k[:, None], (total - sums[k - 1]) / (count - k)[:, None]
    gain = ((right - left) ** 2).sum(axis=1) * k * (count - k) / count
    best = int(k[gain.argmax()])
    a, b = _middle(values[:best]), _middle(values[best:])
    away = np.linalg.norm(np.concatenate([values[:best] - a, values[best:] - b]), axis=1)
    spread = np.linalg.norm(values - _middle(values), axis=1)
    return best, b - a, float(1 - _middle(away) / max(_middle(spread), _HALF_FLOOR))

"""How the parts of one photo differ: one paler than the rest, a shade that changes along the jig, or at random."""

import numpy as np

from dyebook.advice.seen import Seen
from dyebook.lab import delta_e_00

__all__ = ["part_evidence"]

# median ΔE00 by which the furthest part of an ordinary batch, and of one with a fault, lies off, and their spread in
# the logarithm; judged, no source
_ORDINARY, _FAULTY = (1.3, 0.5), (7.0, 0.6)
_MOST_ALIKE = 20.0
_APART_DELTA_E00 = 3.0
_PALER = 2.0  # in L*
_GRADED = 0.9  # rank correlation of lightness with the place on the jig
# two steps of a row of three count as a slope when the smaller is at least this share of the larger; judged, no source
_EVEN_STEPS = 0.25
# how well three parts show what they are: three at random lie in order of lightness one time in three
_BY_CHANCE, _HARDLY = 1 / 3, 0.08
# and how often a slope or a random spread leaves just one part off, and that one pale
_ONE_BY_CHANCE = 0.1


def part_evidence(parts):
    """Return evidence of how the parts of a photo differ among themselves.

    Parameters
    ----------
    parts : list of dict
        The `parts` of a measurement.

    Returns
    -------
    list of Seen
        Empty with fewer than two colours.
    """
    read = [(place, part) for place, part in enumerate(parts, start=1) if part.get("lab")]
    if len(read) < 2:
        return []
    lab = np.array([part["lab"] for _, part in read])
    middle = np.median(lab, axis=0)
    apart = delta_e_00(np.broadcast_to(middle, lab.shape), lab)
    # two parts lie at equal distance from their middle, so what counts is how far one is from the other
    far = float(delta_e_00(*lab)) if len(lab) == 2 else float(apart.max())
    alike, size = _chance_alike(far), f" (ΔE00 {far:.1f})"
    if far <= _APART_DELTA_E00:
        return [_seen((alike, 1, 1, 1), f"the {len(lab)} parts are alike{size}")]
    if len(lab) == 2:
        return [_seen((alike, 1, 1, 1), f"the two parts differ{size}")]
    off = np.flatnonzero(apart > _APART_DELTA_E00)
    pale = off.size == 1 and lab[off[0], 0] > middle[0] + _PALER
    words = f"part {read[off[0]][0]} is paler than its neighbours" if pale else "the parts differ among themselves"
    light = _lightness_along([part for _, part in read], lab[:, 0])
    chances = _unplaced(pale) if light is None else _of_three(light, pale) if len(lab) == 3 else _of_row(light, pale)
    if chances[1] == max(chances):
        words = "the shade changes step by step across the jig"
    return [_seen((alike, *chances), words + size)]


def _chance_alike(far):
    """How much likelier parts so far apart are in an ordinary batch than in one whose parts differ by a fault."""
    far = max(far, 0.3)
    usual, fault = (np.exp(-0.5 * (np.log(far / at) / wide) ** 2) / wide for at, wide in (_ORDINARY, _FAULTY))
    return min(usual / fault, _MOST_ALIKE)


def _seen(chances, words):
    return Seen("parts", tuple(map(float, chances)), words)


def _unplaced(pale):
    """How likely what is seen is where one is pale, on a slope, at random; of parts whose places are unknown."""
    return (1, _ONE_BY_CHANCE, _ONE_BY_CHANCE) if pale else (_HARDLY, 0.99, 1)


def _of_three(light, pale):
    """The same of a row of three."""
    steps = np.diff(light)
    in_order = steps[0] * steps[1] > 0
    slope = in_order and min(abs(steps)) > _EVEN_STEPS * max(abs(steps))
    return (1 if pale and not slope else _HARDLY), (1 if slope else _HARDLY), (_BY_CHANCE if in_order else 1)


def _of_row(light, pale):
    """The same of a row of four or more."""
    from scipy.stats import spearmanr

    if abs(spearmanr(np.arange(len(light)), light).statistic) >= _GRADED:
        return 0, 1, 0
    return (1, 0, 0) if pale else (0, 0, 1)


def _lightness_along(parts, light):
    """Lightness in the order of the parts' places; None where a place is unknown."""
    boxes = [part.get("box") for part in parts]
    if any(box is None or len(box) != 4 for box in boxes):
        return None
    middles = np.array([[(x0 + x1) / 2, (y0 + y1) / 2] for x0, y0, x1, y1 in boxes])
    way = middles[:, int(np.argmax(np.ptp(middles, axis=0)))]
    return light[np.argsort(way)] if np.ptp(way) > 0 else None

"""Find the plain grey card in a photo, or say what was seen instead.

How likely a patch is the card: log odds from its traits.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from dyebook.errors import PhotoError
from dyebook.photo.card.candidates import AHEAD, bright_end, even_patches, even_tones, refine_sides, tones_at
from dyebook.photo.card.card import card_at, order_corners
from dyebook.photo.card.features import TRAITS, scene_tone, traits_of

__all__ = ["Candidate", "card_candidates", "card_score", "find_card"]

# fitted by `python -m tests.bench.card_fit`: logistic regression over patches of both renderers and of composites
_OFFSET = -1.289
_WEIGHTS = {
    "support": 1.297,
    "support_least": 3.475,
    "scatter": -0.280,
    "ridge": -24.260,
    "texture": -0.808,
    "rough": -2.032,
    "clumps": 0.000,
    "streak": -1.258,
    "slope": -1.253,
    "odd": 0.000,
    "holed": -1.500,
    "lip": -2.000,
    "warm": -2.915,
    "green": -3.416,
    "cast": -2.030,
    "tinted": -12.000,
    "rim_cast": -1.302,
    "level": 0.173,
    "dark": -8.000,
    "white": -9.121,
    "glow": -0.923,
    "gloom": -2.000,
    "long": -6.477,
    "skew": -2.414,
    "small": -3.000,
    "large": -4.000,
    "frame": 0.514,
    "alike": -5.734,
    "rim_even": -0.082,
    "cut": -2.601,
}


def card_score(traits):
    """Return the log odds that a patch with these traits is the card.

    Parameters
    ----------
    traits : ndarray of float, shape (len(TRAITS),)

    Returns
    -------
    float
    """
    return _OFFSET + sum(_WEIGHTS.get(name, 0.0) * float(value) for name, value in zip(TRAITS, traits, strict=True))


# the finders share one reduced picture; one that came out larger is made smaller still
_REDUCED, _SIDE = 1000, 800
_REACH_PX = 8
# below the first a patch is not taken, below the second it is taken with a doubt
_REFUSED, _DOUBTFUL = 0.2, 1.3
# a rival whose score comes this close makes the choice doubtful
_MARGIN = 1.5
_LEAST_SHARE = 0.02
_CUT = list(TRAITS).index("cut")
# log share of spots from which dirt on a card can no longer be told from the hole of a tag
_SPOTS = np.log(0.004)
# distance to the light's colour, beyond what a wrong guess explains, from which it may be paint
_TINTED = 0.03
# outlines this alike are one patch
_ALIKE, _SAME = 0.94, 0.97
_MOST_PATCHES = 24


@dataclass(frozen=True)
class Candidate:
    """A patch that could be the card.

    Attributes
    ----------
    quad : ndarray of shape (4, 2)
        Corners in pixels of the upright photo.
    traits : ndarray
        What was seen of it, in the order of `card_traits.TRAITS`.
    score : float
        Log odds that it is the card.
    """

    quad: np.ndarray
    traits: np.ndarray
    score: float


def find_card(photo, card_lab=None):
    """Return the plain grey card of a photo.

    Parameters
    ----------
    photo : LinearPhoto
    card_lab : sequence of 3 floats, optional
        The card's own Lab (D65, 2 degrees); 18 % grey if left out.

    Returns
    -------
    Card
        Flagged card_doubtful where another patch is nearly as likely; `candidates` lists them.

    Raises
    ------
    PhotoError
        If nothing in the photo is likely enough to be a card.
    """
    seen = card_candidates(photo)
    found = _beside_grids(seen)
    if len(found) < len(seen) and (not found or found[0].score < _REFUSED):
        raise PhotoError(
            f"the likeliest card in {photo.name} is one of several equal patches in a grid, as on a colour chart; "
            "lay a plain grey card beside the part, or point out the corners of the grey patch to use"
        )
    if not found or found[0].score < _REFUSED:
        raise PhotoError(_what_was_seen(photo, found))
    best, rivals = found[0], _rivals(found)
    quad = _sharpened(photo, best.quad)
    card = card_at(photo, np.clip(quad, 0, photo.size), card_lab)
    traits = dict(zip(TRAITS, best.traits, strict=True))
    spoiled = traits["cut"] or traits["odd"] > _SPOTS or traits["tinted"] > _TINTED or len(found) < len(seen)
    doubtful = spoiled or best.score < _DOUBTFUL or any(best.score - one.score < _MARGIN for one in rivals)
    flags = card.flags + (("card_doubtful",) if doubtful else ())
    listed = tuple((one.score, one.quad) for one in (best, *rivals))
    return replace(card, flags=flags, candidates=listed)


def _beside_grids(found):
    """Candidates from the likeliest on that is no field of a chart or of a squared ground."""
    for first, one in enumerate(found):
        if one.score < _REFUSED or not in_a_grid(one.quad, [other.quad for other in found if other is not one]):
            return found[first:]
    return []


def card_candidates(photo, whole=False):
    """Return the even four-sided patches of a photo, the likeliest card first.

    Parameters
    ----------
    photo : LinearPhoto
    whole : bool
        Look for every trait even of patches that are out of the running.

    Returns
    -------
    list of Candidate
    """
    pixels, scale = _working_picture(photo)
    scene = scene_tone(pixels)
    patches = _patches(pixels)
    worth = None if whole else (lambda traits: card_score(traits) > _REFUSED - _MARGIN)
    traits = [traits_of(pixels, sides, scene, worth) for sides in patches]
    found = [
        Candidate(order_corners(sides.quad * scale), seen, card_score(seen))
        for sides, seen in zip(patches, traits, strict=True)
    ]
    return sorted(found, key=lambda one: -one.score)


def _working_picture(photo):
    """Light (h, w, 3) of the picture in which cards are looked for, and the photo's pixels per pixel of it (x, y)."""
    reduced = photo.reduced(_REDUCED)
    height, width = reduced.pixels.shape[:2]
    shrink = _SIDE / max(height, width)
    if max(height, width) < 1.1 * _REDUCED:
        return reduced.pixels, np.array([reduced.scale, reduced.scale], float)
    size = (round(width * shrink), round(height * shrink))
    scale = np.array([width / size[0], height / size[1]]) * reduced.scale
    return cv2.resize(reduced.pixels, size, interpolation=cv2.INTER_AREA), scale


def _patches(pixels):
    """Patches whose sides are edges, each once: several rough outlines come to the same sides."""
    bright = bright_end(pixels)
    quads, light_at = even_patches(pixels, bright), tones_at(pixels, bright)
    rough = [one for one in refine_sides(light_at, quads, _REACH_PX, count=20) if one is not None]
    rough = _each_once([one for one in rough if one.support.mean() > 0.3], _ALIKE)
    # again from close by, where the sides stand along their whole length
    refined = refine_sides(light_at, [one.quad for one in rough], _REACH_PX / 2)
    sound = [one for one in refined if one is not None and _possible(one, pixels.shape)]
    return _each_once(sound, _SAME)[:_MOST_PATCHES]


def _each_once(patches, alike):
    """Patches by their support, without those that cover an earlier one to a share of `alike`."""
    kept = []
    for one in sorted(patches, key=lambda sides: -sides.support.sum()):
        if all(_overlap(one.quad, other.quad, whole=True) < alike for other in kept):
            kept.append(one)
    return kept


def _possible(sides, shape):
    """Whether refined sides have edges and form a convex quad of some size inside the picture."""
    quad, limit = sides.quad, 0.02 * max(shape)
    inside = (quad > -limit).all() and (quad < np.array(shape[1::-1]) + limit).all()
    corners = quad.astype(np.float32)
    lengths = np.linalg.norm(quad[AHEAD] - quad, axis=1)
    return (
        inside
        and sides.support.mean() > 0.5
        and lengths.max() < 4 * lengths.min()
        and cv2.isContourConvex(corners)
        and cv2.contourArea(corners) > 0.004 * shape[0] * shape[1]
    )


def _rivals(found):
    """Candidates elsewhere than the best one, best first: a second outline of the same patch is no rival."""
    rivals = []
    for one in found[1:]:
        if all(_overlap(one.quad, other.quad) < 0.3 for other in (found[0], *rivals)):
            rivals.append(one)
    return rivals[:4]


def _overlap(first, second, whole=False):
    """Area in common of two convex quads over the smaller one, or over both together."""
    first, second = first.astype(np.float32), second.astype(np.float32)
    areas = cv2.contourArea(first), cv2.contourArea(second)
    common = cv2.intersectConvexConvex(first, second)[0]
    return common / max(sum(areas) - common if whole else min(areas), 1.0)


def _sharpened(photo, quad):
    """Corners refined on the full-size pixels around the sides."""
    scale = max(photo.size) / _SIDE
    if scale < 1.2:
        return quad
    sides = refine_sides(lambda places: even_tones(photo.light_at(places)), [quad], 2 * scale, count=80)[0]
    if sides is None or sides.support.min() < 0.4:
        return quad
    return order_corners(sides.quad)


def in_a_grid(quad, others):
    """Return whether a patch has at least three neighbours of its own size and direction, as on a colour chart.

    Parameters
    ----------
    quad : ndarray of shape (4, 2)
    others : list of ndarray of shape (4, 2)

    Returns
    -------
    bool
    """
    twins = [quad]
    for other in others:
        alike = _size(other) / _size(quad)
        turned = abs(np.angle(np.exp(4j * (_direction(other) - _direction(quad))))) / 4
        apart = min(np.linalg.norm(other.mean(axis=0) - twin.mean(axis=0)) for twin in twins) / _size(quad)
        if 0.8 < alike < 1.25 and turned < 0.12 and 0.9 < apart < 1.7:
            twins.append(other)
    return len(twins) > 3


def _size(quad):
    return np.sqrt(cv2.contourArea(quad.astype(np.float32)))


def _direction(quad):
    """Angle of the first side, of meaning only up to quarter turns."""
    return np.arctan2(*(quad[1] - quad[0])[::-1])


def _what_was_seen(photo, found):
    """One line for a photo without a card."""
    if not found:
        seen = "no even four-sided patch was seen"
    else:
        area = cv2.contourArea(found[0].quad.astype(np.float32)) / (photo.size[0] * photo.size[1])
        x, y = found[0].quad.mean(axis=0)
        why = "is cut off by the edge of the photo" if found[0].traits[_CUT] else "does not look like one"
        seen = f"the likeliest patch, at ({x:.0f}, {y:.0f}), covers {area:.1%} of the frame and {why}"
    return (
        f"no grey card found in {photo.name}: {seen}; a plain matt grey card of at least {_LEAST_SHARE:.0%} of the "
        "frame is needed. Lay it flat and whole beside the part, or point out its corners"
    )

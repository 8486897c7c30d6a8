"""Find the plain grey card in a photo, or say what was seen instead."""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from dyebook.errors import PhotoError
from dyebook.photo.card import card_at, order_corners
from dyebook.photo.card_edges import refine_sides
from dyebook.photo.card_patch import even_patches, even_tones
from dyebook.photo.card_score import card_score
from dyebook.photo.card_traits import scene_traits, traits_of

__all__ = ["Candidate", "card_candidates", "find_card"]

_SIDE = 1000
_REACH_PX = 8
# below the first a patch is not taken, below the second it is taken with a doubt
_REFUSED, _DOUBTFUL = 0.0, 1.0
# a rival whose score comes this close makes the choice doubtful
_MARGIN = 1.5
_LEAST_SHARE = 0.02


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
    found = card_candidates(photo)
    if not found or found[0].score < _REFUSED:
        raise PhotoError(_what_was_seen(photo, found))
    best, rivals = found[0], _rivals(found)
    quad = _sharpened(photo, best.quad)
    card = card_at(photo, np.clip(quad, 0, photo.size), card_lab)
    doubtful = best.score < _DOUBTFUL or any(best.score - one.score < _MARGIN for one in rivals)
    flags = card.flags + (("card_doubtful",) if doubtful else ())
    listed = tuple((one.score, one.quad) for one in (best, *rivals))
    return replace(card, flags=flags, candidates=listed)


def card_candidates(photo):
    """Return the even four-sided patches of a photo, the likeliest card first.

    Parameters
    ----------
    photo : LinearPhoto

    Returns
    -------
    list of Candidate
    """
    reduced = photo.reduced(_SIDE)
    scene = scene_traits(reduced.pixels)
    tones = even_tones(reduced.pixels).tones
    found = []
    for rough in even_patches(reduced.pixels):
        sides = refine_sides(tones, rough, _REACH_PX)
        if sides is not None and _possible(sides.quad, tones.shape):
            traits = traits_of(reduced.pixels, sides, scene)
            found.append(Candidate(order_corners(sides.quad) * reduced.scale, traits, card_score(traits)))
    return sorted(found, key=lambda one: -one.score)


def _possible(quad, shape):
    """Whether a refined quad is convex, inside the picture, and of a size."""
    limit = 0.02 * max(shape)
    inside = (quad > -limit).all() and (quad < np.array(shape[1::-1]) + limit).all()
    corners = quad.astype(np.float32)
    return inside and cv2.isContourConvex(corners) and cv2.contourArea(corners) > 0.004 * shape[0] * shape[1]


def _rivals(found):
    """Candidates elsewhere than the best one, best first: a second outline of the same patch is no rival."""
    rivals = []
    for one in found[1:]:
        if all(_overlap(one.quad, other.quad) < 0.3 for other in (found[0], *rivals)):
            rivals.append(one)
    return rivals[:4]


def _overlap(first, second):
    """Area in common over the smaller of two convex quads."""
    first, second = first.astype(np.float32), second.astype(np.float32)
    common = cv2.intersectConvexConvex(first, second)[0]
    return common / max(min(cv2.contourArea(first), cv2.contourArea(second)), 1.0)


def _sharpened(photo, quad):
    """Corners refined on the full-size pixels around the sides."""
    scale = photo.reduced(_SIDE).scale
    if scale == 1:
        return quad
    margin = 8 * scale
    x0, y0 = np.maximum(np.floor(quad.min(axis=0)).astype(int) - margin, 0)
    x1, y1 = np.minimum(np.ceil(quad.max(axis=0)).astype(int) + margin, photo.size)
    tones = even_tones(photo.crop((x0, y0, x1, y1))).tones
    sides = refine_sides(tones, quad - (x0, y0), 2 * scale)
    if sides is None or sides.support.min() < 0.4:
        return quad
    return order_corners(sides.quad + np.array([x0, y0]))


def _what_was_seen(photo, found):
    """One line for a photo without a card."""
    if not found:
        seen = "no even four-sided patch was seen"
    else:
        area = cv2.contourArea(found[0].quad.astype(np.float32)) / (photo.size[0] * photo.size[1])
        x, y = found[0].quad.mean(axis=0)
        seen = f"the likeliest patch, at ({x:.0f}, {y:.0f}), covers {area:.1%} of the frame and does not look like one"
    return (
        f"no grey card found in {photo.name}: {seen}; a plain matt grey card of at least {_LEAST_SHARE:.0%} of the "
        "frame is needed. Lay it flat and whole beside the part, or point out its corners"
    )

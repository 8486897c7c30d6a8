"""Find the plain grey card in a photo, or say what was seen instead.

Even four-sided patches are the candidates; each gets a probability of being the card from its features, and the
likeliest is taken, taken with a doubt, or refused by its probability and its lead over the next. A field of a chart is
never taken for a plain card.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from dyebook.errors import PhotoError
from dyebook.photo.card.candidates import AHEAD, Sides, bright_end, even_patches, even_tones, refine_sides, tones_at
from dyebook.photo.card.card import Card, card_at, order_corners
from dyebook.photo.card.features import FEATURES, features_of, scene_tone
from dyebook.photo.classifier import load_classifiers, log_odds
from dyebook.photo.file.linear import SMALL_SIDE, LinearPhoto

__all__ = ["Candidate", "card_candidates", "card_probability", "find_card"]

# the small picture is made smaller still where its long side comes out above the limit
_WORKING_SIDE, _LARGEST_SIDE = 800, 1100
# how far from a rough outline its edges are looked for, px, and places looked at on each side: at first and again
_REACH_PX, _ROUGH_PLACES, _FINE_PLACES = 8, 20, 80
# least probability of a card, and below which it is taken with a doubt: chosen on photographs of both worlds with their
# cards left out, of which 7 in 286 are taken for one with, 2 without a doubt, for a grey plate each
_LEAST, _SURE = 0.4, 0.8
# a rival whose log odds come this close to the best one's makes the choice doubtful
_RIVAL_LOG_ODDS = 1.5
# patches below this probability need not be looked at to the end: they are neither the card nor a rival of it
_RULED_OUT = 0.12
# share of the frame that a photo without a card is asked for
_ADVISED_SHARE = 0.02
_INDEX = {name: k for k, name in enumerate(FEATURES)}
# log share of spots from which dirt on a card looks like the hole of a tag
_MOST_SPOTS = np.log(0.004)
# distance to the light's colour, beyond what a wrong guess explains, from which it may be paint
_MOST_TINTED = 0.03
# overlaps (intersection over union) from which outlines are one patch: rough ones, refined ones
_SAME_ROUGH, _SAME = 0.94, 0.97
# overlap with the smaller one from which a second outline is no rival but another outline of the same patch
_RIVAL_OVERLAP, _MOST_RIVALS = 0.3, 4
_MOST_PATCHES = 24
# least share of its sides along which a patch has edges: a rough one, a refined one, and the worst side on full pixels
_ROUGH_SUPPORT, _SUPPORT, _SHARPENED_SUPPORT = 0.3, 0.5, 0.4
# a patch may reach out of the picture by this share of it, and covers at least so much of it; its longest side is at
# most so many times its shortest
_OUTSIDE, _SMALLEST_SHARE, _LONGEST_SIDE = 0.02, 0.004, 4
# pixels of the photo per pixel of the working picture from which sides are refined once more on the photo itself
_SHARPEN_FROM = 1.2
# neighbours in a grid: ratio of sizes, turn in radians, distance in sides; with three of them it is a chart
_GRID_SIZES, _GRID_TURN, _GRID_PITCH, _GRID_NEIGHBOURS = (0.8, 1.25), 0.12, (0.9, 1.7), 3


@dataclass(frozen=True)
class Candidate:
    """A patch that could be the card."""

    quad: np.ndarray  # (4, 2): corners in pixels of the upright photo
    features: np.ndarray  # in the order of `FEATURES`
    probability: float  # that it is the card

    def __getitem__(self, name):
        """Return a feature by its name."""
        return self.features[_INDEX[name]]


def find_card(photo: LinearPhoto, card_lab=None) -> Card:
    """Return the plain grey card of a photo.

    It is flagged card_doubtful where another patch is nearly as likely. `card_lab` (sequence of 3 floats, optional):
    the card's own Lab (D65, 2 degrees); 18 % grey if left out. PhotoError if nothing in the photo is likely enough to
    be a card.
    """
    seen = card_candidates(photo)
    found = _beside_grids(seen)
    in_grid = len(found) < len(seen)
    # beside a chart, whose fields look more like a card than it does, a thing must be surely one
    if not found or found[0].probability < (_SURE if in_grid else _LEAST):
        raise PhotoError(_grid_was_seen(photo) if in_grid else _what_was_seen(photo, found))
    best = found[0]
    card = card_at(photo, np.clip(_sharpened(photo, best.quad), 0, photo.size), card_lab)
    spoiled = best["cut"] or best["spots"] > _MOST_SPOTS or best["tinted"] > _MOST_TINTED or in_grid
    if spoiled or best.probability < _SURE or _has_rival(found):
        return replace(card, flags=(*card.flags, "card_doubtful"))
    return card


def card_candidates(photo: LinearPhoto, whole: bool = False) -> list[Candidate]:
    """Return the even four-sided patches of a photo, the likeliest card first.

    `whole`: look for every feature even of patches that are out of the running.
    """
    pixels, scale = _working_picture(photo)
    scene = scene_tone(pixels)
    possible = None if whole else (lambda features: card_probability(features) > _RULED_OUT)
    found = []
    for sides in _patches(pixels):
        features = features_of(pixels, sides, scene, possible)
        found.append(Candidate(order_corners(sides.quad * scale), features, card_probability(features)))
    return sorted(found, key=lambda one: -one.probability)


def card_probability(features: np.ndarray) -> float:
    """Return the probability that a patch with these features (in the order of `FEATURES`) is the card."""
    classifier = load_classifiers("dyebook.photo.card", card=tuple(FEATURES))["card"]
    return float(classifier.probability(features))


def _working_picture(photo):
    """Light (h, w, 3) of the picture in which cards are looked for, and the photo's pixels per pixel of it (x, y)."""
    reduced = photo.reduced(SMALL_SIDE)
    height, width = reduced.pixels.shape[:2]
    if max(height, width) < _LARGEST_SIDE:
        return reduced.pixels, np.array([reduced.scale, reduced.scale], float)
    shrink = _WORKING_SIDE / max(height, width)
    size = (round(width * shrink), round(height * shrink))
    scale = np.array([width / size[0], height / size[1]]) * reduced.scale
    return cv2.resize(reduced.pixels, size, interpolation=cv2.INTER_AREA), scale


def _patches(pixels) -> list[Sides]:
    """Patches whose sides are edges, each once: several rough outlines come to the same sides."""
    bright = bright_end(pixels)
    quads, light_at = even_patches(pixels, bright), tones_at(pixels, bright)
    rough = [one for one in refine_sides(light_at, quads, _REACH_PX, count=_ROUGH_PLACES) if one is not None]
    rough = _each_once([one for one in rough if one.support.mean() > _ROUGH_SUPPORT], _SAME_ROUGH)
    # again from close by, where the sides stand along their whole length
    refined = refine_sides(light_at, [one.quad for one in rough], _REACH_PX / 2)
    sound = [one for one in refined if one is not None and _possible(one, pixels.shape)]
    return _each_once(sound, _SAME)[:_MOST_PATCHES]


def _each_once(patches, same):
    """Patches by their support, without those whose overlap with an earlier one reaches `same`."""
    kept = []
    for one in sorted(patches, key=lambda sides: -sides.support.sum()):
        if all(_overlap(one.quad, other.quad, whole=True) < same for other in kept):
            kept.append(one)
    return kept


def _possible(sides, shape):
    """Whether refined sides have edges and form a convex quad of some size inside the picture."""
    quad, limit = sides.quad, _OUTSIDE * max(shape)
    inside = (quad > -limit).all() and (quad < np.array(shape[1::-1]) + limit).all()
    corners = quad.astype(np.float32)
    lengths = np.linalg.norm(quad[AHEAD] - quad, axis=1)
    return (
        inside
        and sides.support.mean() > _SUPPORT
        and lengths.max() < _LONGEST_SIDE * lengths.min()
        and cv2.isContourConvex(corners)
        and cv2.contourArea(corners) > _SMALLEST_SHARE * shape[0] * shape[1]
    )


def _beside_grids(found):
    """Candidates from the likeliest on that is no field of a chart or of a squared ground."""
    for first, one in enumerate(found):
        if one.probability < _LEAST or not in_a_grid(one.quad, [other.quad for other in found if other is not one]):
            return found[first:]
    return []


def in_a_grid(quad: np.ndarray, others: list[np.ndarray]) -> bool:
    """Return whether a patch (4, 2) has at least three neighbours of its own size and direction, as on a chart."""
    alike = [quad]
    for other in others:
        size = _size(other) / _size(quad)
        turned = abs(np.angle(np.exp(4j * (_direction(other) - _direction(quad))))) / 4
        apart = min(np.linalg.norm(other.mean(axis=0) - one.mean(axis=0)) for one in alike) / _size(quad)
        if _GRID_SIZES[0] < size < _GRID_SIZES[1] and turned < _GRID_TURN and _GRID_PITCH[0] < apart < _GRID_PITCH[1]:
            alike.append(other)
    return len(alike) > _GRID_NEIGHBOURS


def _size(quad):
    return np.sqrt(cv2.contourArea(quad.astype(np.float32)))


def _direction(quad):
    """Angle of the first side, of meaning only up to quarter turns."""
    return np.arctan2(*(quad[1] - quad[0])[::-1])


def _has_rival(found):
    """Whether a candidate elsewhere is nearly as likely as the best one."""
    best, rivals = found[0], []
    for one in found[1:]:
        if all(_overlap(one.quad, other.quad) < _RIVAL_OVERLAP for other in (best, *rivals)):
            rivals.append(one)
    return any(
        log_odds(best.probability) - log_odds(one.probability) < _RIVAL_LOG_ODDS for one in rivals[:_MOST_RIVALS]
    )


def _overlap(first, second, whole=False):
    """Area in common of two convex quads over the smaller one, or over both together."""
    first, second = first.astype(np.float32), second.astype(np.float32)
    areas = cv2.contourArea(first), cv2.contourArea(second)
    common = cv2.intersectConvexConvex(first, second)[0]
    return common / max(sum(areas) - common if whole else min(areas), 1.0)


def _sharpened(photo, quad):
    """Corners refined on the full-size pixels around the sides."""
    scale = max(photo.size) / _WORKING_SIDE
    if scale < _SHARPEN_FROM:
        return quad
    sides = refine_sides(lambda places: even_tones(photo.light_at(places)), [quad], 2 * scale, count=_FINE_PLACES)[0]
    if sides is None or sides.support.min() < _SHARPENED_SUPPORT:
        return quad
    return order_corners(sides.quad)


def _grid_was_seen(photo):
    return (
        f"the likeliest card in {photo.name} is one of several equal patches in a grid, as on a colour chart; "
        "lay a plain grey card beside the part, or point out the corners of the grey patch to use"
    )


def _what_was_seen(photo, found):
    """One line for a photo without a card."""
    if not found:
        seen = "no even four-sided patch was seen"
    else:
        area = cv2.contourArea(found[0].quad.astype(np.float32)) / (photo.size[0] * photo.size[1])
        x, y = found[0].quad.mean(axis=0)
        why = "is cut off by the edge of the photo" if found[0]["cut"] else "does not look like one"
        seen = f"the likeliest patch, at ({x:.0f}, {y:.0f}), covers {area:.1%} of the frame and {why}"
    return (
        f"no grey card found in {photo.name}: {seen}; a plain matt grey card of at least {_ADVISED_SHARE:.0%} of the "
        "frame is needed. Lay it flat and whole beside the part, or point out its corners"
    )

"""Regions of a photo that might be parts: what calm ground encloses, and calm patches themselves.

The photo is looked at small, in colours that shading leaves alone. At several strengths its edges part it into calm
regions; the largest are ground, and what they enclose, with thin bridges cut, is a candidate, as is each calm patch.
Boxes are compared before masks are drawn, as masks cost far more.
"""

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

from dyebook.photo.card.card import Card
from dyebook.photo.file.linear import SMALL_SIDE, LinearPhoto
from dyebook.photo.light import Light

__all__ = ["Candidate", "PhotoView", "candidates", "distinct", "edges_of", "overlap", "shade_free", "view_of"]

# -- The view --
_LONG_SIDE = 500
# highlights up to this multiple of perfect white keep their shade
_HEADROOM = 1.25
# a*, b* over (L* + _KNEE) do not change when a surface is shaded; the surplus over 16 holds back noise in the dark
_KNEE = 22.0
# edges weaker than this many units of L* or chroma per pixel are never called structure
_EDGE_FLOOR = 0.5
_SMOOTHED_PX = 1.1

# -- Regions --
# edge strengths at which the photo falls apart into regions
_LEVELS = (3.0, 4.5, 7.0, 10.0, 15.0, 22.0)
# how much lighter than the ground, in L*, or of how different a hue what is no shadow on it is
_OFF_GROUND = ((5.0, 5.0), (10.0, 9.0), (20.0, 16.0))
# calm regions larger than this share of the frame are taken for ground
_GROUND_SHARE = 0.08
# share of the frame that a part may cover; of its box against the least of them; side of its box against the frame's
_SHARES, _BOX_SHARE, _LONGEST_BOX = (0.0018, 0.18), 0.5, 0.95
# width of bridges that are cut, px of the view
_BRIDGES = (1, 5)
# share of its hull that a region fills, and share of it that the card may cover
_SOLID, _ON_CARD = 0.6, 0.15
# overlap from which two regions are one candidate: outlines differ by their edges' width
_SAME = 0.82
# no part's boundary is weaker than this on the whole: edges close by, 1 = the usual texture of the photo
_FAINT = 6.0
# regions with the strongest boundaries that are looked at: twice what the busiest load shows, whatever the ground
_MOST_REGIONS = 240
# an edge as the view shows it eats about this many pixels on either side
_EDGE_HALF = 2
_NEAR_EDGE = np.ones((5, 5), np.uint8)
_RIM_PIXELS = 200


@dataclass(frozen=True, eq=False)
class PhotoView:
    """A small corrected photo and what is worked out from it."""

    step: float  # pixels of the photo per pixel of the view
    # float32 (h, w, 3): L*, and the two chroma axes over lightness (times 100): nearly the same in light and in shade
    colour: np.ndarray
    edge: np.ndarray  # float32 (h, w): strength of edges, 1 = the usual texture of this photo
    card: np.ndarray  # uint8 (h, w): 1 on the card

    @cached_property
    def crest(self):
        """The strongest edge within a pixel of each, float32 (h, w)."""
        return cv2.dilate(self.edge, np.ones((3, 3), np.uint8))

    @cached_property
    def grain(self):
        """How far L* lies from the mean of the pixels beside it, float32 (h, w)."""
        light = cv2.extractChannel(self.colour, 0)
        return cv2.absdiff(light, cv2.blur(light, (3, 3)))


@dataclass(frozen=True, eq=False)
class Candidate:
    """A region that might be a part, without holes."""

    box: tuple[int, ...]  # x0, y0, x1, y1 in pixels of the view
    mask: np.ndarray  # uint8, of the shape of the box
    contour: np.ndarray  # int32 (n, 1, 2): its outer boundary, pixels of the view
    hole_share: float = 0.0  # area of its round holes over its own

    @cached_property
    def area(self):
        """Pixels of the view."""
        return int(cv2.countNonZero(self.mask))

    @cached_property
    def middle(self):
        """Its centre of area as (x, y), pixels of the box."""
        moments = cv2.moments(self.mask, True)
        return moments["m10"] / moments["m00"], moments["m01"] / moments["m00"]

    def padded(self, pad, view):
        """Return the box grown by some pixels as far as the view reaches, and the mask over it."""
        height, width = view.edge.shape
        x0, y0, x1, y1 = self.box
        box = max(x0 - pad, 0), max(y0 - pad, 0), min(x1 + pad, width), min(y1 + pad, height)
        mask = np.zeros((box[3] - box[1], box[2] - box[0]), np.uint8)
        mask[y0 - box[1] : y1 - box[1], x0 - box[0] : x1 - box[0]] = self.mask
        return box, mask


def view_of(photo: LinearPhoto, card: Card, light: Light) -> PhotoView:
    """Return the view of a photo in corrected light, with what the card covers."""
    pixels = photo.reduced(SMALL_SIDE).pixels
    height, width = pixels.shape[:2]
    shrink = min(1.0, _LONG_SIDE / max(height, width))
    size = (max(1, round(width * shrink)), max(1, round(height * shrink)))
    if shrink < 1:
        pixels = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)
    step = photo.size[0] / size[0]
    colour = shade_free(light.correct(pixels, (0, 0, *photo.size), step))
    covered = np.zeros(size[::-1], np.uint8)
    if card.cover is not None:
        cv2.fillConvexPoly(covered, np.round(card.cover / step).astype(np.int32), 1)
    return PhotoView(step, colour, edges_of(colour), covered)


def shade_free(linear: np.ndarray) -> np.ndarray:
    """Return L* and chroma over lightness of corrected linear light, float32 (h, w, 3)."""
    within = np.clip(linear * np.float32(1 / _HEADROOM), 0, 1)
    lab = cv2.cvtColor(within, cv2.COLOR_LRGB2Lab)
    lightness = cv2.extractChannel(lab, 0)
    lift = 100 / (lightness + _KNEE)
    # whole planes at a time: a product along the last axis of three costs several times as much
    return cv2.multiply(lab, cv2.merge([np.ones_like(lift), lift, lift]))


def edges_of(colour: np.ndarray) -> np.ndarray:
    """Return the strength of edges, float32 (h, w), 1 = the usual texture of the picture."""
    smooth = cv2.GaussianBlur(colour, (7, 7), _SMOOTHED_PX)
    across = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8)
    down = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8)
    power = cv2.add(cv2.multiply(across, across), cv2.multiply(down, down))
    some = np.ascontiguousarray(power[::4, ::4].reshape(-1, 3).T)
    usual = np.maximum(np.median(some, axis=1), _EDGE_FLOOR**2)
    return cv2.sqrt(cv2.transform(power, (1 / usual).astype(np.float32)[None]))


def candidates(view: PhotoView) -> list[Candidate]:
    """Return the candidates of a `PhotoView`, strongest boundary first, none like another."""
    around = cv2.dilate(view.crest, _NEAR_EDGE)
    found = []
    for regions in (*(_regions((view.crest < level).astype(np.uint8)) for level in _LEVELS), _off_ground(view)):
        for contour, grow in regions:
            x, y, w, h = cv2.boundingRect(contour)
            if _sized(contour, (w, h), view.edge.shape, grow):
                box = x - grow, y - grow, x + w + grow, y + h + grow
                rim = contour[:: len(contour) // _RIM_PIXELS + 1, 0]
                found.append((float(around[rim[:, 1], rim[:, 0]].mean()), box, contour, grow))
    found = _boxed_once(sorted(found, key=lambda one: -one[0]))
    regions = (_candidate(view, contour, grow) for _, _, contour, grow in found)
    return distinct([one for one in regions if one is not None])


def _off_ground(view):
    """Contours of what no shadow makes of the ground: lighter than it, of another hue, or far darker."""
    colour = cv2.GaussianBlur(view.colour, (5, 5), _SMOOTHED_PX)
    some = colour[::4, ::4][view.card[::4, ::4] == 0]
    ground = np.median(some, axis=0)
    light = cv2.extractChannel(colour, 0) - ground[0]
    hue = cv2.magnitude(cv2.extractChannel(colour, 1) - ground[1], cv2.extractChannel(colour, 2) - ground[2])
    shortest = _shortest(view.card)
    for lighter, hued in _OFF_GROUND:
        for off in ((light > lighter) | (hue > hued), light < -2.5 * lighter):
            off = cv2.morphologyEx(off.view(np.uint8), cv2.MORPH_OPEN, _disc(3))
            found = cv2.findContours(off, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
            yield from ((contour, 0) for contour in found if len(contour) > shortest)


def _boxed_once(found):
    """Regions whose boxes differ by more than an edge's width: masks cost far more than boxes."""
    kept, boxes = [], np.empty((len(found), 4))
    for one in found:
        if one[0] < _FAINT or len(kept) == _MOST_REGIONS:
            break
        if np.abs(boxes[: len(kept)] - one[1]).max(axis=1, initial=0).min(initial=np.inf) > _EDGE_HALF:
            boxes[len(kept)] = one[1]
            kept.append(one)
    return kept


def _regions(calm):
    """Contours of calm patches, and of what calm ground encloses, with the pixels to grow them by."""
    contours, tree = cv2.findContours(calm, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return
    outer = [k for k in np.flatnonzero(tree[0, :, 3] < 0) if len(contours[k]) > _shortest(calm)]
    for k in outer:
        yield contours[k], _EDGE_HALF
    sizes = {k: cv2.contourArea(contours[k]) for k in outer}
    ground = [k for k, size in sizes.items() if size > _GROUND_SHARE * calm.size]
    if ground:
        yield from ((contour, 1 - _EDGE_HALF) for contour in _enclosed(calm, contours, tree, ground))


def _enclosed(calm, contours, tree, ground):
    """Contours of everything that is not ground, as it is and with thin bridges cut."""
    rest, shortest = np.ones_like(calm), _shortest(calm)
    for k in ground:
        # only its own: cv2 copies every contour it is given
        own = [contours[k], *(contours[hole] for hole in np.flatnonzero(tree[0, :, 3] == k))]
        cv2.drawContours(rest, own, -1, 0, -1)
    for width in _BRIDGES:
        loose = rest if width == 1 else cv2.morphologyEx(rest, cv2.MORPH_OPEN, _disc(width))
        found = cv2.findContours(loose, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
        yield from (contour for contour in found if len(contour) > shortest)


def _shortest(calm):
    """Fewest corners of a contour that can bound a part, edges and all."""
    return 2 * np.sqrt(_SHARES[0] * calm.size)


def _disc(width):
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (width, width))


def _sized(contour, size, shape, grow):
    """Whether a contour can bound a part of sensible size."""
    pixels = shape[0] * shape[1]
    too_long = size[0] > _LONGEST_BOX * shape[1] or size[1] > _LONGEST_BOX * shape[0]
    if size[0] * size[1] < _SHARES[0] * pixels * _BOX_SHARE or too_long:
        return False
    area = cv2.contourArea(contour) + grow * len(contour)
    return _SHARES[0] * pixels < area < _SHARES[1] * pixels


def _candidate(view, contour, grow):
    """The region as a candidate, or None if its place or shape rules it out."""
    height, width = view.edge.shape
    x, y, w, h = cv2.boundingRect(contour)
    pad = _EDGE_HALF + 2
    box = max(x - pad, 0), max(y - pad, 0), min(x + w + pad, width), min(y + h + pad, height)
    mask = np.zeros((box[3] - box[1], box[2] - box[0]), np.uint8)
    cv2.drawContours(mask, [contour], -1, 1, -1, offset=(-box[0], -box[1]))
    mask = (cv2.dilate if grow > 0 else cv2.erode)(mask, _disc(2 * abs(grow) + 1)) if grow else mask
    rim = _largest_contour(mask)
    if rim is None:
        return None
    mask = cv2.drawContours(np.zeros_like(mask), [rim], -1, 1, -1)
    area = cv2.countNonZero(mask)
    covered = cv2.countNonZero(mask & view.card[box[1] : box[3], box[0] : box[2]])
    solid = area >= _SOLID * cv2.contourArea(cv2.convexHull(rim))
    if area < _SHARES[0] * view.edge.size or not solid or covered > _ON_CARD * area:
        return None
    return Candidate(box, mask, rim + np.array(box[:2], np.int32))


def _largest_contour(mask):
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return max(contours, key=cv2.contourArea, default=None)


def distinct(found: list[Candidate]) -> list[Candidate]:
    """Return the candidates without those that cover nearly the same pixels as an earlier one."""
    kept = []
    for one in found:
        if all(overlap(one, other) < _SAME for other in kept):
            kept.append(one)
    return kept


def overlap(one: Candidate, other: Candidate, of_smaller: bool = False) -> float:
    """Return the intersection of two candidates over their union, or over the smaller one."""
    x0, y0 = max(one.box[0], other.box[0]), max(one.box[1], other.box[1])
    x1, y1 = min(one.box[2], other.box[2]), min(one.box[3], other.box[3])
    if x1 <= x0 or y1 <= y0:
        return 0.0
    most = min((x1 - x0) * (y1 - y0), one.area, other.area)
    if not of_smaller and most < _SAME * max(one.area, other.area):
        return most / max(one.area, other.area)
    cut = [c.mask[y0 - c.box[1] : y1 - c.box[1], x0 - c.box[0] : x1 - c.box[0]] for c in (one, other)]
    both = cv2.countNonZero(cut[0] & cut[1])
    return both / max(min(one.area, other.area) if of_smaller else one.area + other.area - both, 1)

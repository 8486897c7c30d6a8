"""Regions of a photo that might be parts: what calm ground leaves over, and calm patches themselves."""

from dataclasses import dataclass

import cv2
import numpy as np

__all__ = ["Candidate", "candidates"]

# edge strengths at which the photo falls apart into regions
_LEVELS = (3.0, 4.5, 7.0, 10.0, 15.0, 22.0)
# calm regions larger than these shares of the frame are taken for ground, in turn
_GROUND_SHARES = (0.03, 0.15)
_SHARES = (0.0018, 0.18)
# outlines of regions differ by their edges' width; nearer ones than this are one candidate
_SAME = 0.82


@dataclass(frozen=True, eq=False)
class Candidate:
    """A region that might be a part, without holes.

    Attributes
    ----------
    box : tuple of int
        x0, y0, x1, y1 in pixels of the view.
    mask : ndarray of uint8, shape of the box
    contour : ndarray of int32, shape (n, 1, 2)
        Its outer boundary, pixels of the view.
    edge : float
        Mean strength of edges along its boundary.
    """

    box: tuple
    mask: np.ndarray
    contour: np.ndarray
    edge: float

    @property
    def area(self):
        """Pixels of the view."""
        return int(np.count_nonzero(self.mask))


def candidates(view):
    """Return the candidates of a `PartView`, strongest boundary first, none like another."""
    found = []
    crest = cv2.dilate(view.edge, np.ones((3, 3), np.uint8))
    for level in _LEVELS:
        for labels, stats, grown in _regions(crest, level):
            for number in range(1, len(stats)):
                one = _candidate(view, crest, labels, number, stats[number], grown)
                if one is not None:
                    found.append(one)
    return _distinct(sorted(found, key=lambda one: -one.edge))


def _regions(crest, level):
    """Labelled regions at one edge level, with their boxes and the pixels their boundary has eaten."""
    calm = (crest < level).astype(np.uint8)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(calm, connectivity=4)
    yield labels, stats, 2
    seen = set()
    for share in _GROUND_SHARES:
        ground = tuple(np.flatnonzero(stats[1:, cv2.CC_STAT_AREA] > share * calm.size) + 1)
        if not ground or ground in seen:
            continue
        seen.add(ground)
        table = np.ones(len(stats), np.uint8)
        table[list(ground)] = 0
        rest = table[labels]
        for width in (1, 5):
            if width > 1:
                rest = cv2.morphologyEx(rest, cv2.MORPH_OPEN, _disc(width))
            _, others, other_stats, _ = cv2.connectedComponentsWithStats(rest, connectivity=4)
            yield others, other_stats, -1


def _disc(width):
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (width, width))


def _candidate(view, crest, labels, number, stat, grown):
    """The region as a candidate, or None if its size, place or shape rules it out."""
    height, width = labels.shape
    x, y, w, h, area = (int(v) for v in stat)
    if not _SHARES[0] * 0.5 * labels.size < area < _SHARES[1] * labels.size or w > 0.95 * width or h > 0.95 * height:
        return None
    pad = 4
    box = max(x - pad, 0), max(y - pad, 0), min(x + w + pad, width), min(y + h + pad, height)
    mask = (labels[box[1] : box[3], box[0] : box[2]] == number).astype(np.uint8)
    change = cv2.dilate if grown > 0 else cv2.erode
    mask = change(mask, _disc(2 * abs(grown) + 1))
    contour = _largest_contour(mask)
    if contour is None:
        return None
    mask = cv2.drawContours(np.zeros_like(mask), [contour], -1, 1, -1)
    area = np.count_nonzero(mask)
    hull = cv2.contourArea(cv2.convexHull(contour))
    covered = np.count_nonzero(mask & view.card[box[1] : box[3], box[0] : box[2]])
    if not _SHARES[0] * labels.size < area < _SHARES[1] * labels.size or area < 0.6 * hull or covered > 0.15 * area:
        return None
    rim = contour[:, 0] + (box[0], box[1])
    return Candidate(box, mask, rim[:, None].astype(np.int32), float(crest[rim[:, 1], rim[:, 0]].mean()))


def _largest_contour(mask):
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return max(contours, key=cv2.contourArea, default=None)


def _distinct(found):
    kept = []
    for one in found:
        if all(overlap(one, other) < _SAME for other in kept):
            kept.append(one)
    return kept


def overlap(one, other):
    """Return the intersection over union of two candidates."""
    x0, y0 = max(one.box[0], other.box[0]), max(one.box[1], other.box[1])
    x1, y1 = min(one.box[2], other.box[2]), min(one.box[3], other.box[3])
    if x1 <= x0 or y1 <= y0:
        return 0.0
    cut = [c.mask[y0 - c.box[1] : y1 - c.box[1], x0 - c.box[0] : x1 - c.box[0]] for c in (one, other)]
    both = np.count_nonzero(cut[0] & cut[1])
    return both / (one.area + other.area - both)

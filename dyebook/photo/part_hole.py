"""Holes through a part too small for its rough region to show: round, sharp all around, of the ground's colour."""

from dataclasses import replace

import cv2
import numpy as np

from dyebook.photo.card import fill_polygon
from dyebook.photo.part_ring import polygon_of, traced, with_slits
from dyebook.photo.part_trim import from_ground, ground_like
from dyebook.photo.part_view import shade_free

__all__ = ["holes_cut", "see_through", "small_holes"]

# pixels of the crop in which holes are looked for
_PIXELS, _MARGIN = 16_000, 0.06

# the ground is looked at this far around the part, in pixels
_NEAR, _FAR = 2, 9
# no hole is nearer to the rim, or smaller: a pit is
_RIM, _SMALLEST, _LEAST_SHARE, _MOST_SHARE = 2.5, 14, 0.002, 0.2
# width over length of a round hole seen at a slant, and how much of the ellipse of its size it fills
_ROUND, _FILLED = 0.5, 0.88
# the part is looked at this far from a hole; the step across the edge in units of L*, the share of it that lies within
# two pixels nearly all the way round, and the most spread of the part beside it against the step
_BESIDE, _LEAST_STEP, _SHARP, _AROUND, _UNEVEN = 3, 10.0, 0.65, 0.85, 0.45
# how much nearer to the ground than to the part beside it, and how much lighter than the ground
_NEARER, _LIGHTER = 0.5, 4.0
_CROSS = cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))
_NEAR_BY = np.ones((5, 5), np.uint8)
_DISC, _WIDER = (cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * k * _BESIDE + 1,) * 2) for k in (1, 2))


def holes_cut(photo, light, part):
    """Return a part with the small holes through it cut out of its outline: somebody may have drawn around them."""
    found = small_holes(photo, light, np.asarray(part.outline))
    return replace(part, outline=with_slits(part.outline, found)) if found else part


def small_holes(photo, light, outline):
    """Return the rings of holes through a part that its outline does not cut out.

    Parameters
    ----------
    photo : LinearPhoto
    light : Light
    outline : ndarray of shape (N, 2)

    Returns
    -------
    list of ndarray of shape (M, 2)
        In pixels of the photo.
    """
    low, high = outline.min(axis=0), outline.max(axis=0)
    margin = _MARGIN * (high - low).max() + 4
    (x0, y0), (x1, y1) = np.maximum(low - margin, 0).astype(int), np.minimum(high + margin, photo.size).astype(int)
    step = float(np.sqrt((x1 - x0) * (y1 - y0) / _PIXELS))
    unit = photo.unit(step)
    step, x0, y0 = max(1, round(step / unit)) * unit, x0 // unit * unit, y0 // unit * unit
    box = int(x0), int(y0), int(x0 + (x1 - x0) // step * step), int(y0 + (y1 - y0) // step * step)
    mask = fill_polygon(outline, box, step).astype(np.uint8)
    found = see_through(shade_free(light.correct(photo.crop(box, step), box, step)), mask)
    if not found.any():
        return []
    contours, tree = traced(found.astype(np.float32))
    return [polygon_of(c) * step + box[:2] for c, own in zip(contours, tree[0], strict=True) if own[3] < 0]


def see_through(colour, mask):
    """Return where a part is seen through.

    Parameters
    ----------
    colour : ndarray of float32, shape (h, w, 3)
        L* and chroma over lightness, as `shade_free` gives them.
    mask : ndarray of uint8, shape (h, w)
        1 on the part.

    Returns
    -------
    ndarray of uint8, shape (h, w)
        1 in holes.

    Notes
    -----
    A hole shows the ground, often in the part's own shadow, so less light counts little against it, and more light
    than the ground's is mirror light. A spot of dye fades out, a pit is smaller, a groove is long, texture repeats
    beside: none of them passes all the tests.
    """
    out = np.zeros_like(mask)
    depth = cv2.distanceTransform(mask, cv2.DIST_L2, 3)
    away = cv2.distanceTransform(1 - mask, cv2.DIST_L2, 3)
    alike, ground = ground_like(colour, depth, (away > _NEAR) & (away < _FAR))
    if alike is None:
        return out
    alike = cv2.morphologyEx((alike & (depth > _RIM)).astype(np.uint8), cv2.MORPH_OPEN, _CROSS)
    area = cv2.countNonZero(mask)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(alike, connectivity=4, ltype=cv2.CV_16U)
    for k in range(1, count):
        if 0.4 * _SMALLEST <= stats[k, cv2.CC_STAT_AREA] <= _MOST_SHARE * area:
            _add(out, colour, mask, ground, labels == k, stats[k], area)
    return out


def _add(out, colour, mask, ground, seed, stats, area):
    """Mark the hole around a patch of the ground's colour, if it is one."""
    x, y, w, h = stats[:4]
    pad = 3 * _BESIDE + 2
    window = np.s_[max(y - pad, 0) : y + h + pad, max(x - pad, 0) : x + w + pad]
    hole = _edged(colour[window], mask[window], np.ascontiguousarray(seed[window]).view(np.uint8))
    if hole is None or not max(_SMALLEST, _LEAST_SHARE * area) <= cv2.countNonZero(hole) <= _MOST_SHARE * area:
        return
    if _is_round(hole) and _shows(colour[window], mask[window], hole, ground):
        out[window] |= hole


def _edged(colour, mask, seed):
    """The patch out to where its colour is half way to the part's; None where the part is not all around it."""
    ring = (cv2.dilate(seed, _DISC) & ~cv2.dilate(seed, _CROSS, iterations=2) & mask) > 0
    if ring.sum() < 12:
        return None
    inside, wall = np.median(colour[seed > 0], axis=0), np.median(colour[ring], axis=0)
    way = inside - wall
    share = (colour - wall) @ way / max(float(way @ way), 1e-6)
    near = cv2.dilate(seed, _CROSS, iterations=_BESIDE)
    half = ((share > 0.5) | (seed > 0)).view(np.uint8) & near & mask
    half = cv2.morphologyEx(half, cv2.MORPH_CLOSE, _CROSS)
    lines, _ = cv2.findContours(half, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    out = np.zeros_like(seed)
    cv2.drawContours(out, [max(lines, key=cv2.contourArea)], -1, 1, -1)
    return out


def _is_round(hole):
    """Whether a patch is an ellipse and not too slender."""
    y, x = np.nonzero(hole)
    xx, yy, xy = x.var() + 1 / 12, y.var() + 1 / 12, ((x - x.mean()) * (y - y.mean())).mean()
    half, root = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    wide, long = 4 * np.sqrt(max(half - root, 1e-6)), 4 * np.sqrt(half + root)
    return wide > _ROUND * long and len(x) > _FILLED * np.pi / 4 * wide * long


def _shows(colour, mask, hole, ground):
    """Whether the ground shows in a patch, and the part evenly beside it, with a sharp step all the way round."""
    core = cv2.erode(hole, _CROSS)
    core = core if core.any() else hole
    # further off than a hole's edge is wide: a spot that fades out does not reach the part's own colour there
    beside = colour[(cv2.dilate(hole, _WIDER) & ~cv2.dilate(hole, _DISC) & mask) > 0]
    if not len(beside):
        return False
    seen, wall = np.median(colour[core > 0], axis=0), np.median(beside, axis=0)
    step = float(np.linalg.norm(seen - wall))
    if step < _LEAST_STEP or from_ground(seen, ground) > _NEARER * step or seen[0] > ground[0] + _LIGHTER:
        return False
    way = (seen - wall) / step
    if ((beside - wall) @ way).std() > _UNEVEN * step:
        return False
    along = (colour - wall) @ way
    rise = cv2.dilate(along, _NEAR_BY) - cv2.erode(along, _NEAR_BY)
    rim = (hole & ~cv2.erode(hole, _CROSS)) > 0
    return bool((rise[rim] > _SHARP * step).mean() > _AROUND)

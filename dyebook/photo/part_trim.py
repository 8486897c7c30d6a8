"""Part or ground: pixels of a region that are nearer to the colour around it, shadows and holes among them."""

from dataclasses import replace

import cv2
import numpy as np

__all__ = ["from_ground", "ground_like", "is_hole", "trimmed"]

# how much a loss of light counts beside a change of colour: ground may lie in shadow
_SHADE = 0.25
_PAD = 8


def from_ground(colour, ground):
    """Return the distance of colours (..., 3) to the ground's, small where the ground only lies in shadow."""
    light = colour[..., 0] - ground[0]
    light = np.maximum(light, -_SHADE * light)
    return np.sqrt(light**2 + (colour[..., 1] - ground[1]) ** 2 + (colour[..., 2] - ground[2]) ** 2)


def ground_like(colour, depth, around):
    """Return where colours are nearer to the ground than to the body of a region, and the ground's colour.

    Parameters
    ----------
    colour : ndarray of shape (h, w, 3)
        L* and chroma over lightness.
    depth : ndarray of shape (h, w)
        Pixels from the region's rim inwards.
    around : ndarray of bool, shape (h, w)
        The ground around the region.

    Returns
    -------
    alike : ndarray of bool, shape (h, w), or None
        False outside the region; None if too little of either is seen.
    ground : ndarray of shape (3,)
    """
    # only the outer part of the region: the middle may be a hole
    deepest = depth.max()
    body = (depth > min(1.5, 0.2 * deepest)) & (depth < max(4.0, 0.18 * deepest))
    around, body, flat = np.flatnonzero(around), np.flatnonzero(body), colour.reshape(-1, 3)
    if len(around) < 20 or len(body) < 20:
        return None, None
    ground = _middle(_some(flat, around))
    sample = _some(flat, body)
    ranked = sample[np.argsort(sample[:, 0])]
    # its dark, middling and bright pixels; the nearest of them counts
    shades = np.array([_middle(third) for third in np.array_split(ranked, 3)])
    inside = np.flatnonzero(depth > 0)
    pixels = np.take(flat, inside, axis=0)
    # |p - s|^2 without an array of differences for each shade, and shade by shade: numpy is slow along short axes
    nearest = np.maximum.reduce([pixels @ shade - shade @ shade / 2 for shade in shades])
    apart = (pixels * pixels) @ np.ones(3, np.float32) - 2 * nearest
    alike = np.zeros(depth.shape, bool)
    alike.reshape(-1)[inside] = from_ground(pixels, ground) < 0.7 * np.sqrt(np.maximum(apart, 0))
    return alike, ground


def _middle(colours):
    """Median of each channel to the nearest value, (3,): a partition alone is several times as fast."""
    return np.partition(colours, len(colours) // 2, axis=0)[len(colours) // 2]


def _some(pixels, places, count=600):
    return np.take(pixels, places[:: len(places) // count + 1], axis=0)


def is_hole(contour, part_area, colour, whole, ground):
    """Return whether a gap is a hole: round, not tiny, and showing the ground, as no stripe or groove does."""
    area = cv2.contourArea(contour)
    if area < max(0.004 * part_area, 6) or area < 0.8 * cv2.contourArea(cv2.convexHull(contour)):
        return False
    wide = cv2.minAreaRect(contour)[1]
    if min(wide) < 0.4 * max(wide):
        return False
    inside = cv2.drawContours(np.zeros_like(whole), [contour], -1, 1, -1)
    around = cv2.dilate(inside, np.ones((7, 7), np.uint8)) & ~inside & whole
    if not around.any():
        return False
    seen, wall = (np.median(colour[spots > 0], axis=0) for spots in (inside, around))
    return bool(from_ground(seen, ground) < 0.8 * np.linalg.norm(seen - wall))


def trimmed(view, one):
    """Return a candidate without the shadow that clings to it, its holes counted; itself where that fails."""
    height, width = view.edge.shape
    x0, y0 = max(one.box[0] - _PAD, 0), max(one.box[1] - _PAD, 0)
    x1, y1 = min(one.box[2] + _PAD, width), min(one.box[3] + _PAD, height)
    mask = np.zeros((y1 - y0, x1 - x0), np.uint8)
    mask[one.box[1] - y0 : one.box[3] - y0, one.box[0] - x0 : one.box[2] - x0] = one.mask
    depth = cv2.distanceTransform(mask, cv2.DIST_L2, 3)
    away = cv2.distanceTransform(1 - mask, cv2.DIST_L2, 3)
    colour = view.colour[y0:y1, x0:x1]
    around = (away > 2) & (away < _PAD) & (view.card[y0:y1, x0:x1] == 0)
    alike, ground = ground_like(colour, depth, around)
    if alike is None:
        return one
    kept = cv2.morphologyEx(mask & ~alike.astype(np.uint8) & 1, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    contours, tree = cv2.findContours(kept, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return one
    outer = max(np.flatnonzero(tree[0, :, 3] < 0), key=lambda k: cv2.contourArea(contours[k]))
    whole = cv2.drawContours(np.zeros_like(mask), [contours[outer]], -1, 1, -1)
    area = cv2.countNonZero(whole)
    if area < 0.45 * one.area:
        return one
    # no hole that counts has a shorter rim
    gaps = [contours[k] for k in np.flatnonzero(tree[0, :, 3] == outer) if len(contours[k]) > 8]
    holes = sum(cv2.contourArea(gap) for gap in gaps if is_hole(gap, area, colour, whole, ground))
    rim = contours[outer] + np.array([x0, y0], np.int32)
    return replace(one, box=(x0, y0, x1, y1), mask=whole, contour=rim, hole_share=holes / area)

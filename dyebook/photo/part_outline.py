"""From a rough region to the outline of a part: sharpened on finer pixels, holes cut in by slits."""

import cv2
import numpy as np

from dyebook.photo.part_hole import small_holes
from dyebook.photo.part_ring import polygon_of, traced, with_slits
from dyebook.photo.part_trim import ground_like, is_hole
from dyebook.photo.part_view import shade_free

__all__ = ["outline_of"]

# a crop for sharpening has at most this many pixels: graph cuts grow faster than their pixels
_CROP_PIXELS = 6_500
_MARGIN = 0.12
# an edge pixel's own sides are looked at this near, and fainter steps (squared CIELAB) tell nothing
_NEARBY, _FAINT_EDGE = (9, 9), 16.0
_CROSS = cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))


def outline_of(photo, light, one, view):
    """Return the outline of a candidate in pixels of the photo.

    Parameters
    ----------
    photo : LinearPhoto
    light : Light
    one : Candidate
    view : PartView

    Returns
    -------
    ndarray of shape (N, 2)
        At most about 200 corners; holes are cut in by slits.
    """
    pixels, box, step = _seen_around(photo, one, view)
    colour = shade_free(light.correct(pixels, box, step))
    rough = _laid_over(one, view.step, box, step, colour.shape[:2])
    outer, holes = _rings(_covered(colour, _sharpened(colour, rough)))
    outline = with_slits(outer, holes) * step + box[:2]
    return np.clip(with_slits(outline, small_holes(photo, light, outline)), 0, photo.size)


def _seen_around(photo, one, view):
    """Light around the candidate, its box in pixels of the photo, and the step that keeps it small."""
    x0, y0, x1, y1 = one.box
    margin = _MARGIN * max(x1 - x0, y1 - y0) + 4
    step = np.sqrt((x1 - x0 + 2 * margin) * (y1 - y0 + 2 * margin) / _CROP_PIXELS) * view.step
    small = photo.reduced(1000)
    # where the small picture is fine enough, the photo need not be averaged anew
    unit = small.scale if step > small.scale else photo.unit(step)
    step = max(1, round(step / unit))
    step += step % 2 if unit == 1 and step > 2 else 0  # even steps are averaged quickest
    size = small.pixels.shape[1::-1] if unit == small.scale else [length // unit for length in photo.size]
    left, top = (int(max(v - margin, 0) * view.step / unit) for v in (x0, y0))
    wide, high = (
        min(int((v + margin) * view.step / unit) + 1, most) - first
        for v, most, first in zip((x1, y1), size, (left, top), strict=True)
    )
    # whole blocks, but for what is smaller than one
    right, bottom = left + max(wide // step * step, min(wide, step)), top + max(high // step * step, min(high, step))
    box = tuple(unit * v for v in (left, top, right, bottom))
    if unit < small.scale:
        return photo.crop(box, unit * step), box, unit * step
    pixels = small.pixels[top:bottom, left:right]
    size = max(1, (right - left) // step), max(1, (bottom - top) // step)
    return cv2.resize(pixels, size, interpolation=cv2.INTER_AREA) if step > 1 else pixels, box, unit * step


def _laid_over(one, view_step, box, step, shape):
    """The candidate's mask on the crop's pixels."""
    scale = view_step / step
    shift_x = (one.box[0] * view_step - box[0]) / step + 0.5 * scale - 0.5
    shift_y = (one.box[1] * view_step - box[1]) / step + 0.5 * scale - 0.5
    place = np.array([[scale, 0, shift_x], [0, scale, shift_y]])
    return (cv2.warpAffine(one.mask * 255, place, shape[::-1], flags=cv2.INTER_LINEAR) > 127).astype(np.uint8)


def _sharpened(colour, rough):
    """The region again, by the colours inside it and around it; true holes are left open."""
    depth = cv2.distanceTransform(np.pad(rough, 1), cv2.DIST_L2, 5)[1:-1, 1:-1]
    away = cv2.distanceTransform(1 - rough, cv2.DIST_L2, 5)
    reach = float(np.clip(0.3 * depth.max(), 2, 8))
    alike, ground = ground_like(colour, depth, (away > 2) & (away < 3 * reach))
    if alike is None:
        return rough
    trimap = np.full(rough.shape, cv2.GC_BGD, np.uint8)
    trimap[away < reach] = cv2.GC_PR_BGD
    trimap[rough > 0] = np.where(alike[rough > 0], cv2.GC_PR_BGD, cv2.GC_PR_FGD)
    trimap[(depth > reach) & ~alike] = cv2.GC_FGD
    if np.count_nonzero(trimap & 1) < 0.15 * np.count_nonzero(rough):
        return rough
    codes = np.clip(colour * (2.2, 2.0, 2.0) + (10, 128, 128), 0, 255).astype(np.uint8)
    cv2.setRNGSeed(1)
    cv2.grabCut(codes, trimap, None, np.zeros((1, 65)), np.zeros((1, 65)), 1, cv2.GC_INIT_WITH_MASK)
    return _with_true_holes((trimap & 1).astype(np.uint8), rough, colour, ground)


def _with_true_holes(sharp, rough, colour, ground):
    """The largest piece, filled except for its true holes; the rough region if too little or too much is left."""
    opened = cv2.morphologyEx(sharp, cv2.MORPH_OPEN, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (3, 3)))
    contours, tree = cv2.findContours(opened, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return rough
    outer = max((i for i in range(len(contours)) if tree[0][i][3] < 0), key=lambda i: cv2.contourArea(contours[i]))
    whole = cv2.drawContours(np.zeros_like(rough), [contours[outer]], -1, 1, -1)
    area, before = cv2.countNonZero(whole), cv2.countNonZero(rough)
    if not 0.45 * before < area < 1.5 * before:
        return rough
    inner = [contours[i] for i in range(len(contours)) if tree[0][i][3] == outer]
    for hole in inner:
        if is_hole(hole, area, colour, whole, ground):
            cv2.drawContours(whole, [hole], -1, 0, -1)
            cv2.drawContours(whole, [hole], -1, 1, 1)
    return whole


def _covered(colour, mask):
    """How much of each pixel the part covers, 0 to 1: along the edge by its colour between those on either side."""
    edge = cv2.dilate(mask, _CROSS) != cv2.erode(mask, _CROSS, borderType=cv2.BORDER_REPLICATE)
    colour = colour.astype(np.float32)
    inside, outside = (_nearby(colour, (mask == side) & ~edge) for side in (1, 0))
    way = inside - outside
    share = ((colour - outside) * way).sum(axis=2) / np.maximum((way * way).sum(axis=2), _FAINT_EDGE)
    return np.where(edge, np.clip(share, 0, 1), mask).astype(np.float32)


def _nearby(colour, where):
    """Mean colour of the pixels `where` around each pixel."""
    weight = where.astype(np.float32)
    total = cv2.blur(colour * weight[..., None], _NEARBY)
    return total / np.maximum(cv2.blur(weight, _NEARBY), 1e-6)[..., None]


def _rings(covered):
    """Outer ring and hole rings of what a part covers, corners in pixels from the crop's outer corner."""
    contours, tree = traced(covered)
    outer = max((i for i in range(len(contours)) if tree[0][i][3] < 0), key=lambda i: cv2.contourArea(contours[i]))
    holes = [contours[i] for i in range(len(contours)) if tree[0][i][3] == outer and len(contours[i]) > 8]
    return polygon_of(contours[outer]), [polygon_of(hole) for hole in holes]

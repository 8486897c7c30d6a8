"""From a rough region to the outline of a part: sharpened on finer pixels, holes cut in by slits."""

import cv2
import numpy as np

from dyebook.photo.part_view import shade_free

__all__ = ["outline_of", "with_slits"]

# a crop for sharpening has at most this many pixels: graph cuts grow faster than their pixels
_CROP_PIXELS = 12_000
_MARGIN = 0.12
_LARGEST_POLYGON = 200


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
    box, step = _crop_of(photo, one, view)
    colour = shade_free(light.correct(photo.crop(box, step), box, step))
    rough = _laid_over(one, view.step, box, step, colour.shape[:2])
    sharp = _sharpened(colour, rough)
    outer, holes = _rings(sharp, rough)
    ring = with_slits(outer, holes)
    return np.clip(ring * step + box[:2], 0, photo.size)


def with_slits(outer, holes):
    """Return one polygon that cuts each hole into the outer ring by a slit there and back.

    Parameters
    ----------
    outer : ndarray of shape (N, 2)
    holes : sequence of ndarray of shape (M, 2)

    Returns
    -------
    ndarray of shape (N + sum(M + 2), 2)
    """
    ring = np.asarray(outer, dtype=float)
    for hole in holes:
        hole = np.asarray(hole, dtype=float)
        apart = np.linalg.norm(ring[:, None] - hole[None], axis=2)
        i, j = np.unravel_index(np.argmin(apart), apart.shape)
        turned = np.roll(hole, -j, axis=0)
        ring = np.concatenate([ring[: i + 1], turned, turned[:1], ring[i:]])
    return ring


def _crop_of(photo, one, view):
    """Box around the candidate in pixels of the photo, and the step that keeps it small."""
    x0, y0, x1, y1 = one.box
    margin = _MARGIN * max(x1 - x0, y1 - y0) + 4
    width, height = photo.size
    left, top = (int(max(v - margin, 0) * view.step) for v in (x0, y0))
    right, bottom = min(int((x1 + margin) * view.step) + 1, width), min(int((y1 + margin) * view.step) + 1, height)
    step = max(1, round(np.sqrt((right - left) * (bottom - top) / _CROP_PIXELS)))
    return (left, top, right, bottom), step


def _laid_over(one, view_step, box, step, shape):
    """The candidate's mask on the crop's pixels."""
    scale = view_step / step
    shift_x = (one.box[0] * view_step - box[0]) / step + 0.5 * scale - 0.5
    shift_y = (one.box[1] * view_step - box[1]) / step + 0.5 * scale - 0.5
    place = np.array([[scale, 0, shift_x], [0, scale, shift_y]])
    return (cv2.warpAffine(one.mask * 255, place, shape[::-1], flags=cv2.INTER_LINEAR) > 127).astype(np.uint8)


def _sharpened(colour, rough):
    """The region again, by the colours inside it and around it."""
    area = max(np.count_nonzero(rough), 1)
    depth = cv2.distanceTransform(np.pad(rough, 1), cv2.DIST_L2, 5)[1:-1, 1:-1]
    away = cv2.distanceTransform(1 - rough, cv2.DIST_L2, 5)
    reach = float(np.clip(0.3 * depth.max(), 2, 8))
    trimap = np.full(rough.shape, cv2.GC_BGD, np.uint8)
    trimap[away < reach] = cv2.GC_PR_BGD
    trimap[rough > 0] = cv2.GC_PR_FGD
    ground = colour[(away > 1.5) & (away < 4 * reach)]
    if len(ground) < 20:
        return rough
    middle = np.median(ground, axis=0)
    width = np.maximum(1.4826 * np.median(np.abs(ground - middle), axis=0), 1.5)
    alike = (np.abs(colour - middle) < 3 * width).all(axis=2)
    trimap[(depth > reach) & ~alike] = cv2.GC_FGD
    trimap[(depth > reach) & alike] = cv2.GC_PR_BGD
    codes = np.clip(colour * (2.2, 2.0, 2.0) + (10, 128, 128), 0, 255).astype(np.uint8)
    cv2.setRNGSeed(1)
    cv2.grabCut(codes, trimap, None, np.zeros((1, 65)), np.zeros((1, 65)), 1, cv2.GC_INIT_WITH_MASK)
    sharp = (trimap & 1).astype(np.uint8)
    return sharp if 0.4 * area < np.count_nonzero(sharp) < 1.6 * area else rough


def _rings(sharp, rough):
    """Outer ring of the largest piece and rings of its true holes, corners on the crop's pixel grid."""
    opened = cv2.morphologyEx(sharp, cv2.MORPH_OPEN, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (3, 3)))
    contours, tree = cv2.findContours(opened, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    if not contours:
        contours, tree = cv2.findContours(rough, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    outer = max((i for i in range(len(contours)) if tree[0][i][3] < 0), key=lambda i: cv2.contourArea(contours[i]))
    area = cv2.contourArea(contours[outer])
    holes = [contours[i] for i in range(len(contours)) if tree[0][i][3] == outer and _is_hole(contours[i], area)]
    return _polygon(contours[outer]), [_polygon(hole) for hole in holes]


def _is_hole(contour, part_area):
    """Drilled holes are round and not tiny; what a stripe or a groove leaves is neither."""
    area = cv2.contourArea(contour)
    if area < max(0.004 * part_area, 8):
        return False
    hull = cv2.contourArea(cv2.convexHull(contour))
    (_, _), (w, h), _ = cv2.minAreaRect(contour)
    return area > 0.8 * hull and min(w, h) > 0.45 * max(w, h)


def _polygon(contour):
    """A contour with few corners, in pixels counted from the crop's outer corner."""
    for tolerance in (0.5, 0.8, 1.2, 2.0, 3.5):
        ring = cv2.approxPolyDP(contour, tolerance, True)
        if len(ring) <= _LARGEST_POLYGON // 2:
            break
    return ring[:, 0].astype(float) + 0.5

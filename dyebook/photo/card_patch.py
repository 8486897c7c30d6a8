"""Even four-sided patches of a photo: everything that could be a plain card, good or bad."""

import cv2
import numpy as np

from dyebook.photo.card_edges import AHEAD, cross_lines, even_tones, robust_lines

__all__ = ["even_patches"]

# long side of the picture in which patches are looked for
_SIDE = 460
# steps of tone per pixel that count as an edge; the noise of a dark phone photo lies at the upper ones
_STEPS = tuple(0.0035 * 1.95**i for i in range(6))
# share of the frame a patch may cover
_LEAST, _MOST = 0.008, 0.30
_FILL = 0.88
_POINTS = 160  # of each outline, from which those farthest out on each stretch of a side are taken
_STRETCHES = 14
# every way to number the corners
_TURNS = (np.arange(4)[:, None] + np.arange(4)) % 4
_SQUARE = np.ones((5, 5), np.uint8)


def even_patches(pixels, bright):
    """Return four-sided patches without inner edges.

    Parameters
    ----------
    pixels : ndarray of float32, shape (h, w, 3)
        Linear light.
    bright : ndarray of shape (3,)
        Its `bright_end`.

    Returns
    -------
    list of ndarray of shape (4, 2)
        Rough corners in pixels; each patch once.
    """
    height, width = pixels.shape[:2]
    factor = max(1, round(max(height, width) / _SIDE))  # whole: several times as fast
    size = (-(-width // factor), -(-height // factor))
    small = even_tones(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), bright)
    steps = _steepness(cv2.GaussianBlur(small, (0, 0), 0.9))
    scale = np.array([width / size[0], height / size[1]])
    found, seen = [], []
    for level in _STEPS:
        even = (steps < level).astype(np.uint8)
        for margin in (0, 2):
            # opening with the same square as the last step keeps patches apart that a thread joins
            opened = cv2.dilate(cv2.erode(even, _SQUARE, iterations=1 + margin // 2), _SQUARE)
            found += _outlines_of(opened, margin, seen)
    return [quad * scale for quad in _along_outlines(_distinct(found[::-1]))]


def _steepness(tones):
    """Largest step of any channel per pixel."""
    most = None
    for channel in cv2.split(tones):
        across = cv2.Sobel(channel, cv2.CV_32F, 1, 0, scale=1 / 8)
        down = cv2.Sobel(channel, cv2.CV_32F, 0, 1, scale=1 / 8)
        size = cv2.magnitude(across, down)
        most = size if most is None else cv2.max(most, size)
    return most


def _outlines_of(even, margin, seen):
    """Four-sided outlines in a mask, much like no `seen` one: corners, some points, margin, how ill they fill them."""
    found, shortest = [], 2.5 * np.sqrt(0.5 * _LEAST * even.size)
    for contour in cv2.findContours(even, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)[0]:
        if len(contour) < shortest:
            continue
        x, y, w, h = cv2.boundingRect(contour)
        area, box = cv2.contourArea(contour), (x - margin, y - margin, x + w + margin, y + h + margin)
        likely = _LEAST * 0.5 * even.size < area < _MOST * even.size and w * h < 0.7 * even.size
        if not likely or _close_to_any(box, seen):
            continue
        corners = _four_sides(contour, area)
        if corners is not None:
            seen.append(box)
            points = contour[np.arange(_POINTS) * len(contour) // _POINTS, 0].astype(float)
            corners = corners if _signed_area(corners) > 0 else corners[::-1]
            found.append((corners, points, margin, abs(np.log(area / _signed_area(corners)))))
    return found


def _close_to_any(box, others):
    """Whether a box lies within 2 pixels of an earlier one on all four sides."""
    x0, y0, x1, y1 = box
    return any(abs(x0 - a) < 3 and abs(y0 - b) < 3 and abs(x1 - c) < 3 and abs(y1 - d) < 3 for a, b, c, d in others)


def _four_sides(contour, area):
    """Rough corners of the quadrilateral an outline fills, or None."""
    hull = cv2.convexHull(contour)
    if area < _FILL * cv2.contourArea(hull):
        return None
    corners = _four_corners(hull)
    if corners is None or not _FILL < area / max(cv2.contourArea(corners.astype(np.float32)), 1) < 1.12:
        return None
    return corners


def _along_outlines(found):
    """Quads of outlines, with corners where lines along the outlines' sides cross, grown by their margins."""
    if not found:
        return []
    corners, outlines, margins = (np.array(column) for column in list(zip(*found, strict=True))[:3])
    ahead = corners[:, AHEAD] - corners
    length = np.maximum(np.linalg.norm(ahead, axis=2), 1e-6)[..., None]
    along = ahead / length
    offset = outlines[:, None] - corners[:, :, None]
    way = np.einsum("qsnk,qsk->qsn", offset, along) / length
    out = offset[..., 0] * along[..., None, 1] - offset[..., 1] * along[..., None, 0]
    near = (way > 0.08) & (way < 0.92) & (np.abs(out) < 0.08 * length.mean(axis=1, keepdims=True) + 2)
    points, there = _outermost(outlines, np.where(near, (way - 0.08) / 0.84 * _STRETCHES, -1).astype(int), out)
    centres, along = (part.reshape(-1, 4, 2) for part in robust_lines(points, there))
    few = there.reshape(-1, 4, _STRETCHES).sum(axis=2).min(axis=1) < _STRETCHES // 2
    quads = []
    for k, quad in enumerate(corners):
        crossed = None if few[k] else cross_lines(centres[k], along[k])
        quads.append(_grown((quad if crossed is None else crossed) + 0.5, margins[k] + 1.0))
    return quads


def _outermost(outlines, stretch, out):
    """Points (sides, stretches, 2) farthest out on each stretch of the sides, as noise eats into an even patch."""
    best = [np.where(stretch == one, out, -np.inf) for one in range(_STRETCHES)]
    best = np.stack(best, axis=2).reshape(-1, _STRETCHES, outlines.shape[1])
    at = best.argmax(axis=2)
    points = np.take_along_axis(np.repeat(outlines, 4, axis=0), at[..., None], axis=1)
    return points, np.isfinite(np.take_along_axis(best, at[..., None], axis=2)[..., 0])


def _four_corners(hull):
    """Four corners of a convex outline: the coarsest outline that still has four."""
    length = cv2.arcLength(hull, True)
    for share in (0.015, 0.02, 0.03, 0.04, 0.055, 0.075, 0.1):
        corners = cv2.approxPolyDP(hull, share * length, True)[:, 0]
        if len(corners) == 4:
            return corners.astype(float)
        if len(corners) < 4:
            return None
    return None


def _grown(quad, by):
    """Move each side of a convex quad outwards."""
    quad = quad if _signed_area(quad) > 0 else quad[::-1]
    ahead = quad[AHEAD] - quad
    along = ahead / np.maximum(np.linalg.norm(ahead, axis=1), 1e-6)[:, None]
    corners = cross_lines(quad + by * np.stack([along[:, 1], -along[:, 0]], axis=1), along)
    return quad if corners is None else corners


def _signed_area(quad):
    x, y = quad.T
    return 0.5 * float(x @ y[AHEAD] - x[AHEAD] @ y)


def _distinct(found):
    """Drop quads whose corners lie close to those of one that is filled better, or as well and came earlier."""
    kept, turned = [], np.empty((4 * len(found), 4, 2))
    for one in sorted(found, key=lambda one: round(one[3], 2)):
        corners, _, margin, _ = one
        away = corners - corners.mean(axis=0)
        corners = corners + (margin + 1.0) * np.sqrt(2) * away / np.linalg.norm(away, axis=1)[:, None]
        # corners may be numbered from any of the four
        off = turned[: 4 * len(kept)] - corners
        apart = np.einsum("nsk,nsk->ns", off, off).max(axis=1)
        if not len(kept) or apart.min() > 0.0016 * _signed_area(corners):
            turned[4 * len(kept) : 4 * len(kept) + 4] = corners[_TURNS]
            kept.append(one)
    return kept

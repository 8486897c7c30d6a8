"""Even four-sided patches of a photo: everything that could be a plain card, good or bad."""

import cv2
import numpy as np

from dyebook.photo.card_edges import AHEAD, cross_lines, robust_lines

__all__ = ["even_patches", "even_tones"]

# long side of the picture in which patches are looked for
_SIDE = 460
# steps of tone per pixel that count as an edge; the noise of a dark phone photo lies at the upper ones
_STEPS = tuple(0.0035 * 1.6**i for i in range(8))
# share of the frame a patch may cover
_LEAST, _MOST = 0.008, 0.30
_FILL = 0.88
# every way to number the corners
_TURNS = (np.arange(4)[:, None] + np.arange(4)) % 4
_SQUARE = np.ones((5, 5), np.uint8)


def even_tones(pixels):
    """Return the tones of linear light, in which noise and steps look much alike from dark to bright.

    Parameters
    ----------
    pixels : ndarray of float32, shape (h, w, 3)
        Linear light.

    Returns
    -------
    ndarray of float32, shape (h, w, 3)
        Cube root of light, each channel scaled by the bright end of the picture.
    """
    few = pixels[:: 1 + pixels.shape[0] // 150, :: 1 + pixels.shape[1] // 150].reshape(-1, 3)
    bright = np.maximum(np.percentile(few, 99, axis=0), 1e-4)
    # OpenCV scales channels several times as fast as a broadcast over the short axis
    scaled = cv2.transform(np.ascontiguousarray(pixels), np.diag(1 / bright).astype(np.float32))
    return np.cbrt(np.clip(scaled, 0, 4, out=scaled), out=scaled)


def even_patches(tones):
    """Return four-sided patches without inner edges.

    Parameters
    ----------
    tones : ndarray of float32, shape (h, w, 3)
        From `even_tones`.

    Returns
    -------
    list of ndarray of shape (4, 2)
        Rough corners in pixels of `tones`; each patch once.
    """
    height, width = tones.shape[:2]
    factor = max(1, round(max(height, width) / _SIDE))  # whole: several times as fast
    size = (-(-width // factor), -(-height // factor))
    steps = _steepness(cv2.GaussianBlur(cv2.resize(tones, size, interpolation=cv2.INTER_AREA), (0, 0), 0.9))
    scale = np.array([width / size[0], height / size[1]])
    quads, seen = [], []
    for level in _STEPS:
        even = (steps < level).astype(np.uint8)
        for margin in (0, 2):
            # opening with the same square as the last step keeps patches apart that a thread joins
            quads += _quads_of(cv2.dilate(cv2.erode(even, _SQUARE, iterations=1 + margin // 2), _SQUARE), margin, seen)
    return [quad * scale for quad in _distinct(quads)]


def _steepness(tones):
    """Largest step of any channel per pixel."""
    most = None
    for channel in cv2.split(tones):
        across = cv2.Sobel(channel, cv2.CV_32F, 1, 0, scale=1 / 8)
        down = cv2.Sobel(channel, cv2.CV_32F, 0, 1, scale=1 / 8)
        size = cv2.magnitude(across, down)
        most = size if most is None else cv2.max(most, size)
    return most


def _quads_of(even, margin, seen):
    """Four-sided outlines in a mask, grown by `margin` pixels; one much like a `seen` one is left out."""
    quads = []
    for contour in cv2.findContours(even, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)[0]:
        if len(contour) < 40:
            continue
        x, y, w, h = cv2.boundingRect(contour)
        area, box = cv2.contourArea(contour), (x - margin, y - margin, x + w + margin, y + h + margin)
        likely = _LEAST * 0.5 * even.size < area < _MOST * even.size and w * h < 0.7 * even.size
        if not likely or _close_to_any(box, seen):
            continue
        quad = _four_sides(contour, area)
        if quad is not None:
            seen.append(box)
            quads.append(_grown(quad, margin + 1.0))
    return quads


def _close_to_any(box, others):
    """Whether a box lies within 2 pixels of an earlier one on all four sides."""
    x0, y0, x1, y1 = box
    return any(abs(x0 - a) < 3 and abs(y0 - b) < 3 and abs(x1 - c) < 3 and abs(y1 - d) < 3 for a, b, c, d in others)


def _four_sides(contour, area):
    """Corners of the quadrilateral an outline fills, or None."""
    hull = cv2.convexHull(contour)
    if area < _FILL * cv2.contourArea(hull):
        return None
    corners = _four_corners(hull)
    if corners is None or not _FILL < area / max(cv2.contourArea(corners.astype(np.float32)), 1) < 1.12:
        return None
    return _along_outline(corners, contour[:: max(1, len(contour) // 120), 0].astype(float)) + 0.5


def _along_outline(corners, outline):
    """Corners where lines through the outline's points near each side cross."""
    corners = corners if _signed_area(corners) > 0 else corners[::-1]
    ahead = corners[AHEAD] - corners
    length = np.maximum(np.linalg.norm(ahead, axis=1), 1e-6)[:, None]
    along = ahead / length
    offset = outline[None] - corners[:, None]
    way = np.einsum("snk,sk->sn", offset, along) / length
    aside = np.abs(offset[..., 0] * along[:, None, 1] - offset[..., 1] * along[:, None, 0])
    near = (way > 0.08) & (way < 0.92) & (aside < 0.08 * length.mean() + 2)
    if near.sum(axis=1).min() < 6:
        return corners
    crossed = cross_lines(*robust_lines(np.broadcast_to(outline, (4, *outline.shape)), near))
    return corners if crossed is None else crossed


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


def _distinct(quads):
    """Drop quads whose corners lie close to those of an earlier one, coarser steps first."""
    kept = np.empty((0, 4, 2))
    for quad in reversed(quads):
        turns = quad[_TURNS]
        apart = np.linalg.norm(kept[:, None] - turns, axis=-1).max(axis=2).min(axis=1, initial=np.inf)
        if not len(kept) or apart.min() > 0.04 * np.sqrt(abs(_signed_area(quad))):
            kept = np.concatenate([kept, quad[None]])
    return list(kept)

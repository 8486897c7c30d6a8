"""How far the surface of a part leans away from the camera, guessed from its outline alone."""

import cv2
import numpy as np

__all__ = ["guess_lean"]

# on the way from rim to middle line the distance to the rim grows by about one a pixel; along the middle line it does
# not, whatever the taper
_UPHILL = 0.5
_REACH = 2


def guess_lean(mask):
    """Return how far from the middle line towards the rim each pixel lies.

    Parameters
    ----------
    mask : ndarray of bool, shape (H, W)

    Returns
    -------
    lean : ndarray of float32, shape (H, W)
        0 on the middle line, 1 at the rim; nan outside the mask.
    depth : ndarray of float32, shape (H, W)
        Distance to the rim in pixels.

    Notes
    -----
    Every pixel climbs the distance to the rim until it stops growing; the height reached is the local half width.
    The middle line of a turned piece, a ring or a knob faces the camera, and the middle of a plate does so anyway:
    no kind of part has to be told apart.
    """
    depth = cv2.distanceTransform(np.pad(mask, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    smooth = cv2.GaussianBlur(depth, (0, 0), 1.0)
    summit = _next_uphill(smooth)
    # each step climbs two pixels by half a pixel or more each: no path has more steps than the summit has pixels
    for _ in range(int(np.ceil(np.log2(max(float(smooth.max()), 2))))):
        summit = summit[summit]
    half_width = np.maximum(smooth.ravel()[summit].reshape(mask.shape), depth)
    lean = np.where(mask, 1 - depth / np.maximum(half_width, 1), np.nan)
    return lean.astype(np.float32), depth


def _next_uphill(heights):
    """Index, flat, of the steepest neighbour above each pixel, itself where the slope ends."""
    rows, columns = heights.shape
    padded = np.pad(heights, _REACH)
    best, way = np.full(heights.shape, _UPHILL, dtype=heights.dtype), np.zeros(heights.shape, np.int32)
    slope, steeper = np.empty_like(heights), np.empty(heights.shape, bool)
    for dy, dx in _ring():
        view = padded[_REACH + dy : _REACH + dy + rows, _REACH + dx : _REACH + dx + columns]
        np.subtract(view, heights, out=slope)
        slope /= np.hypot(dy, dx)
        np.greater(slope, best, out=steeper)
        np.copyto(best, slope, where=steeper)
        np.copyto(way, dy * columns + dx, where=steeper)
    return np.clip(np.arange(heights.size) + way.ravel(), 0, heights.size - 1)


def _ring():
    """Offsets two pixels away: a single step is too coarse to tell a slope's direction."""
    reach = range(-_REACH, _REACH + 1)
    return [(dy, dx) for dy in reach for dx in reach if max(abs(dy), abs(dx)) == _REACH]

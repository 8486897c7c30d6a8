"""Rings around what a part covers, traced finer than a pixel, and holes cut into them."""

import cv2
import numpy as np

__all__ = ["polygon_of", "traced", "with_slits"]

_LARGEST_RING = 100
# edges of the mask are smoothed over this many crop pixels before they are traced, finer than a pixel
_FINER = 4


def traced(covered):
    """Return cv2's contours and their tree of a cover (h, w) from 0 to 1, four times as fine."""
    fine = cv2.resize(covered, None, fx=_FINER, fy=_FINER, interpolation=cv2.INTER_LINEAR)
    fine = (cv2.GaussianBlur(fine, (0, 0), _FINER * 0.6) > 0.5).astype(np.uint8)
    return cv2.findContours(fine, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)


def polygon_of(contour):
    """Return one of the contours that `traced` gives with few corners (N, 2), from the cover's outer corner."""
    for tolerance in (0.6, 1.0, 1.5, 2.5, 4.0):
        ring = cv2.approxPolyDP(contour, tolerance, True)
        if len(ring) <= _LARGEST_RING:
            break
    return (ring[:, 0].astype(float) + 0.5) / _FINER


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

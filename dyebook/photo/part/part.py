"""Rings around what a part covers, traced finer than a pixel, and holes cut into them.

Parts in a photo: their outlines and masks.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from dyebook.errors import PhotoError
from dyebook.photo.card.card import fill_polygon

__all__ = ["Part", "part_at", "polygon_of", "traced", "with_slits"]


@dataclass(frozen=True)
class Part:
    """One part as an outline in the upright photo.

    Attributes
    ----------
    outline : ndarray of shape (N, 2)
        Polygon in pixels; a hole is cut in by a slit.
    confidence : float
        1 for an outline somebody drew, less for one that was found.
    flags : tuple of str
    """

    outline: np.ndarray
    confidence: float = 1.0
    flags: tuple = ()

    @property
    def box(self):
        """x0, y0, x1, y1 as whole pixels around the outline."""
        x0, y0 = np.floor(self.outline.min(axis=0)).astype(int)
        x1, y1 = np.ceil(self.outline.max(axis=0)).astype(int)
        return int(x0), int(y0), int(x1), int(y1)

    def mask(self, box=None, step=1):
        """Return the pixels of `box` (default: the part's own) that belong to the part, as bool (H, W)."""
        return fill_polygon(self.outline, self.box if box is None else box, step)


def part_at(photo, polygon):
    """Return the part that somebody outlined.

    Parameters
    ----------
    photo : LinearPhoto
    polygon : array_like of shape (N, 2)
        Corners in pixels of the upright photo, at least three.

    Returns
    -------
    Part

    Raises
    ------
    PhotoError
        If the outline leaves the photo altogether or encloses almost nothing.
    """
    polygon = np.asarray(polygon, dtype=float)
    width, height = photo.size
    if polygon.ndim != 2 or polygon.shape[1] != 2:
        raise PhotoError("what was given is no outline of a part; give a list of outlines, each a list of x,y pairs")
    usable = int(np.isfinite(polygon).all(axis=1).sum())
    if usable < max(3, len(polygon)):
        raise PhotoError(
            f"the part's outline has {usable} usable corners of {len(polygon)}; give at least three x,y pairs"
        )
    inside = np.clip(polygon, 0, (width, height))
    part = Part(inside)
    if part.mask().sum() < 30:
        raise PhotoError(
            f"the part's outline covers {int(part.mask().sum())} pixels of {photo.name} ({width} × {height}); "
            "give its corners in pixels of the upright photo"
        )
    return part


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

"""Parts in a photo: their outlines, traced finer than a pixel with holes cut in by slits, and their masks."""

from dataclasses import dataclass

import cv2
import numpy as np

from dyebook.errors import PhotoError
from dyebook.photo.card.card import fill_polygon
from dyebook.photo.file.linear import LinearPhoto

__all__ = ["Part", "part_at", "polygon_of", "traced", "with_slits"]

# fewest corners, and pixels, of an outline drawn by hand
_FEWEST_CORNERS, _FEWEST_PIXELS = 3, 30
# most corners of a ring, and how far a simpler one may lie off, in finer pixels, tried in turn
_MOST_CORNERS, _TOLERANCES = 100, (0.6, 1.0, 1.5, 2.5, 4.0)
# a cover is traced on pixels so many times finer, and smoothed over this share of one of its own
_FINER, _SMOOTHED = 4, 0.6


@dataclass(frozen=True)
class Part:
    """One part as an outline in the upright photo."""

    outline: np.ndarray  # (N, 2): polygon in pixels; a hole is cut in by a slit
    confidence: float = 1.0  # probability that it is a part; 1 for an outline drawn by hand
    flags: tuple[str, ...] = ()

    @property
    def box(self):
        """x0, y0, x1, y1 as whole pixels around the outline."""
        x0, y0 = np.floor(self.outline.min(axis=0)).astype(int)
        x1, y1 = np.ceil(self.outline.max(axis=0)).astype(int)
        return int(x0), int(y0), int(x1), int(y1)

    def mask(self, box=None, step=1):
        """Return the pixels of `box` (default: the part's own) that belong to the part, as bool (H, W)."""
        return fill_polygon(self.outline, self.box if box is None else box, step)


def part_at(photo: LinearPhoto, polygon) -> Part:
    """Return the part that an outline drawn by hand encloses.

    `polygon` (N, 2): corners in pixels of the upright photo, at least three.
    """
    polygon = np.asarray(polygon, dtype=float)
    width, height = photo.size
    if polygon.ndim != 2 or polygon.shape[1] != 2:
        raise PhotoError("what was given is no outline of a part; give a list of outlines, each a list of x,y pairs")
    usable = int(np.isfinite(polygon).all(axis=1).sum())
    if usable < max(_FEWEST_CORNERS, len(polygon)):
        raise PhotoError(
            f"the part's outline has {usable} usable corners of {len(polygon)}; give at least three x,y pairs"
        )
    inside = np.clip(polygon, 0, (width, height))
    part = Part(inside)
    if part.mask().sum() < _FEWEST_PIXELS:
        raise PhotoError(
            f"the part's outline covers {int(part.mask().sum())} pixels of {photo.name} ({width} × {height}); "
            "give its corners in pixels of the upright photo"
        )
    return part


def traced(covered: np.ndarray):
    """Return cv2's contours and their tree of a cover (h, w) from 0 to 1, four times as fine."""
    fine = cv2.resize(covered, None, fx=_FINER, fy=_FINER, interpolation=cv2.INTER_LINEAR)
    fine = (cv2.GaussianBlur(fine, (0, 0), _FINER * _SMOOTHED) > 0.5).astype(np.uint8)
    return cv2.findContours(fine, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)


def polygon_of(contour: np.ndarray) -> np.ndarray:
    """Return one of the contours that `traced` gives with few corners (N, 2), from the cover's outer corner."""
    for tolerance in _TOLERANCES:
        ring = cv2.approxPolyDP(contour, tolerance, True)
        if len(ring) <= _MOST_CORNERS:
            break
    return (ring[:, 0].astype(float) + 0.5) / _FINER


def with_slits(outer, holes) -> np.ndarray:
    """Return one polygon (K, 2) that cuts each hole (M, 2) into the outer ring (N, 2) by a slit there and back."""
    ring = np.asarray(outer, dtype=float)
    for hole in holes:
        hole = np.asarray(hole, dtype=float)
        apart = np.linalg.norm(ring[:, None] - hole[None], axis=2)
        i, j = np.unravel_index(np.argmin(apart), apart.shape)
        turned = np.roll(hole, -j, axis=0)
        ring = np.concatenate([ring[: i + 1], turned, turned[:1], ring[i:]])
    return ring

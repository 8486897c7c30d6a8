"""Parts in a photo: their outlines and masks."""

from dataclasses import dataclass

import numpy as np

from dyebook.errors import PhotoError
from dyebook.photo.card import fill_polygon

__all__ = ["Part", "part_at"]


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

"""A part turned level, in log light: where each pixel lies on it, and which pixels can tell a flaw."""

from dataclasses import dataclass

import cv2
import numpy as np

from dyebook.photo.card import fill_polygon
from dyebook.photo.lean import guess_lean

__all__ = ["DARK", "PartView", "view_part"]

_WORKING_PIXELS = 60_000
# lean at which the rim's own shading takes over, and pixels of the picture that mix with the background
_RIM_LEAN, _RIM = 0.86, 2.2
# light added before the logarithm: noise of a channel that has next to none must not count
DARK = 0.008
# sides of the level box nearer to a square than this, and an outline that fills its ellipse, may be a round part
_ROUND_ASPECT, _ROUND_FILL = 0.8, 0.04


@dataclass(frozen=True)
class PartView:
    """A part in its own frame, its long side level.

    Attributes
    ----------
    log_light : ndarray of float32, shape (H, W, 3)
        Natural logarithm of the corrected light and DARK.
    mask, inner : ndarray of bool, shape (H, W)
        The part, and its pixels away from the rim.
    lean : ndarray of float32, shape (H, W)
        0 on the middle line, 1 at the rim.
    along, across : ndarray of float32, shape (H, W)
        -1..1 from end to end, and from rim to rim at that place.
    is_round : bool
    matrix : ndarray of shape (2, 3)
        From pixels of the photo to pixels of the view.
    """

    log_light: np.ndarray
    mask: np.ndarray
    inner: np.ndarray
    lean: np.ndarray
    along: np.ndarray
    across: np.ndarray
    is_round: bool
    matrix: np.ndarray

    def to_photo(self, points):
        """Return points (N, 2) of the view in pixels of the photo."""
        back = cv2.invertAffineTransform(self.matrix)
        return np.asarray(points, dtype=float) @ back[:, :2].T + back[:, 2]


def view_part(photo, light, part):
    """Return a part turned level.

    Parameters
    ----------
    photo : LinearPhoto
    light : Light
    part : Part

    Returns
    -------
    PartView
    """
    outline = np.asarray(part.outline, dtype=np.float32)
    (centre, sides, turn) = cv2.minAreaRect(outline)
    if sides[0] < sides[1]:
        sides, turn = sides[::-1], turn + 90
    step = max(1, int(np.sqrt(cv2.contourArea(outline) / _WORKING_PIXELS)))
    size = tuple(max(8, round(side / step) + 4) for side in sides)
    matrix = cv2.getRotationMatrix2D(centre, turn, 1 / step)
    matrix[:, 2] += np.array(size) / 2 - centre
    box = part.box
    pixels = light.correct(photo.crop(box, step), box, step)
    level = _turned(pixels, box, step, matrix, size)
    points = outline.astype(float) @ matrix[:, :2].T + matrix[:, 2]
    mask = fill_polygon(points, (0, 0, *size), 1)
    lean, depth = _coarse_lean(mask)
    inner = mask & (depth > _RIM) & (lean < _RIM_LEAN)
    along, across = _places(mask)
    return PartView(
        np.log(np.maximum(level, 0) + np.float32(DARK)), mask, inner, lean, along, across, _is_round(mask), matrix
    )


def _coarse_lean(mask):
    """Lean of a mask of half size, and the exact distance to the rim in pixels."""
    height, width = mask.shape
    lean, _ = guess_lean(mask[::2, ::2])
    lean = cv2.resize(np.nan_to_num(lean, nan=1.0), (width, height), interpolation=cv2.INTER_LINEAR)
    return lean, cv2.distanceTransform(np.pad(mask, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]


def _turned(pixels, box, step, matrix, size):
    """Pixels of a box brought into the level view."""
    # pixel middles: cv2 counts them from 0, the photo from 0.5
    whole = np.vstack([matrix, [0, 0, 1]])
    crop = np.array([[step, 0, box[0] + step / 2], [0, step, box[1] + step / 2], [0, 0, 1]])
    total = whole @ crop
    total[:2, 2] -= 0.5
    return cv2.warpAffine(pixels, total[:2], size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def _places(mask):
    """Places along and across the part, -1..1, by the outline's own extent in each column."""
    height, width = mask.shape
    filled = mask.any(axis=0)
    first = np.where(filled, mask.argmax(axis=0), 0)
    last = np.where(filled, height - 1 - mask[::-1].argmax(axis=0), height - 1)
    middle, half = (first + last) / 2, np.maximum((last - first + 1) / 2, 1)
    across = (np.arange(height)[:, None] - middle) / half
    along = np.broadcast_to(np.linspace(-1, 1, width), mask.shape)
    return along.astype(np.float32), np.clip(across, -1, 1).astype(np.float32)


def _is_round(mask):
    """Whether the outline is an ellipse of nearly equal axes."""
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    high, wide = np.ptp(rows) + 1, np.ptp(columns) + 1
    if min(high, wide) < _ROUND_ASPECT * max(high, wide):
        return False
    y, x = np.mgrid[: mask.shape[0], : mask.shape[1]]
    ellipse = np.hypot((x - columns.mean()) / (wide / 2), (y - rows.mean()) / (high / 2)) <= 1
    outer = np.maximum.accumulate(mask, axis=0) & np.maximum.accumulate(mask[::-1], axis=0)[::-1]
    return bool((ellipse ^ outer).sum() < _ROUND_FILL * ellipse.sum())

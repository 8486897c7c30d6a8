"""A part turned level, in log light: where each pixel lies on it, and which pixels can tell a flaw."""

from dataclasses import dataclass, field

import cv2
import numpy as np

from dyebook.photo.card import fill_polygon
from dyebook.photo.lean import guess_lean

__all__ = ["DARK", "PartView", "view_part"]

_WORKING_PIXELS = 22_000
# pixels of the view around the part
_MARGIN = 6
# lean at which the rim's own shading takes over, and pixels of the picture that mix with the background
_RIM_LEAN, _RIM = 0.86, 2.0
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
    ground : ndarray of shape (3,)
        Median of the log light just outside the part, which shows through its holes.
    is_round : bool
    matrix : ndarray of shape (2, 3)
        From pixels of the photo to pixels of the view.
    p, q : ndarray of float32, shape (H, W)
        -1..1 from end to end, and from rim to rim at that place; of a round part around it, and outwards.
    middle, half : ndarray of float32, shape (W,) or (2,)
        Middle row and half the height of each column; of a round part middle and half axes, as x, y.
    """

    log_light: np.ndarray
    mask: np.ndarray
    inner: np.ndarray
    lean: np.ndarray
    ground: np.ndarray
    is_round: bool
    matrix: np.ndarray
    p: np.ndarray = field(repr=False)
    q: np.ndarray = field(repr=False)
    middle: np.ndarray = field(repr=False)
    half: np.ndarray = field(repr=False)

    def to_photo(self, points):
        """Return points (N, 2) of the view in pixels of the photo."""
        back = cv2.invertAffineTransform(self.matrix)
        return np.asarray(points, dtype=float) @ back[:, :2].T + back[:, 2]

    def unrolled(self, values, rows, columns):
        """Return values (H, W, ...) at a grid of places: rows over q, columns over p, both from -1 to 1."""
        x, y = self._grid(rows, columns)
        if values.dtype == bool:
            return cv2.remap(values.view(np.uint8), x, y, cv2.INTER_NEAREST).view(bool)
        return cv2.remap(values, x, y, cv2.INTER_LINEAR)

    def rolled(self, table):
        """Return what a grid (rows over q, columns over p) says at each pixel: the way back from `unrolled`."""
        rows, columns = table.shape[:2]
        x = (self.p + 1) * np.float32((columns - 1) / 2)
        y = (self.q + 1) * np.float32((rows - 1) / 2)
        return cv2.remap(np.ascontiguousarray(table, dtype=np.float32), x, y, cv2.INTER_LINEAR)

    def _grid(self, rows, columns):
        """Pixels x, y of a grid of places."""
        q, p = np.linspace(-1, 1, rows, dtype=np.float32)[:, None], np.linspace(-1, 1, columns, dtype=np.float32)
        if self.is_round:
            outwards = (q + 1) / 2
            x = self.middle[0] + self.half[0] * outwards * np.cos(np.pi * p)
            y = self.middle[1] + self.half[1] * outwards * np.sin(np.pi * p)
            return x.astype(np.float32), y.astype(np.float32)
        x = (p + 1) / 2 * (len(self.middle) - 1)
        near = x.round().astype(int)
        y = self.middle[near] + q * self.half[near]
        return np.broadcast_to(x, y.shape).astype(np.float32), y.astype(np.float32)


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
    centre, sides, turn = cv2.minAreaRect(outline)
    if sides[0] < sides[1]:
        sides, turn = sides[::-1], turn + 90
    shrink = max(1.0, np.sqrt(abs(cv2.contourArea(outline)) / _WORKING_PIXELS))
    box, step = photo.fitted(_with_margin(part.box, round(1.5 * _MARGIN * shrink), photo.size), shrink)
    shrink = max(shrink, step)
    size = tuple(max(8, round(side / shrink)) + 2 * _MARGIN for side in sides)
    matrix = cv2.getRotationMatrix2D(centre, turn, 1 / shrink)
    matrix[:, 2] += np.array(size) / 2 - centre
    level = _turned(light.correct(photo.crop(box, step), box, step), box, step, matrix, size)
    log_light = cv2.log(np.maximum(level, 0) + np.float32(DARK))
    mask = fill_polygon(outline.astype(float) @ matrix[:, :2].T + matrix[:, 2], (0, 0, *size), 1)
    lean, depth = _coarse_lean(mask)
    inner = mask & (depth > _RIM) & (lean < _RIM_LEAN)
    is_round = _is_round(mask)
    return PartView(
        log_light,
        mask,
        inner,
        lean,
        _ground(log_light, mask),
        is_round,
        matrix,
        *(_round_places if is_round else _long_places)(mask),
    )


def _with_margin(box, margin, size):
    """A box grown on all sides as far as the photo reaches."""
    x0, y0, x1, y1 = box
    return max(0, x0 - margin), max(0, y0 - margin), min(size[0], x1 + margin), min(size[1], y1 + margin)


def _ground(log_light, mask):
    """Median of log light in a band around the part."""
    near, far = (cv2.dilate(mask.view(np.uint8), np.ones((2 * n + 1,) * 2, np.uint8)) for n in (2, _MARGIN))
    band = log_light[(near == 0) & (far > 0)]
    return np.median(band, axis=0) if len(band) else np.zeros(3)


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


def _long_places(mask):
    """Places along and across by the outline's own extent in each column; middle and half of the columns."""
    height, width = mask.shape
    filled = mask.any(axis=0)
    first = np.where(filled, mask.argmax(axis=0), 0)
    last = np.where(filled, height - 1 - mask[::-1].argmax(axis=0), height - 1)
    middle = ((first + last) / 2).astype(np.float32)
    half = np.maximum((last - first + 1) / 2, 1).astype(np.float32)
    across = (np.arange(height, dtype=np.float32)[:, None] - middle) / half
    along = np.broadcast_to(np.linspace(-1, 1, width, dtype=np.float32), mask.shape)
    return np.ascontiguousarray(along), np.clip(across, -1, 1), middle, half


def _round_places(mask):
    """Places around and outwards; middle and half axes as x, y."""
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    middle = np.array([columns.mean(), rows.mean()], np.float32)
    half = np.array([np.ptp(columns), np.ptp(rows)], np.float32) / 2 + np.float32(0.5)
    y = (np.arange(mask.shape[0], dtype=np.float32)[:, None] - middle[1]) / half[1]
    x = (np.arange(mask.shape[1], dtype=np.float32) - middle[0]) / half[0]
    away, turn = cv2.cartToPolar(*(np.ascontiguousarray(np.broadcast_to(v, mask.shape)) for v in (x, y)))
    turn = turn / np.float32(np.pi)
    return np.where(turn > 1, turn - 2, turn), np.clip(2 * away - 1, -1, 1), middle, half


def _is_round(mask):
    """Whether the outline is an ellipse of nearly equal axes."""
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    high, wide = np.ptp(rows) + 1, np.ptp(columns) + 1
    if min(high, wide) < _ROUND_ASPECT * max(high, wide):
        return False
    y = (np.arange(mask.shape[0])[:, None] - rows.mean()) / (high / 2)
    x = (np.arange(mask.shape[1]) - columns.mean()) / (wide / 2)
    ellipse = x**2 + y**2 <= 1
    outer = np.maximum.accumulate(mask, axis=0) & np.maximum.accumulate(mask[::-1], axis=0)[::-1]
    return bool((ellipse ^ outer).sum() < _ROUND_FILL * ellipse.sum())

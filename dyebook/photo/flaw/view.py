"""A part turned level, in log light, and what is left of it once its own shading is taken away.

Each pixel gets a place on the part: from end to end and from rim to rim, or around a round part and outwards. Shading
moves brightness and hardly the ratios of the channels, so over these places brightness is fitted with many terms and
the ratios with few, both so that flaws count little.
"""

from dataclasses import dataclass, field
from functools import cache

import cv2
import numpy as np

from dyebook.photo.card.card import fill_polygon
from dyebook.photo.file.linear import LinearPhoto
from dyebook.photo.light import Light
from dyebook.photo.part.part import Part
from dyebook.photo.reading import guess_tilt

__all__ = ["CHROMA", "DARK", "NEUTRAL", "PartView", "level_profiles", "unshaded", "view_part"]

# light added before the logarithm: noise of a channel that has next to none must not count
DARK = 0.008
# directions in log light: light and shade move all channels alike, only dye (and mirror light) moves the other two
NEUTRAL = np.full(3, 1 / np.sqrt(3), np.float32)
CHROMA = np.array([[1, -1, 0], [1, 1, -2]], np.float32) / np.sqrt([[2], [6]]).astype(np.float32)
_AXES = np.vstack([NEUTRAL, CHROMA]).astype(np.float32)

# -- The view --
# pixels of a part that are looked at, at most; pixels around it, and how much wider a margin of the photo is cut out
_WORKING_PIXELS, _MARGIN, _WIDER = 22_000, 6, 1.5
_SMALLEST_SIDE = 8
# tilt at which the rim's own shading takes over, and pixels of the picture that mix with the background
_RIM_TILT, _RIM = 0.86, 2.0
# sides of the level box nearer to a square than this, and an outline that fills its ellipse, may be a round part
_ROUND_ASPECT, _ROUND_FILL = 0.8, 0.04

# -- Shading --
# grid of places (rim to rim, end to end) on which shading is fitted, and on which what lines share is sought
_ROWS, _COLUMNS = 32, 48
_LINES, _FINE = 72, 60
_STRETCHES = 5
# tents of the few terms and of the many, outwards on a round part; from rim to rim, and along, on others
_ROUND_FEW, _ROUND_MANY, _LONG_FEW, _LONG_MANY, _LONG_ALONG = 7, 9, 9, 11, 8
# rounds of a robust fit, its ridge, and how far off, in medians and log light, a pixel's weight is halved
_ROUNDS, _RIDGE, _HALF_WEIGHT, _HALF_FLOOR = 4, 1e-2, 1.5, 1e-4
_FEW_PRODUCTS = 200_000


@dataclass(frozen=True)
class PartView:
    """A part in its own frame, its long side level."""

    log_light: np.ndarray  # float32 (H, W, 3): natural logarithm of the corrected light and DARK
    # mask, inner: bool (H, W): the part, and its pixels away from the rim
    mask: np.ndarray
    inner: np.ndarray
    tilt: np.ndarray  # float32 (H, W): 0 on the middle line, 1 at the rim
    ground: np.ndarray  # (3,): median of the log light just outside the part, which shows through its holes
    is_round: bool
    matrix: np.ndarray  # (2, 3): from pixels of the photo to pixels of the view
    # p, q: float32 (H, W): -1..1 from end to end, and from rim to rim at that place; of a round part around it, and
    # outwards
    p: np.ndarray = field(repr=False)
    q: np.ndarray = field(repr=False)
    # middle, half: float32 (W,) or (2,): middle row and half the height of each column; of a round part middle and half
    # axes, as x, y
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


def view_part(photo: LinearPhoto, light: Light, part: Part) -> PartView:
    """Return a part turned level, in corrected light."""
    outline = np.asarray(part.outline, dtype=np.float32)
    centre, sides, turn = cv2.minAreaRect(outline)
    if sides[0] < sides[1]:
        sides, turn = sides[::-1], turn + 90
    shrink = max(1.0, np.sqrt(abs(cv2.contourArea(outline)) / _WORKING_PIXELS))
    box, step = photo.fitted(_with_margin(part.box, round(_WIDER * _MARGIN * shrink), photo.size), shrink)
    shrink = max(shrink, step)
    size = tuple(max(_SMALLEST_SIDE, round(side / shrink)) + 2 * _MARGIN for side in sides)
    matrix = cv2.getRotationMatrix2D(centre, turn, 1 / shrink)
    matrix[:, 2] += np.array(size) / 2 - centre
    level = _turned(light.correct(photo.crop(box, step), box, step), box, step, matrix, size)
    log_light = cv2.log(np.maximum(level, 0) + np.float32(DARK))
    mask = fill_polygon(outline.astype(float) @ matrix[:, :2].T + matrix[:, 2], (0, 0, *size), 1)
    tilt, depth = _coarse_tilt(mask)
    inner = mask & (depth > _RIM) & (tilt < _RIM_TILT)
    is_round = _is_round(mask)
    return PartView(
        log_light,
        mask,
        inner,
        tilt,
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


def _coarse_tilt(mask):
    """Lean of a mask of half size, and the exact distance to the rim in pixels."""
    height, width = mask.shape
    tilt, _ = guess_tilt(mask[::2, ::2])
    tilt = cv2.resize(np.nan_to_num(tilt, nan=1.0), (width, height), interpolation=cv2.INTER_LINEAR)
    return tilt, cv2.distanceTransform(np.pad(mask, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]


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


def unshaded(view: PartView) -> np.ndarray:
    """Return what is left of a part's log light (H, W, 3) without its shading.

    It is 0 outside the part.

    Notes
    -----
    Shading of a turned part is a profile across it, of a plate a gentle slope, of a ring or dome a profile from the
    middle outwards that swings once or twice around it; all of this moves brightness. The ratios of the channels
    follow it little, by the mirror light and the longer way through the film, so they are fitted with few terms: a
    large pale zone that the brightness fit might take for shading stays in them. Pixels far off lose their
    weight (Cauchy's), first by their ratios, then by their brightness. What all stretches of a row (mirror stripe),
    and in brightness of a column (groove), share goes after.
    """
    values = cv2.transform(view.log_light, _AXES)
    seen = view.unrolled(cv2.blur(values, (3, 3)), _ROWS, _COLUMNS).reshape(-1, 3).astype(float)
    where = np.flatnonzero(view.unrolled(view.inner, _ROWS, _COLUMNS).ravel())
    few, many = _terms(view.is_round)
    middle = np.median(seen[where], axis=0)
    seen = seen - middle
    chroma, weights = _robust_fit(few[where], seen[where, 1:], np.ones(len(where)))
    bright, _ = _robust_fit(many[where], seen[where, :1], weights)
    model = np.column_stack([many @ bright, few @ chroma]) + middle
    rest = values - view.rolled(model.reshape(_ROWS, _COLUMNS, 3))
    rest -= view.rolled(_shared(rest, view, across=True))
    if not view.is_round:
        rest[..., 0] -= view.rolled(_shared(rest, view, across=False)[..., 0])
    return cv2.transform(np.where(view.mask[..., None], rest, 0), np.ascontiguousarray(_AXES.T))


def level_profiles(view: PartView, across: bool = False) -> tuple[np.ndarray, np.ndarray]:
    """Return log light on a grid of places without its profile from rim to rim, or (`across`) from end to end.

    Returns
    -------
    rest : ndarray of shape (rows over q, columns over p, 3)
        Median 0 in each row (column); nan where nothing is seen.
    seen : ndarray of bool, shape (rows, columns)
    """
    seen = view.unrolled(view.inner, _ROWS, _COLUMNS)
    values = view.unrolled(cv2.blur(view.log_light, (3, 3)), _ROWS, _COLUMNS)
    values = np.where(seen[..., None], values, np.nan)
    axis = 0 if across else 1
    return values - np.expand_dims(_median(values, axis), axis), seen


def _robust_fit(terms, seen, weights):
    """Factors (T, C) of terms (N, T), and the weights that pixels end with."""
    given = weights
    for _ in range(_ROUNDS):
        heavy = terms * weights[:, None]
        factors = np.linalg.solve(_product(heavy, terms) + _RIDGE * np.eye(terms.shape[1]), heavy.T @ seen)
        away = seen - terms @ factors
        away = np.sqrt(np.einsum("ij,ij->i", away, away))
        weights = given / (1 + (away / (_HALF_WEIGHT * np.median(away) + _HALF_FLOOR)) ** 2)
    return factors, weights


def _product(heavy, terms):
    """heavy.T @ terms, a few rows at a time: libraries start threads for more, which cost more than they save."""
    rows = max(1, _FEW_PRODUCTS // terms.shape[1] ** 2)
    return sum(heavy[k : k + rows].T @ terms[k : k + rows] for k in range(0, len(terms), rows))


@cache
def _terms(is_round):
    """Terms (rows × columns, T) of the grid for the ratios of the channels, few, and for brightness, more."""
    q, p = (
        axis.ravel() for axis in np.meshgrid(np.linspace(-1, 1, _ROWS), np.linspace(-1, 1, _COLUMNS), indexing="ij")
    )
    if is_round:
        swings = [f(k * np.pi * p) for k in (1, 2, 3, 4) for f in (np.cos, np.sin)]
        few = [*_hats(q, _ROUND_FEW), *swings[:2], *(swing * q for swing in swings[:2])]
        hats = _hats(q, _ROUND_MANY)
        fine = [swing * q**power for swing in swings[4:] for power in (0, 1)]
        many = [*hats, *(hat * swing for swing in swings[:4] for hat in hats), *fine]
    else:
        few = [*_hats(q, _LONG_FEW), p, p * q]
        mixed = [p * q, p**2 * q, p * q**2, p**2 * q**2, p**3 * q, p * q**3, p**3 * q**2, p**2 * q**3]
        many = [*_hats(q, _LONG_MANY), *_hats(p, _LONG_ALONG), *mixed]
    return np.stack(few, axis=1), np.stack(many, axis=1)


def _hats(place, count):
    """Tents over -1..1, (count, N)."""
    knots = np.linspace(-1, 1, count)
    return np.maximum(0, 1 - np.abs(place[None] - knots[:, None]) * ((count - 1) / 2))


def _shared(rest, view, across):
    """Grid of what all stretches of a line share: the middle one of the medians of its stretches."""
    rows, columns = (_LINES, _FINE) if across else (_FINE // 2, 2 * _LINES)
    grid = view.unrolled(rest, rows, columns)
    seen = view.unrolled(view.inner, rows, columns)
    if not across:
        grid, seen = grid.swapaxes(0, 1), seen.swapaxes(0, 1)
    lines, length = seen.shape
    grid = np.where(seen[..., None], grid, np.nan).reshape(lines, _STRETCHES, length // _STRETCHES, 3)
    shared = _median(_median(grid, 2), 1)
    out = np.broadcast_to(np.nan_to_num(shared)[:, None], (lines, length, 3))
    return out if across else out.swapaxes(0, 1)


def _median(values, axis):
    """Median along an axis of what is not nan; nan where nothing is seen."""
    count = np.isfinite(values).sum(axis=axis, keepdims=True)
    ordered = np.sort(values, axis=axis)  # nan go last
    low = np.take_along_axis(ordered, np.maximum(count - 1, 0) // 2, axis=axis)
    high = np.take_along_axis(ordered, np.minimum(count // 2, values.shape[axis] - 1), axis=axis)
    return ((low + high) / 2).squeeze(axis)

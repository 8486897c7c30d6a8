"""The grey card in a photo: what it is, and what its pixels show of the light.

Most of what is drawn on a photo is a polygon, so `fill_polygon` lives here as well, below all finders.
"""

from dataclasses import dataclass, field

import cv2
import numpy as np

from dyebook.errors import PhotoError
from dyebook.lab import Lab, lab_to_linear_rgb
from dyebook.photo.file.linear import SMALL_SIDE, LinearPhoto

__all__ = ["CARD_LAB", "USUAL_SLOPE", "Card", "card_at", "fill_polygon", "no_card", "order_corners"]

# an 18 % grey card; many cheap ones differ, so the user can set the card's own Lab
CARD_LAB = Lab(49.5, 0.0, 0.0)

# median change of light along the cards of `tests.bench.errors`, log light per long side of the photo
USUAL_SLOPE = 0.35

# share of the card's width kept when its pixels are read: edges blur into the surround
_INNER = 0.76
# a card of so many pixels of the reduced photo is read there: its light was averaged from all of them already
_ENOUGH_PIXELS = 5_000
_WORKING_PIXELS = 6_000
# log light beyond this many robust deviations is dirt, print or glare on the card; at first a plane is fitted to what
# lies this near to the median, in log light or in deviations
_OUTLIER, _FIRST_OUTLIER, _FIRST_NEAR = 3.5, 4, 0.25
_ROBUST_SD = 1.4826  # standard deviation of a normal distribution over its median absolute deviation
# spread of log light about the plane, and least share of pixels near it, that a plain card shows: cards of both
# renderers and of composites stay below 0.07, and all but those in a hard shadow above 0.7
_UNEVEN, _LEAST_SOUND = 0.15, 0.6
# fewest pixels that give the light, and smallest area of four corners, px; light at which a card is black; shares at a
# channel's limit from which a card is clipped, and blown out
_FEWEST_PIXELS, _SMALLEST_AREA, _BLACK, _CLIPPED, _BLOWN_OUT = 12, 64, 0.002, 0.02, 0.5


@dataclass(frozen=True)
class Card:
    """A grey card as found in one photo."""

    kind: str  # grey, chart, mat or none
    # (4, 2): corners of the grey area: top left, top right, bottom right, bottom left of the upright photo, in pixels
    quad: np.ndarray | None
    lab: Lab = CARD_LAB  # the card's own colour
    rgb: np.ndarray = field(default_factory=lambda: np.ones(3))  # (3,): mean linear light of its sound pixels
    flags: tuple[str, ...] = ()
    whole: np.ndarray | None = None  # (4, 2): corners of all that belongs to it, where that is more than the grey area
    light_slope: float = USUAL_SLOPE  # of log light along it, per long side of the photo

    @property
    def cover(self):
        """Corners of what is neither part nor ground, or None without a card."""
        return self.quad if self.whole is None else self.whole

    @property
    def gains(self):
        """Factors per channel that bring the card to its own colour."""
        return np.ones(3) if self.quad is None else lab_to_linear_rgb(self.lab) / self.rgb

    @property
    def centre(self):
        """Middle of the grey area as (x, y), or None without a card."""
        return None if self.quad is None else self.quad.mean(axis=0)


def order_corners(points) -> np.ndarray:
    """Return four corners clockwise from the top left, as ndarray (4, 2)."""
    points = np.asarray(points, dtype=float)
    offset = points - points.mean(axis=0)
    ring = points[np.argsort(np.arctan2(offset[:, 1], offset[:, 0]))]
    return np.roll(ring, -int(np.argmin(ring.sum(axis=1))), axis=0)


def fill_polygon(outline, box: tuple, step: int = 1) -> np.ndarray:
    """Return the pixels of `box` that lie inside a polygon: bool, shape (ceil(height / step), ceil(width / step)).

    `outline`, shape (N, 2), and `box` (x0, y0, x1, y1) are in pixels of the upright photo, `step` of them to one of the
    answer. True where the middle of a pixel lies inside by the even-odd rule; a middle on a left or upper edge counts,
    one on a right or lower edge does not, so that outlines which share an edge share no pixel.
    """
    x0, y0, x1, y1 = box
    height, width = -(-(y1 - y0) // step), -(-(x1 - x0) // step)
    # in units in which the middle of the pixel in column c, row r is (c, r)
    corners = (np.asarray(outline, dtype=float) - (x0, y0)) / step - 0.5
    rows, crossings = _row_crossings(corners, height)
    columns = np.clip(np.ceil(crossings), 0, width).astype(int)
    turns = np.zeros((height, width + 1), dtype=np.uint8)
    np.bitwise_xor.at(turns, (rows, columns), 1)
    return np.bitwise_xor.accumulate(turns[:, :width], axis=1).view(bool)


def _row_crossings(corners, height):
    """Rows 0..height-1 that the sides of a polygon cross, and where along each row, one entry for each crossing."""
    starts, ends = corners, np.roll(corners, -1, axis=0)
    # each side from its upper end, so that a slit there and back crosses at the very same places
    falls = ((starts[:, 1] < ends[:, 1]) | ((starts[:, 1] == ends[:, 1]) & (starts[:, 0] < ends[:, 0])))[:, None]
    upper, lower = np.where(falls, starts, ends), np.where(falls, ends, starts)
    first, last = np.clip(np.ceil(np.stack([upper[:, 1], lower[:, 1]])), 0, height).astype(int)
    count = last - first
    side = np.repeat(np.arange(len(corners)), count)
    rows = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + first[side]
    along = (rows - upper[side, 1]) / (lower[side, 1] - upper[side, 1])
    return rows, upper[side, 0] + along * (lower[side, 0] - upper[side, 0])


def card_at(photo: LinearPhoto, quad, card_lab=None) -> Card:
    """Return the card whose corners are given, those of the grey area, in any order, in pixels of the upright photo.

    `card_lab` is its own colour, 18 % grey if left out. PhotoError if the corners lie outside the photo, enclose almost
    nothing, or the card is black or blown out; if its own colour is none.
    """
    quad = order_corners(_checked_corners(photo, quad))
    box = _checked_box(photo, quad)
    pixels, clipped, places = _inner_pixels(photo, quad, box)
    if len(pixels) < _FEWEST_PIXELS:
        raise PhotoError(f"the card in {photo.name} covers {len(pixels)} pixels; move closer or use a larger card")
    lab = CARD_LAB if card_lab is None else _checked_lab(card_lab)
    return _read_card(photo, quad, lab, pixels, places, clipped)


def no_card() -> Card:
    """Return the stand-in for a photo without a card: neutral gains, and the doubt that says so."""
    return Card("none", None, flags=("no_card",))


def _checked_corners(photo, quad):
    quad = np.asarray(quad, dtype=float)
    if quad.shape != (4, 2) or not np.isfinite(quad).all():
        raise PhotoError(f"the card in {photo.name} has four corners, each x,y in pixels; {quad.tolist()} was given")
    return quad


def _checked_lab(card_lab):
    numbers = np.asarray(card_lab, dtype=float)
    if numbers.shape != (3,) or not np.isfinite(numbers).all() or not 0 < numbers[0] <= 100:
        raise PhotoError(
            f"the card's own colour is {numbers.tolist()}; L*, a*, b* are needed, with L* above 0 and at most 100, "
            "such as 49.5, 0, 0 of an 18 % grey card"
        )
    return Lab(*numbers.tolist())


def _checked_box(photo, quad):
    width, height = photo.size
    x0, y0 = np.floor(quad.min(axis=0)).astype(int)
    x1, y1 = np.ceil(quad.max(axis=0)).astype(int)
    if x0 < -1 or y0 < -1 or x1 > width + 1 or y1 > height + 1:
        raise PhotoError(
            f"card corners reach from ({x0}, {y0}) to ({x1}, {y1}) but {photo.name} is {width} × {height} pixels; "
            "give the corners in pixels of the upright photo"
        )
    x0, y0, x1, y1 = max(x0, 0), max(y0, 0), min(x1, width), min(y1, height)
    if cv2.contourArea(quad.astype(np.float32)) < _SMALLEST_AREA:
        raise PhotoError(
            f"the card corners given for {photo.name} enclose almost nothing; give its four corners in turn"
        )
    return int(x0), int(y0), int(x1), int(y1)


def _inner_pixels(photo, quad, box):
    """Light (n, 3) of the inner card, the share of it at a limit, and where each pixel lies (n, 2)."""
    inner = quad.mean(axis=0) + (quad - quad.mean(axis=0)) * _INNER
    reduced = photo.reduced(SMALL_SIDE)
    if cv2.contourArea(inner.astype(np.float32)) > _ENOUGH_PIXELS * reduced.scale**2:
        x0, y0, x1, y1 = (int(edge) // reduced.scale for edge in box)
        light, step = reduced.pixels[y0 : y1 + 1, x0 : x1 + 1], reduced.scale
        corner = x0 * step, y0 * step
        ends = (min((last + 1) * step, most) for last, most in zip((x1, y1), photo.size, strict=True))
        clipped = photo.clipped((*corner, *ends), step)
    else:
        box, step = photo.fitted(box, np.sqrt((box[2] - box[0]) * (box[3] - box[1]) / _WORKING_PIXELS))
        light, clipped, corner = photo.crop(box, step), photo.clipped(box, step), box[:2]
    size = np.array(light.shape[1::-1]) * step
    mask = fill_polygon(inner, (*corner, *(corner + size)), step)
    chosen = np.flatnonzero(mask)
    chosen = chosen[:: -(-len(chosen) // _WORKING_PIXELS) or 1]
    places = np.stack([chosen % mask.shape[1], chosen // mask.shape[1]], axis=1) * step + corner + step / 2
    share = float(clipped.reshape(-1, 3)[chosen].max(axis=1).mean()) if len(chosen) else 0.0
    return light.reshape(-1, 3)[chosen], share, places


def _read_card(photo, quad, lab, pixels, places, clipped_share):
    luminance = pixels.mean(axis=1)
    if np.median(luminance) < _BLACK:
        raise PhotoError(f"the card in {photo.name} is black; expose brighter, or point at the grey area")
    if clipped_share > _BLOWN_OUT:
        raise PhotoError(f"the card in {photo.name} is blown out ({clipped_share:.0%} at the limit); expose darker")
    log_light = np.log(np.maximum(luminance, 1e-4))
    sound, uneven, slope = _fit_plane(log_light, places - quad.mean(axis=0))
    flags = ("card_clipped",) if clipped_share > _CLIPPED else ()
    if uneven > _UNEVEN or sound.mean() < _LEAST_SOUND:
        flags += ("card_doubtful",)
    rgb = pixels[sound].mean(axis=0, dtype=float)
    return Card("grey", quad, lab, rgb, flags, light_slope=slope * max(photo.size))


def _fit_plane(values, offsets):
    """Which scattered values fit a robust plane through them, their spread about it, and its slope."""
    scale = max(float(np.abs(offsets).max()), 1.0)
    design = np.column_stack([np.ones(len(values)), offsets / scale])
    sound = np.abs(values - np.median(values)) < max(_FIRST_NEAR, _FIRST_OUTLIER * _robust_sd(values))
    for _ in range(3):
        kept = design[sound]
        plane = np.linalg.lstsq(kept.T @ kept, kept.T @ values[sound], rcond=None)[0]
        rest = values - design @ plane
        # from the middle of the rest: strays may draw the plane away from all others, and none would be sound
        rest -= np.median(rest[sound])
        sound = np.abs(rest) < _OUTLIER * max(_robust_sd(rest[sound]), 1e-3)
    return sound, _robust_sd(rest), float(np.hypot(*plane[1:])) / scale


def _robust_sd(values):
    return _ROBUST_SD * np.median(np.abs(values - np.median(values)))

"""The light on the bench: white balance and exposure by the card, fall-off across the frame where that is safe.

The fall-off is a smooth surface through the brightness of the one material that covers most of the photo, the ground;
where no material covers enough, or it scatters too much about the surface, the light is taken as even.

From how far it comes from one side is read off the ground beside the parts: lamps and windows darken one side of it,
a tent or an overcast sky hardly any.
"""

from dataclasses import dataclass, field

import cv2
import numpy as np

from dyebook.errors import PhotoError
from dyebook.lab import LUMINANCE
from dyebook.photo.card.card import Card, fill_polygon
from dyebook.photo.file.linear import SMALL_SIDE, LinearPhoto

__all__ = ["Light", "fit_ground", "fit_light", "one_sidedness", "surface_terms"]

_LUMINANCE = LUMINANCE.astype(np.float32)

# -- Using the fall-off --
# a field beyond this is a guess about another light, not a correction
_LARGEST_STEP = 0.8
# light at the far corner against the card's from which the photo is called uneven, log light
_UNEVEN = 0.35
# the surface is smooth: a grid so coarse, stretched, is exact to a thousandth
_GRID = 9
# log of the ratio of two photos' sides from which they are not the same frame
_OTHER_FRAME = 0.02

# -- Fitting it --
# cells along the long side: texture averages out, light does not; fewest that can be fitted
_CELLS, _FEWEST_CELLS = 60, 100
_DARKEST, _BRIGHTEST = 0.004, 0.97
# how far apart two cells of one material may lie: log brightness (light falls off), log of red and blue over green
_BRIGHTNESS, _HUE = 0.25, 0.12
_SAMPLES = 150
# in these units, squared: distance in hue at which likeness falls by e, likeness that counts, and how near in hue and
# brightness the cells lie that the fit begins with
_HUE_WIDTH, _LEAST_LIKENESS, _SEED_HUE, _SEED_BRIGHTNESS = 4, 0.1, 6, 9
# pull of the slopes and of the bends towards even light, in cells
_STIFF, _STIFF_BENDS = 1.0, 4.0
# rounds of the fit; residual in spreads that loses all weight; least spread, and weight from which a cell gives it
_ROUNDS, _OUTLIER, _LEAST_SPREAD, _USED = 12, 4.0, 0.015, 0.05
_ROBUST_SD = 1.4826  # standard deviation of a normal distribution over its median absolute deviation
# the surface is believed when the ground scatters less than this about it, and when so large a share of the cells, in
# all and around the card, has at least this weight
_ROUGHEST, _LEAST_SHARE, _RESTED_ON = 0.13, 0.35, 0.2
_NEIGHBOURHOOD = 0.12

# -- One side or all --
# long side of the picture it is read from; the ground beside a part, from and to so many of its pixels off the rim; in
# so many directions, each of so many pixels at least; and the share of the parts that show less
_SHADOW_SIDE, _BESIDE, _SECTORS, _FEWEST_BESIDE, _SHARE_BELOW = 600, (2, 8), 8, 6, 0.75
# spread of log brightness around a part from which on the light comes from one side in part, and wholly: chosen on the
# physical world's set-ups 0:24, where a tent stays below 0.18 and a window above 0.28; the simple world agrees
_ONE_SIDED = (0.22, 0.3)
_UNKNOWN_SIDE = 0.5  # where no ground shows


@dataclass(frozen=True)
class Light:
    """Gains and fall-off of one photo."""

    gains: np.ndarray  # (3,): factors that bring the card to its own colour
    centre: np.ndarray  # (2,): where the fall-off is 1: the middle of the card, or of the frame without a card
    scale: float = 1.0  # pixels per unit length of the fall-off: the long side of the photo
    # (5,): log light off the centre: factors of x, y, x², x·y, y²
    surface: np.ndarray = field(default_factory=lambda: np.zeros(5))
    known: bool = False  # whether the fall-off was measured
    flags: tuple[str, ...] = ()

    def fall_off(self, x, y):
        """Return the log of the light at places against that on the card; x, y in pixels, broadcast."""
        terms = surface_terms((x - self.centre[0]) / self.scale, (y - self.centre[1]) / self.scale)
        total = sum(factor * term for factor, term in zip(self.surface, terms, strict=True))
        return np.clip(total, -_LARGEST_STEP, _LARGEST_STEP)

    def distance(self, point):
        """Return how far (x, y) is from the card, in long sides of the photo."""
        return float(np.linalg.norm(np.asarray(point) - self.centre) / self.scale)

    def correct(self, pixels, box, step=1) -> np.ndarray:
        """Return corrected light: a neutral surface of 18 % reflectance reads 0.18 in each channel.

        Parameters
        ----------
        pixels : ndarray of shape (H, W, 3)
            Linear light of the photo inside `box`.
        box : tuple of int
            x0, y0, x1, y1 in pixels of the upright photo.
        step : int
            Pixels of the photo per pixel given.
        """
        gains, pixels = self.gains.astype(np.float32), np.ascontiguousarray(pixels, dtype=np.float32)
        # whole planes at a time: a product along the last axis of three costs several times as much
        if not self.surface.any():
            return cv2.transform(pixels, np.diag(gains))
        height, width = pixels.shape[:2]
        columns, rows = (np.linspace(0, 1, _GRID) * length * step for length in (width, height))
        coarse = np.exp(-self.fall_off(box[0] + columns[None, :], box[1] + rows[:, None])).astype(np.float32)
        fine = _stretch(coarse, width, height)
        return cv2.multiply(pixels, cv2.merge([gain * fine for gain in gains]))


def fit_light(photo: LinearPhoto, card: Card, flat: LinearPhoto | None = None) -> Light:
    """Return the light of a photo as its card and its ground show it.

    `flat` (LinearPhoto, optional): plain paper in the same light and frame; its fall-off is divided out.
    """
    centre = np.array(photo.size) / 2 if card.centre is None else card.centre
    if flat is not None:
        _check_same_frame(photo, flat)
    surface = fit_ground(photo if flat is None else flat, None if flat is not None else card.cover, centre / photo.size)
    scale = float(max(photo.size))
    if surface is None:
        return Light(card.gains, centre, scale)
    light = Light(card.gains, centre, scale, surface, known=True)
    width, height = photo.size
    corners = light.fall_off(np.array([0, width, width, 0]), np.array([0, 0, height, height]))
    flags = ("uneven_light",) if np.ptp(np.append(corners, 0.0)) > _UNEVEN and flat is None else ()
    return Light(card.gains, centre, scale, surface, known=True, flags=flags)


def one_sidedness(photo: LinearPhoto, outlines, cover=None) -> float:
    """Return how far the light comes from one side, 0 (all round, or from straight above) to 1 (lamp, window).

    `outlines`: polygons (N, 2) of the parts. `cover`: that of the card, or None.
    """
    step = max(photo.size) / _SHADOW_SIDE
    width, height = (max(1, round(side / step)) for side in photo.size)
    small = cv2.resize(photo.reduced(SMALL_SIDE).pixels, (width, height), interpolation=cv2.INTER_AREA)
    taken, boxes = np.zeros((height, width), np.uint8), []
    for outline in [*outlines, *(() if cover is None else (cover,))]:
        places = np.asarray(outline) / step
        x0, y0 = np.clip(np.floor(places.min(axis=0)).astype(int), 0, (width - 1, height - 1))
        x1, y1 = np.clip(np.ceil(places.max(axis=0)).astype(int), (x0 + 1, y0 + 1), (width, height))
        mask = fill_polygon(places, (x0, y0, x1, y1)).astype(np.uint8)
        taken[y0:y1, x0:x1] |= mask
        boxes.append((x0, y0, mask))
    taken = cv2.dilate(taken, np.ones((3, 3), np.uint8)) > 0
    level = np.log(np.maximum(cv2.GaussianBlur(small @ _LUMINANCE, (0, 0), 1.0), _DARKEST))
    beside = (_spread_beside(*one, level, taken) for one in boxes[: len(outlines)])
    spreads = [spread for spread in beside if spread is not None]
    if not spreads:
        return _UNKNOWN_SIDE
    low, high = _ONE_SIDED
    return float(np.clip((np.quantile(spreads, _SHARE_BELOW) - low) / (high - low), 0, 1))


def _spread_beside(x0, y0, mask, level, taken):
    """Spread of log brightness over the directions in which the ground beside a part is seen; None if in few.

    `x0`, `y0`: where in the picture its mask begins.
    """
    (near, far), (height, width) = _BESIDE, mask.shape
    top, left = max(y0 - far - 1, 0), max(x0 - far - 1, 0)
    crop = np.s_[top : y0 + height + far + 1, left : x0 + width + far + 1]
    wide = np.zeros(level[crop].shape, np.uint8)
    wide[y0 - top :, x0 - left :][:height, :width] = mask
    depth = cv2.distanceTransform(1 - wide, cv2.DIST_L2, 5)
    ring = (depth > near) & (depth < far) & ~taken[crop]
    slope_y, slope_x = np.gradient(depth)
    sector = ((np.arctan2(slope_y[ring], slope_x[ring]) / (2 * np.pi) + 0.5) * _SECTORS).astype(int) % _SECTORS
    seen = level[crop][ring]
    medians = [np.median(seen[sector == k]) for k in range(_SECTORS) if (sector == k).sum() >= _FEWEST_BESIDE]
    return float(np.std(medians)) if len(medians) > _SECTORS / 2 else None


def _stretch(coarse, width, height):
    """Values at the corners of a grid, brought to the middles of width × height pixels."""
    steps = np.array(coarse.shape[::-1]) - 1
    x = ((np.arange(width) + 0.5) * steps[0] / width).astype(np.float32)
    y = ((np.arange(height) + 0.5) * steps[1] / height).astype(np.float32)
    grid_x, grid_y = np.broadcast_to(x, (height, width)), np.broadcast_to(y[:, None], (height, width))
    return cv2.remap(coarse, np.ascontiguousarray(grid_x), np.ascontiguousarray(grid_y), cv2.INTER_LINEAR)


def _check_same_frame(photo, flat):
    if abs(np.log((flat.size[0] / flat.size[1]) / (photo.size[0] / photo.size[1]))) > _OTHER_FRAME:
        raise PhotoError(
            f"{flat.name} is {flat.size[0]} × {flat.size[1]} but {photo.name} is {photo.size[0]} × {photo.size[1]}; "
            "take the paper's photo with the same camera, the same way up"
        )


def surface_terms(x, y) -> tuple:
    """Return the terms of the surface beside its constant: x, y, x², x·y, y²."""
    return x, y, x * x, x * y, y * y


def fit_ground(photo: LinearPhoto, quad, centre: np.ndarray) -> np.ndarray | None:
    """Return the fall-off of the light over the ground.

    Parameters
    ----------
    quad : ndarray of shape (4, 2) or None
        The card's corners, left out of the ground.
    centre : ndarray of shape (2,)
        Where the surface is zero, as shares of width and height.

    Returns
    -------
    ndarray of shape (5,) or None
        Log light as factors of `surface_terms` of the place off the centre in long sides of the photo; None where
        no one material covers enough of the photo for its brightness to show the light.

    Notes
    -----
    The commonest colour is looked up first; a quadratic surface is then fitted to the log brightness of cells of
    that hue by iterated reweighting (Tukey's biweight), so that shadows, parts and clutter drop out.
    """
    cells, free = _cells(photo, quad)
    height, width = free.shape
    long_side = max(width, height)
    x = (np.arange(width) + 0.5 - centre[0] * width) / long_side
    y = (np.arange(height) + 0.5 - centre[1] * height) / long_side
    places = np.stack(np.broadcast_arrays(x[None, :], y[:, None]), axis=-1)[free]
    light = cells[free]
    if len(light) < _FEWEST_CELLS:
        return None
    level, hue = _of_light(light)
    alike, seed = _commonest(level, hue)
    factors, weights, spread = _fit_surface(places, level, alike, seed)
    share = _share_around(places, weights, np.zeros(2))
    if spread > _ROUGHEST or share < _LEAST_SHARE or (weights > _RESTED_ON).mean() < _LEAST_SHARE:
        return None
    return factors[1:]


def _cells(photo, quad):
    """Mean light of square cells (h, w, 3), and which of them are neither card nor beyond what the photo can show."""
    reduced = photo.reduced(SMALL_SIDE)
    height, width = reduced.pixels.shape[:2]
    side = max(1, min(max(width, height) // _CELLS, width, height))
    size = width // side, height // side
    cells = cv2.resize(reduced.pixels[: size[1] * side, : size[0] * side], size, interpolation=cv2.INTER_AREA)
    free = (cells.min(axis=2) > _DARKEST) & (cells.max(axis=2) < _BRIGHTEST)
    if quad is not None:
        step = reduced.scale * side
        card = fill_polygon(quad, (0, 0, size[0] * step, size[1] * step), step)
        free &= ~cv2.dilate(card.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    return cells, free


def _of_light(light):
    """Log brightness (N,) and log of red and blue over green (N, 2)."""
    light = np.maximum(light, 1e-4)
    log_light = np.log(light)
    return np.log(light @ _LUMINANCE), log_light[:, [0, 2]] - log_light[:, [1]]


def _commonest(level, hue):
    """Weights of likeness to the commonest hue, and which cells have the commonest brightness too."""
    features = np.column_stack([level / _BRIGHTNESS, hue / _HUE]).astype(np.float32)
    samples = features[:: max(1, len(features) // _SAMPLES)]
    apart = ((features[None] - samples[:, None]) ** 2).sum(axis=-1)
    apart = (features - samples[np.exp(-apart / 2).sum(axis=1).argmax()]) ** 2
    off_hue = apart[:, 1] + apart[:, 2]
    alike = np.exp(-off_hue / _HUE_WIDTH)
    return np.where(alike > _LEAST_LIKENESS, alike, 0), (off_hue < _SEED_HUE) & (apart[:, 0] < _SEED_BRIGHTNESS)


def _fit_surface(places, level, alike, seed):
    """Factors (6,) of the surface, weight of each cell, and spread about it."""
    terms = np.column_stack([np.ones(len(places)), *surface_terms(*places.T)])
    stiffness = np.diag([1e-9, *[_STIFF] * 2, *[_STIFF_BENDS] * 3])
    weights = seed.astype(float)
    for _ in range(_ROUNDS):
        weighted = terms * weights[:, None]
        factors = np.linalg.solve(weighted.T @ terms + stiffness, weighted.T @ level)
        rest = level - terms @ factors
        used = np.abs(rest[weights > _USED])
        spread = max(_ROBUST_SD * float(np.median(used)), _LEAST_SPREAD) if len(used) else 1.0
        weights = alike * np.clip(1 - (rest / (_OUTLIER * spread)) ** 2, 0, None) ** 2
    return factors, weights, spread


def _share_around(places, weights, point):
    """Share of the cells around a place that the surface rests on."""
    near = np.exp(-((places - point) ** 2).sum(axis=1) / (2 * _NEIGHBOURHOOD**2))
    return float((weights * near).sum() / max(near.sum(), 1e-9))

"""What can be seen of a patch that might be the card: one number a feature, each with a plain meaning.

The patch is straightened and its smooth shading taken away, which leaves spots and holes; its edges, colour, form and
surround are compared with what cards, lamps and photos allow. Grain takes longest and can only count against a card, so
it is looked at only where a patch could still be one.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from dyebook.photo.card.candidates import AHEAD, Sides

__all__ = ["FEATURES", "TINT_FREE", "SceneTone", "features_of", "scene_tone"]

FEATURES = {
    "support": "mean share of the sides along which an edge runs straight",
    "support_least": "the same of the worst side",
    "scatter": "log of the wobble of the worst side's edge, px",
    "ridge": "a bright line along a side: the lit edge of a thing with some thickness",
    "texture": "log of how far fine grain exceeds the noise of the calmest places of the photo",
    "rough": "log of how far grain over a few pixels exceeds that of card and paper",
    "streak": "log of how much more the grain runs one way than the other",
    "slope": "range of the smooth log light over the patch",
    "spots": "log of the share of spots unlike the rest: print, holes, dirt",
    "hole": "log of how far one such spot goes beyond a crumb of dirt: the hole of a tag",
    "inner_band": "difference of a band just inside the sides to the middle",
    "warm": "distance from neutral along the colours of lamps and daylight",
    "green": "distance from neutral across them, where no light of a bench lies",
    "cast": "distance to the nearest guess at the colour of the light",
    "tinted": "distance to the light's colour beyond what a wrong guess explains",
    "rim_cast": "difference in colour to the surround, where that is white or black and even",
    "level": "log of light relative to the bright end of the photo",
    "dark": "how far it stays below the least that a mid grey has against the bright end",
    "white": "how close it comes to the bright end",
    "too_bright": "how far beyond a mid grey the photo shows it",
    "too_dark": "how far below a mid grey the photo shows it",
    "long": "log of the ratio of sides beyond that of usual cards",
    "skew": "log of the ratio of opposite sides",
    "small": "log of how far the patch stays below 3 % of the frame",
    "large": "log of how far it exceeds 15 %",
    "frame": "an even neutral border of one width all round",
    "alike": "share of sides beyond which the same surface goes on: a field of a squared ground",
    "rim_even": "log of the spread of the four surrounds",
    "cut": "reaches the edge of the photo",
}

# light below this counts as this much in logarithms and roots
_DARKEST_LIGHT = 1e-4
_ROBUST_SD = 1.4826  # standard deviation of a normal distribution over its median absolute deviation

# -- Scene --
# pixels from one that is looked at to the next; percentiles of light from which pixels show the light's colour, and
# which is the bright end; exponent of the mean that favours bright pixels
_SCENE_STRIDE, _BRIGHT_PERCENTILES, _BRIGHT_POWER = 6, (97, 99.5), 4
# side of the blocks over which noise is averaged, px; rows of blocks from which every second is enough; percentile of
# brightness below which blocks are too dark, and that of noise which is the calm; the least noise of any camera
_BLOCK, _MANY_ROWS, _TOO_DARK_PERCENTILE, _CALM_PERCENTILE, _LEAST_NOISE = 16, 20, 15, 10, 3e-4

# -- Edges --
_SCATTER_PX, _MOST_RIDGE = (0.05, 5), 0.3

# -- Shading and spots --
# places across the straightened patch; of its rim so many are left out, for the median twice as many
_GRID, _GRID_RIM = 40, 2
# pixels of the picture per place of the grid from which they are averaged first
_AVERAGED_FROM = 1.5
# what differs from the smooth surface by so many robust deviations and so much log light: drawn to the surface while it
# is fitted; a spot; and, against the places beside it within a window, a hole
_FIT_LIMIT, _SPOT_LIMIT, _HOLE_LIMIT, _HOLE_WINDOW = (3, 0.01), (5, 0.03), (5, 0.06), 9
# so much longer than wide along a side is a shadow that falls in, or something over the patch; holes are round
_ASIDE = 2.5
# share of a patch that dirt may cover in one place; beyond it the feature starts at the log of the second
_CRUMB, _HOLE_START = 0.0025, 5
_SPOTS_FLOOR = 0.001

# -- Grain --
# share of the patch, and px from its middle, within which grain is looked at; pixels that speak for it
_GRAIN_SHARE, _GRAIN_WINDOW, _GRAIN_PIXELS = 0.84, 60, 1200
_GRAIN_SIGMA, _DETAIL_WINDOW = 1.5, 15
# log of the grain over the calmest noise that a card may show; log of the roughest that cards are seen
_WOVEN, _ROUGH, _GRAIN_FLOOR = 0.2, -4.4, 1e-3
_SLOPE_LIMIT, _SLOPE_FLOOR = 4, 3e-6

# -- Colour and level --
# a wrong guess at the light's colour, and a card's own tint, stay below this
TINT_FREE = 0.1
# 98 of 100 cards of all renderers lie within 0.25 of what the photo's own pixels show of the light
_BELIEVED = 0.15
# log light of an 18 % card against white paper is -1.6; glints at the bright end take it a little lower
_DARKEST = -1.95
_LOWEST_LEVEL = -3
# log light against the bright end from which a patch is nearly as bright as paper: half a stop below it
_NEARLY_WHITE = -0.6
# log light from which, and below which, no usable photo shows a mid grey: 0.27 and 0.04
_BRIGHTEST_GREY, _DARKEST_GREY = -1.3, -3.2
# excess over the brightest grey at which whiteness counts in full, and how much it counts without any
_FULL_EXCESS, _LEAST_WHITE = 0.4, 0.25

# -- Form --
# log of 1.6 : 1, the longest of the cards people use; shares of the frame; the frame's edge, in long sides
_LONGEST, _SMALL, _LARGE, _FRAME_EDGE = 0.47, 0.03, 0.15, 0.004

# -- Surround --
# lines parallel to the sides: offsets outwards in px just inside and just outside of them, and in sides further out
_INSIDE_PX, _BESIDE_PX, _OUTWARDS, _PAST_RIM_PX = (-4.0, -3.0), (2.5, 3.5), np.linspace(0.03, 0.2, 12), 3
_PLACES_ALONG, _SIDE_ENDS = 24, (0.08, 0.92)
# a surround whose log light is this even on the four sides, and this near to the card's colour, is a border
_BORDER_EVEN, _BORDER_CAST, _BORDER_END = 0.3, 0.06, 0.3
_MOST_CONTRAST, _MOST_RIM_CAST, _EVEN_FLOOR = 1.2, 0.5, 0.03
# the same surface goes on where light beyond differs by less than this; grain counts twice from half again that inside
_GOES_ON, _GRAIN_WEIGHT, _GRAIN_ALLOWED, _GRAIN_SLACK = 0.06, 2, 1.5, 0.01


@dataclass(frozen=True)
class SceneTone:
    """What patches are judged against."""

    bright: float  # light at the bright end of the photo
    # (n, 2): guesses at the colour of the light, as `_cast` gives them: that of a balanced photo, then those of its
    # pixels
    casts: np.ndarray
    calm: float  # noise of the calmest places, relative to the root of light


def scene_tone(pixels: np.ndarray) -> SceneTone:
    """Return what the whole photo (linear light, (h, w, 3), reduced) shows of light and noise."""
    few = np.ascontiguousarray(pixels[::_SCENE_STRIDE, ::_SCENE_STRIDE])
    light, few = _mean_light(few).ravel(), few.reshape(-1, 3)
    high, top = np.percentile(light, _BRIGHT_PERCENTILES)
    bright_mean = (np.maximum(few, 0) ** _BRIGHT_POWER).mean(axis=0) ** (1 / _BRIGHT_POWER)
    guesses = [few.mean(axis=0), bright_mean, few[light >= high].mean(axis=0)]
    return SceneTone(max(float(top), _DARKEST_LIGHT), _cast(np.array([[1.0, 1.0, 1.0], *guesses])), _calm_noise(pixels))


def _calm_noise(pixels):
    """Relative noise at unit light in the calmest tenth of a picture, as if all of it came from counting photons."""
    # a whole number of blocks: several times as fast
    rows, columns = (max(1, side // _BLOCK) for side in pixels.shape[:2])
    green = np.ascontiguousarray(pixels[: rows * _BLOCK, : columns * _BLOCK, 1])
    if rows > _MANY_ROWS:
        green = green.reshape(rows, _BLOCK, -1)[::2]
        rows, green = len(green), green.reshape(-1, green.shape[2])
    fine = green - cv2.blur(green, (3, 3))
    mean, power = (cv2.resize(x, (columns, rows), interpolation=cv2.INTER_AREA) for x in (green, fine * fine))
    noise = np.sqrt(power / np.maximum(mean, 1e-3))
    seen = mean >= np.percentile(mean, _TOO_DARK_PERCENTILE)
    return float(np.percentile(noise[seen], _CALM_PERCENTILE)) + _LEAST_NOISE


def features_of(pixels: np.ndarray, sides: Sides, scene: SceneTone, possible=None) -> np.ndarray:
    """Return the features of one patch, whose sides are in pixels of `pixels`.

    `pixels`: linear light of the reduced photo, float32, shape (h, w, 3). `possible` takes all features but grain;
    False leaves grain out.
    """
    log_light, median = _straightened(pixels, sides.quad)
    values = {
        "support": sides.support.mean(),
        "support_least": sides.support.min(),
        "scatter": np.log(np.clip(sides.scatter_px, *_SCATTER_PX)).max(),
        "ridge": sides.ridge.max().clip(0, _MOST_RIDGE),
    }
    values |= _shading(log_light) | _colour(median, scene)
    values |= _shape(sides.quad, pixels.shape) | _surround(pixels, sides.quad, median)
    if possible is None or possible(_in_order(values)):
        values |= _grain(pixels, sides.quad, scene.calm)
    return _in_order(values)


def _in_order(values):
    """Features in the order of the table; 0 for those that were not looked at."""
    return np.array([float(values.get(name, 0.0)) for name in FEATURES])


def _straightened(pixels, quad):
    """Log light (36, 36) of a patch (4, 2) as seen from straight above, without its rim, and its median light (3,)."""
    low, high = np.maximum(np.floor(quad.min(axis=0)).astype(int) - 2, 0), np.ceil(quad.max(axis=0)).astype(int) + 2
    crop = pixels[low[1] : high[1], low[0] : high[0]]
    # averaged over what one place of the grid stands for, so that large patches are not seen noisier
    step = max(1, round(min(crop.shape[:2]) / (_AVERAGED_FROM * _GRID)))
    if step > 1:
        height, width = (side // step for side in crop.shape[:2])
        crop = cv2.resize(crop[: height * step, : width * step], (width, height), interpolation=cv2.INTER_AREA)
    else:
        crop = cv2.blur(crop, (3, 3))
    target = np.array([[0, 0], [_GRID, 0], [_GRID, _GRID], [0, _GRID]], np.float32) - 0.5
    turn = cv2.getPerspectiveTransform(((quad - low) / step - 0.5).astype(np.float32), target)
    patch = cv2.warpPerspective(crop, turn, (_GRID, _GRID), borderMode=cv2.BORDER_REPLICATE)
    face, middle = (patch[rim:-rim, rim:-rim] for rim in (_GRID_RIM, 2 * _GRID_RIM))
    median = np.array([_middle(middle[..., k]) for k in range(3)])
    return np.log(np.maximum(_mean_light(face), _DARKEST_LIGHT)), median


def _quadratic(size):
    """Design of a quadratic surface over a square grid, and its pseudo-inverse."""
    y, x = (np.indices((size, size)) / (size - 1) * 2 - 1).reshape(2, -1)
    design = np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y])
    return design, np.linalg.pinv(design)


_DESIGN, _INVERSE = _quadratic(_GRID - 2 * _GRID_RIM)


def _shading(log_light):
    """Features slope, spots and hole of straightened log light: its smooth range, and what stands off it."""
    values = log_light.ravel()
    surface = _DESIGN @ (_INVERSE @ values)
    for _ in range(2):
        rest = values - surface
        limit = _limit(rest, _FIT_LIMIT)
        # spots that do not follow are drawn to the surface, so that the constant inverse serves again
        surface = _DESIGN @ (_INVERSE @ (surface + np.clip(rest, -limit, limit)))
    rest = values - surface
    spots = np.abs(rest) > _limit(rest, _SPOT_LIMIT)
    # glare comes and goes gently, a hole stands against what lies right beside it
    local = log_light - cv2.blur(log_light, (_HOLE_WINDOW, _HOLE_WINDOW))
    sharp = (np.abs(local) > _limit(local, _HOLE_LIMIT)).astype(np.uint8)
    x, y, width, height, area = cv2.connectedComponentsWithStats(sharp)[2][1:].T
    aside = ((x == 0) | (x + width == sharp.shape[1])) & (height > _ASIDE * width)
    aside |= ((y == 0) | (y + height == sharp.shape[0])) & (width > _ASIDE * height)
    largest = area[~aside].max(initial=0) / spots.size
    return {
        "slope": np.ptp(surface),
        "spots": np.log(spots.mean() + _SPOTS_FLOOR),
        "hole": np.log(_HOLE_START * largest / _CRUMB) if largest > _CRUMB else 0.0,
    }


def _limit(rest, limit):
    """How far a rest of log light must lie from zero: so many robust deviations and so much more."""
    times, more = limit
    return times * _spread(rest) + more


def _cast(rgb):
    """Colour as cube roots of red and blue over green: bounded where a channel runs empty under lamp light."""
    root = np.cbrt(np.maximum(rgb, _DARKEST_LIGHT))
    return np.stack([root[..., 0], root[..., 2]], axis=-1) / root[..., 1:2] - 1


def _colour(median, scene):
    """Colour and level of the patch against neutral, the light's likely colour, and the photo's bright end."""
    own = _cast(median)
    level = np.log(max(median.mean(), _DARKEST_LIGHT))
    relative = level - np.log(scene.bright)
    excess = max(0.0, np.log(max(median.max(), _DARKEST_LIGHT)) - _BRIGHTEST_GREY)
    balanced, *seen = np.linalg.norm(scene.casts - own, axis=1)
    # that the camera has balanced its photo is believed only as far as the photo's own pixels agree
    apart = min(*seen, max(balanced, min(seen) - _BELIEVED))
    return {
        "warm": abs(own[0] - own[1]) / 2,
        "green": abs(own[0] + own[1]) / 2,
        "cast": apart,
        "tinted": max(0.0, apart - TINT_FREE),
        "level": np.clip(relative, _LOWEST_LEVEL, 0),
        "dark": max(0.0, _DARKEST - relative),
        # on dark cloth a card is the brightest there is, but no photo shows it as bright as paper
        "white": max(0.0, relative - _NEARLY_WHITE) * np.clip(excess / _FULL_EXCESS, _LEAST_WHITE, 1.0),
        "too_bright": excess,
        "too_dark": max(0.0, _DARKEST_GREY - level),
    }


def _shape(quad, shape):
    """Proportions and size; the cards people use are between square and 1.6 : 1."""
    lengths = np.linalg.norm(quad[AHEAD] - quad, axis=1)
    height, width = shape[:2]
    share = np.log(cv2.contourArea(quad.astype(np.float32)) / (height * width))
    margin = _FRAME_EDGE * max(height, width)
    return {
        "long": max(0.0, abs(np.log((lengths[0] + lengths[2]) / (lengths[1] + lengths[3]))) - _LONGEST),
        "skew": max(abs(np.log(lengths[0] / lengths[2])), abs(np.log(lengths[1] / lengths[3]))),
        "small": max(0.0, np.log(_SMALL) - share),
        "large": max(0.0, share - np.log(_LARGE)),
        "cut": (quad < margin).any() or (quad > np.array([width, height]) - margin).any(),
    }


def _surround(pixels, quad, median):
    """The band inside the sides and the surround: a border of one width is strong evidence, a frame inside is not."""
    side = np.sqrt(cv2.contourArea(quad.astype(np.float32)))
    offsets = np.concatenate([_INSIDE_PX, _BESIDE_PX, _OUTWARDS * side + _PAST_RIM_PX])
    seen = np.log(np.maximum(_bands(pixels, quad, offsets), _DARKEST_LIGHT))
    # log colour (4 sides, offsets, 3), the middle value along each side, and how far others lie from it
    bands = np.partition(seen, _PLACES_ALONG // 2, axis=1)[:, _PLACES_ALONG // 2]
    spread = np.partition(np.abs(seen - bands[:, None]).max(axis=3), _PLACES_ALONG // 2, axis=1)[:, _PLACES_ALONG // 2]
    own = np.log(np.maximum(median, _DARKEST_LIGHT))
    near = bands[:, 2:4].mean(axis=1)
    light = near.mean(axis=1) - own.mean()
    even = np.ptp(light)
    contrast = max(light.min(), -light.max(), 0.0)
    rim_cast = np.linalg.norm(_cast(np.exp(near.mean(axis=0))) - _cast(median))
    # at one distance on all four sides the border ends
    beyond = np.abs(bands[:, 4:] - near[:, None]).max(axis=2).min(axis=0).max()
    # a surface that goes on has the same grain as well
    grainier = np.maximum(spread[:, 5:] - _GRAIN_ALLOWED * spread[:, :2].mean() - _GRAIN_SLACK, 0)
    past = (np.linalg.norm(bands[:, 5:] - own, axis=2) + _GRAIN_WEIGHT * grainier).min(axis=1)
    plain = np.exp(-((even / _BORDER_EVEN) ** 2) - (rim_cast / _BORDER_CAST) ** 2)
    return {
        "inner_band": np.abs(bands[:, :2].mean(axis=1) - own).max(),
        "alike": np.exp(-((past / _GOES_ON) ** 2)).mean(),
        "rim_even": np.log(even + _EVEN_FLOOR),
        "rim_cast": min(rim_cast, _MOST_RIM_CAST) * min(contrast, 1.0) * np.exp(-((even / _BORDER_EVEN) ** 2)),
        "frame": min(contrast, _MOST_CONTRAST) * plain * min(beyond / _BORDER_END, 1.0),
    }


def _bands(pixels, quad, offsets):
    """Light (4 sides, places along, offsets, 3) on lines parallel to the sides, offsets in pixels outwards."""
    ahead = quad[AHEAD] - quad
    along = ahead / np.maximum(np.linalg.norm(ahead, axis=1), 1e-6)[:, None]
    normals = np.stack([along[:, 1], -along[:, 0]], axis=1)
    at = np.linspace(*_SIDE_ENDS, _PLACES_ALONG)
    places = quad[:, None] + at[None, :, None] * ahead[:, None]
    spots = (places[:, :, None] + offsets[None, None, :, None] * normals[:, None, None]).astype(np.float32) - 0.5
    flat = spots.reshape(4 * _PLACES_ALONG, -1, 2)
    values = cv2.remap(pixels, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return values.reshape(4, _PLACES_ALONG, len(offsets), 3)


def _grain(pixels, quad, calm):
    """Grain of a patch (4, 2) against the calmest noise: how fine, how coarse, and whether it runs in one direction."""
    centre = quad.mean(axis=0)
    inner = centre + (quad - centre) * _GRAIN_SHARE
    low = np.maximum(np.floor(np.maximum(inner.min(axis=0), centre - _GRAIN_WINDOW)).astype(int), 0)
    high = np.ceil(np.minimum(inner.max(axis=0), centre + _GRAIN_WINDOW)).astype(int)
    light = np.log(np.maximum(_mean_light(pixels[low[1] : high[1], low[0] : high[0]]), _DARKEST_LIGHT))
    mask = np.zeros(light.shape, np.uint8)
    cv2.fillPoly(mask, [np.round(inner - low).astype(np.int32)], 1)
    # slopes are taken from pixels beside the chosen ones
    chosen = np.flatnonzero(mask[1:-1, 1:-1])
    chosen = chosen[:: max(1, len(chosen) // _GRAIN_PIXELS)]
    chosen += (chosen // (light.shape[1] - 2)) * 2 + light.shape[1] + 1
    smooth = cv2.GaussianBlur(light, (7, 7), _GRAIN_SIGMA)
    fine = (light - cv2.blur(light, (3, 3))).ravel()[chosen]
    detail = smooth - cv2.blur(light, (_DETAIL_WINDOW, _DETAIL_WINDOW))
    coarse = detail.ravel()[chosen]
    fine_grain, clump = _spread(fine), _spread(coarse - _middle(coarse))
    return {
        "texture": max(0.0, np.log(fine_grain / calm) + 0.5 * _middle(light) - _WOVEN),
        "rough": max(0.0, np.log(clump + _GRAIN_FLOOR) - _ROUGH),
        # glare draws out the one, a rim close by the other; brushed metal shows in both
        "streak": min(_streak(smooth, chosen), _streak(detail, chosen)),
    }


def _streak(light, chosen):
    """Log of how much more light changes one way than across it, steady slopes left out."""
    flat, row = light.ravel(), light.shape[1]
    slopes = (4 * (flat[chosen + ahead] - flat[chosen - ahead]) for ahead in (1, row))
    dx, dy = (np.clip(d - _middle(d), -_SLOPE_LIMIT * _spread(d), _SLOPE_LIMIT * _spread(d)) for d in slopes)
    xx, yy, xy = dx @ dx / len(dx), dy @ dy / len(dx), dx @ dy / len(dx)
    # eigenvalues of the covariance
    half, apart = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    return np.log((half + apart + _SLOPE_FLOOR) / (half - apart + _SLOPE_FLOOR))


def _mean_light(pixels):
    """Return the mean of the channels (h, w), many times as fast as `mean` over the short axis."""
    return cv2.transform(np.ascontiguousarray(pixels), np.full((1, 3), 1 / 3, np.float32))


def _middle(values):
    """Median to the nearest value: a partition alone is several times as fast as `numpy.median`."""
    values = np.ravel(values)
    return float(np.partition(values, len(values) // 2)[len(values) // 2])


def _spread(values):
    """Robust standard deviation of values about zero."""
    return _ROBUST_SD * _middle(np.abs(values)) + 1e-4

"""What can be seen of a patch that might be the card: one number per trait, each with a plain meaning.

What the face of a patch shows: how light runs over it, spots on it, and its grain.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from dyebook.photo.card.candidates import AHEAD

__all__ = [
    "TINT_FREE",
    "TRAITS",
    "SceneTone",
    "calm_noise",
    "grain",
    "mean_light",
    "scene_tone",
    "shading",
    "straightened",
    "traits_of",
]

_GRID = 40  # places across the straightened patch
_CRUMB = 0.0025  # share of a patch that dirt may cover in one place
_BLOCK = 16  # px over which noise is averaged
_GRAINS = 1200  # pixels that speak for its grain
_WINDOW = 60  # px from the middle of a patch within which its grain is looked at
_WOVEN = 0.2  # log of the grain over that noise that a card may show
_ROUGH = -4.4  # log of the roughest that cards are seen
_CLUMPS = -1.2  # log of coarse over fine grain where only the sensor's noise is seen


def calm_noise(pixels):
    """Return the relative noise at unit light in the calmest tenth of a picture.

    Parameters
    ----------
    pixels : ndarray of float32, shape (h, w, 3)
        Linear light.

    Returns
    -------
    float
        As if all of it came from counting photons.
    """
    # a whole number of blocks: several times as fast
    rows, columns = (max(1, side // _BLOCK) for side in pixels.shape[:2])
    green = np.ascontiguousarray(pixels[: rows * _BLOCK, : columns * _BLOCK, 1])
    if rows > 20:
        # every second row of blocks tells enough
        green = green.reshape(rows, _BLOCK, -1)[::2]
        rows, green = len(green), green.reshape(-1, green.shape[2])
    fine = green - cv2.blur(green, (3, 3))
    mean, power = (cv2.resize(x, (columns, rows), interpolation=cv2.INTER_AREA) for x in (green, fine * fine))
    noise = np.sqrt(power / np.maximum(mean, 1e-3))
    return float(np.percentile(noise[mean >= np.percentile(mean, 15)], 10)) + 3e-4


def straightened(pixels, quad):
    """Return a patch as seen from straight above.

    Parameters
    ----------
    pixels : ndarray of float32, shape (h, w, 3)
        Linear light.
    quad : ndarray of shape (4, 2)
        Corners in pixels.

    Returns
    -------
    log_light : ndarray of shape (36, 36)
        Of all but the rim.
    median : ndarray of shape (3,)
        Linear light.
    """
    low, high = np.maximum(np.floor(quad.min(axis=0)).astype(int) - 2, 0), np.ceil(quad.max(axis=0)).astype(int) + 2
    crop = pixels[low[1] : high[1], low[0] : high[0]]
    # averaged over what one place of the grid stands for, so that large patches are not seen noisier
    step = max(1, round(min(crop.shape[:2]) / (1.5 * _GRID)))
    if step > 1:
        height, width = (side // step for side in crop.shape[:2])
        crop = cv2.resize(crop[: height * step, : width * step], (width, height), interpolation=cv2.INTER_AREA)
    else:
        crop = cv2.blur(crop, (3, 3))
    target = np.array([[0, 0], [_GRID, 0], [_GRID, _GRID], [0, _GRID]], np.float32) - 0.5
    turn = cv2.getPerspectiveTransform(((quad - low) / step - 0.5).astype(np.float32), target)
    patch = cv2.warpPerspective(crop, turn, (_GRID, _GRID), borderMode=cv2.BORDER_REPLICATE)
    median = np.array([_middle(patch[4:-4, 4:-4, k]) for k in range(3)])
    return np.log(np.maximum(mean_light(patch[2:-2, 2:-2]), 1e-4)), median


def _quadratic(size):
    """Design of a quadratic surface over a square grid, and its pseudo-inverse."""
    y, x = (np.indices((size, size)) / (size - 1) * 2 - 1).reshape(2, -1)
    design = np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y])
    return design, np.linalg.pinv(design)


_DESIGN, _INVERSE = _quadratic(_GRID - 4)


def shading(log_light):
    """Return the traits slope, odd and holed of `straightened` log light: its smooth range, and spots on it."""
    values = log_light.ravel()
    surface = _DESIGN @ (_INVERSE @ values)
    for _ in range(2):
        rest = values - surface
        limit = 3 * _spread(rest) + 0.01
        # spots that do not follow are drawn to the surface, so that the constant inverse serves again
        surface = _DESIGN @ (_INVERSE @ (surface + np.clip(rest, -limit, limit)))
    rest = values - surface
    odd = np.abs(rest) > 5 * _spread(rest) + 0.03
    # glare comes and goes gently, a hole stands against what lies right beside it
    local = log_light - cv2.blur(log_light, (9, 9))
    sharp = (np.abs(local) > 5 * _spread(local) + 0.06).astype(np.uint8)
    x, y, width, height, area = cv2.connectedComponentsWithStats(sharp)[2][1:].T
    # what lies along a side is a shadow that falls in, or something over the patch; holes are round
    aside = ((x == 0) | (x + width == sharp.shape[1])) & (height > 2.5 * width)
    aside |= ((y == 0) | (y + height == sharp.shape[0])) & (width > 2.5 * height)
    largest = area[~aside].max(initial=0) / odd.size
    return {
        "slope": np.ptp(surface),
        "odd": np.log(odd.mean() + 0.001),
        "holed": np.log(5 * largest / _CRUMB) if largest > _CRUMB else 0.0,
    }


def mean_light(pixels):
    """Return the mean of the channels (h, w), many times as fast as `mean` over the short axis."""
    return cv2.transform(np.ascontiguousarray(pixels), np.full((1, 3), 1 / 3, np.float32))


def _middle(values):
    """Median to the nearest value: a partition alone is several times as fast as the whole ceremony."""
    values = np.ravel(values)
    return float(np.partition(values, len(values) // 2)[len(values) // 2])


def _spread(values):
    """Robust standard deviation about zero-centred values."""
    return 1.4826 * _middle(np.abs(values)) + 1e-4


def grain(pixels, quad, calm):
    """Return the traits of grain: how fine, how coarse, and whether it runs in one direction.

    Parameters
    ----------
    pixels : ndarray of float32, shape (h, w, 3)
        Linear light.
    quad : ndarray of shape (4, 2)
        Corners in pixels.
    calm : float
        `calm_noise` of the picture.

    Returns
    -------
    dict
        texture, rough, clumps and streak.
    """
    centre = quad.mean(axis=0)
    inner = centre + (quad - centre) * 0.84
    low = np.maximum(np.floor(np.maximum(inner.min(axis=0), centre - _WINDOW)).astype(int), 0)
    high = np.ceil(np.minimum(inner.max(axis=0), centre + _WINDOW)).astype(int)
    light = np.log(np.maximum(mean_light(pixels[low[1] : high[1], low[0] : high[0]]), 1e-4))
    mask = np.zeros(light.shape, np.uint8)
    cv2.fillPoly(mask, [np.round(inner - low).astype(np.int32)], 1)
    # slopes are taken from pixels beside the chosen ones
    chosen = np.flatnonzero(mask[1:-1, 1:-1])
    chosen = chosen[:: max(1, len(chosen) // _GRAINS)]
    chosen += (chosen // (light.shape[1] - 2)) * 2 + light.shape[1] + 1
    smooth = cv2.GaussianBlur(light, (7, 7), 1.5)
    fine = (light - cv2.blur(light, (3, 3))).ravel()[chosen]
    detail = smooth - cv2.blur(light, (15, 15))
    coarse = detail.ravel()[chosen]
    fine_grain, clump = _spread(fine), _spread(coarse - _middle(coarse))
    return {
        "texture": max(0.0, np.log(fine_grain / calm) + 0.5 * _middle(light) - _WOVEN),
        "rough": max(0.0, np.log(clump + 1e-3) - _ROUGH),
        "clumps": max(0.0, np.log((clump + 1e-3) / (fine_grain + 1e-3)) - _CLUMPS),
        # glare draws out the one, a rim close by the other; brushed metal shows in both
        "streak": min(_streak(smooth, chosen), _streak(detail, chosen)),
    }


def _streak(light, chosen):
    """Log of how much more light changes one way than across it, steady slopes left out."""
    flat, row = light.ravel(), light.shape[1]
    slopes = (4 * (flat[chosen + ahead] - flat[chosen - ahead]) for ahead in (1, row))
    dx, dy = (np.clip(d - _middle(d), -4 * _spread(d), 4 * _spread(d)) for d in slopes)
    xx, yy, xy = dx @ dx / len(dx), dy @ dy / len(dx), dx @ dy / len(dx)
    # eigenvalues of the covariance
    half, apart = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    return np.log((half + apart + 3e-6) / (half - apart + 3e-6))


TRAITS = {
    "support": "mean share of the sides along which an edge runs straight",
    "support_least": "the same of the worst side",
    "scatter": "log of the wobble of the worst side's edge, px",
    "ridge": "a bright line along a side: the lit edge of a thing with some thickness",
    "texture": "log of how far fine grain exceeds the noise of the calmest places of the photo",
    "rough": "log of how far grain over a few pixels exceeds that of card and paper",
    "clumps": "log of coarse over fine grain, above that of mere noise",
    "streak": "log of how much more the grain runs one way than the other",
    "slope": "range of the smooth log light over the patch",
    "odd": "log of the share of spots unlike the rest: print, holes, dirt",
    "holed": "log of how far one such spot goes beyond a crumb of dirt: the hole of a tag",
    "lip": "difference of a band just inside the sides to the middle",
    "warm": "distance from neutral along the colours of lamps and daylight",
    "green": "distance from neutral across them, where no light of a bench lies",
    "cast": "distance to the nearest guess at the colour of the light",
    "tinted": "distance to the light's colour beyond what a wrong guess explains",
    "rim_cast": "difference in colour to the surround, where that is white or black and even",
    "level": "log of light relative to the bright end of the photo",
    "dark": "how far it stays below the least that a mid grey has against the bright end",
    "white": "how close it comes to the bright end",
    "glow": "how far beyond a mid grey the photo shows it",
    "gloom": "how far below a mid grey the photo shows it",
    "long": "log of the ratio of sides beyond that of usual cards",
    "skew": "log of the ratio of opposite sides",
    "small": "log of how far the patch stays below 3 % of the frame",
    "large": "log of how far it exceeds 15 %",
    "frame": "an even neutral border of one width all round",
    "alike": "share of sides beyond which the same surface goes on: a field of a squared ground",
    "rim_even": "log of the spread of the four surrounds",
    "cut": "reaches the edge of the photo",
}

# a wrong guess at the light's colour, and a card's own tint, stay below this
TINT_FREE = 0.1
# log light of an 18 % card against white paper is -1.6; glints at the bright end take it a little lower
_DARKEST = -1.95
# 98 of 100 cards of all renderers lie within 0.25 of what the photo's own pixels say about the light
_BELIEVED = 0.15
_ALONG = 24  # places along each side


@dataclass(frozen=True)
class SceneTone:
    """What patches are judged against.

    Attributes
    ----------
    bright : float
        Light at the bright end of the photo.
    casts : ndarray of shape (n, 2)
        Guesses at the colour of the light, as `_cast` gives them: that of a balanced photo, then those of its pixels.
    calm : float
        Noise of the calmest places, relative to the root of light.
    """

    bright: float
    casts: np.ndarray
    calm: float


def scene_tone(pixels):
    """Return what the whole photo tells about light and noise.

    Parameters
    ----------
    pixels : ndarray of float32, shape (h, w, 3)
        Linear light of the reduced photo.

    Returns
    -------
    SceneTone
    """
    few = np.ascontiguousarray(pixels[::6, ::6])
    light, few = mean_light(few).ravel(), few.reshape(-1, 3)
    high, top = np.percentile(light, [97, 99.5])
    guesses = [few.mean(axis=0), (np.maximum(few, 0) ** 4).mean(axis=0) ** 0.25, few[light >= high].mean(axis=0)]
    return SceneTone(max(float(top), 1e-4), _cast(np.array([[1.0, 1.0, 1.0], *guesses])), calm_noise(pixels))


def traits_of(pixels, sides, scene, worth=None):
    """Return the traits of one patch.

    Parameters
    ----------
    pixels : ndarray of float32, shape (h, w, 3)
        Linear light of the reduced photo.
    sides : Sides
        The patch, in pixels of `pixels`.
    scene : SceneTone
    worth : callable, optional
        Told all traits but grain, says whether the patch is worth looking at for that too: grain takes longest, and
        can only speak against a card.

    Returns
    -------
    ndarray of float, shape (len(TRAITS),)
    """
    log_light, median = straightened(pixels, sides.quad)
    values = {
        "support": sides.support.mean(),
        "support_least": sides.support.min(),
        "scatter": np.log(np.clip(sides.scatter_px, 0.05, 5)).max(),
        "ridge": sides.ridge.max().clip(0, 0.3),
    }
    values |= shading(log_light) | _colour(median, scene)
    values |= _shape(sides.quad, pixels.shape) | _surround(pixels, sides.quad, median)
    if worth is None or worth(_in_order(values)):
        values |= grain(pixels, sides.quad, scene.calm)
    return _in_order(values)


def _in_order(values):
    """Traits in the order of the table; what was not looked at speaks neither way."""
    return np.array([float(values.get(name, 0.0)) for name in TRAITS])


def _cast(rgb):
    """Colour as cube roots of red and blue over green: bounded where a channel runs empty under lamp light."""
    root = np.cbrt(np.maximum(rgb, 1e-4))
    return np.stack([root[..., 0], root[..., 2]], axis=-1) / root[..., 1:2] - 1


def _colour(median, scene):
    """Colour and level of the patch against neutral, the light's likely colour, and the photo's bright end."""
    own = _cast(median)
    level = np.log(max(median.mean(), 1e-4))
    relative = level - np.log(scene.bright)
    glow = max(0.0, np.log(max(median.max(), 1e-4)) + 1.3)
    balanced, *seen = np.linalg.norm(scene.casts - own, axis=1)
    # a camera that is thought to have balanced its photo is believed so far only as the photo does not gainsay it
    apart = min(*seen, max(balanced, min(seen) - _BELIEVED))
    return {
        "warm": abs(own[0] - own[1]) / 2,
        "green": abs(own[0] + own[1]) / 2,
        "cast": apart,
        "tinted": max(0.0, apart - TINT_FREE),
        "level": np.clip(relative, -3, 0),
        "dark": max(0.0, _DARKEST - relative),
        # on dark cloth a card is the brightest there is, but no photo shows it as bright as paper
        "white": max(0.0, relative + 0.6) * np.clip(glow / 0.4, 0.25, 1.0),
        "glow": glow,
        "gloom": max(0.0, -3.2 - level),
    }


def _shape(quad, shape):
    """Proportions and size; the cards people use are between square and 1.6 : 1."""
    lengths = np.linalg.norm(quad[AHEAD] - quad, axis=1)
    height, width = shape[:2]
    share = np.log(cv2.contourArea(quad.astype(np.float32)) / (height * width))
    margin = 0.004 * max(height, width)
    return {
        "long": max(0.0, abs(np.log((lengths[0] + lengths[2]) / (lengths[1] + lengths[3]))) - 0.47),
        "skew": max(abs(np.log(lengths[0] / lengths[2])), abs(np.log(lengths[1] / lengths[3]))),
        "small": max(0.0, np.log(0.03) - share),
        "large": max(0.0, share - np.log(0.15)),
        "cut": (quad < margin).any() or (quad > np.array([width, height]) - margin).any(),
    }


def _surround(pixels, quad, median):
    """The band inside the sides and the surround: a border of one width is strong evidence, a frame inside is not."""
    side = np.sqrt(cv2.contourArea(quad.astype(np.float32)))
    offsets = np.concatenate([[-4.0, -3.0, 2.5, 3.5], np.linspace(0.03, 0.2, 12) * side + 3])
    seen = np.log(np.maximum(_bands(pixels, quad, offsets), 1e-4))
    # log colour (4 sides, offsets, 3), the middle value along each side, and how far others lie from it
    bands = np.partition(seen, _ALONG // 2, axis=1)[:, _ALONG // 2]
    spread = np.partition(np.abs(seen - bands[:, None]).max(axis=3), _ALONG // 2, axis=1)[:, _ALONG // 2]
    own = np.log(np.maximum(median, 1e-4))
    near = bands[:, 2:4].mean(axis=1)
    light = near.mean(axis=1) - own.mean()
    even = np.ptp(light)
    contrast = max(light.min(), -light.max(), 0.0)
    rim_cast = np.linalg.norm(_cast(np.exp(near.mean(axis=0))) - _cast(median))
    # at one distance on all four sides the border ends
    beyond = np.abs(bands[:, 4:] - near[:, None]).max(axis=2).min(axis=0).max()
    # a surface that goes on has the same grain as well
    grainier = np.maximum(spread[:, 5:] - 1.5 * spread[:, :2].mean() - 0.01, 0)
    past = (np.linalg.norm(bands[:, 5:] - own, axis=2) + 2 * grainier).min(axis=1)
    plain = np.exp(-((even / 0.3) ** 2) - (rim_cast / 0.06) ** 2)
    return {
        "lip": np.abs(bands[:, :2].mean(axis=1) - own).max(),
        "alike": np.exp(-((past / 0.06) ** 2)).mean(),
        "rim_even": np.log(even + 0.03),
        "rim_cast": min(rim_cast, 0.5) * min(contrast, 1.0) * np.exp(-((even / 0.3) ** 2)),
        "frame": min(contrast, 1.2) * plain * min(beyond / 0.3, 1.0),
    }


def _bands(pixels, quad, offsets):
    """Light (4 sides, places along, offsets, 3) on lines parallel to the sides, offsets in pixels outwards."""
    ahead = quad[AHEAD] - quad
    along = ahead / np.maximum(np.linalg.norm(ahead, axis=1), 1e-6)[:, None]
    normals = np.stack([along[:, 1], -along[:, 0]], axis=1)
    at = np.linspace(0.08, 0.92, _ALONG)
    places = quad[:, None] + at[None, :, None] * ahead[:, None]
    spots = (places[:, :, None] + offsets[None, None, :, None] * normals[:, None, None]).astype(np.float32) - 0.5
    flat = spots.reshape(4 * _ALONG, -1, 2)
    values = cv2.remap(pixels, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return values.reshape(4, _ALONG, len(offsets), 3)

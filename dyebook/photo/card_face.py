"""What the face of a patch shows: how light runs over it, spots on it, and its grain."""

import cv2
import numpy as np

__all__ = ["calm_noise", "grain", "mean_light", "shading", "straightened"]

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

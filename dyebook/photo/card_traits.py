"""What can be seen of a patch that might be the card: one number per trait, each with a plain meaning."""

import cv2
import numpy as np

__all__ = ["TRAITS", "scene_traits", "traits_of"]

TRAITS = (
    "support",
    "support_least",
    "scatter",
    "texture",
    "coarse",
    "brushed",
    "slope",
    "chroma",
    "chroma_scene",
    "level",
    "aspect",
    "skew",
    "share",
    "odd_pixels",
    "corners",
    "lip",
    "rim_white",
    "rim_black",
    "rim_even",
    "step",
    "step_spread",
    "cut",
)
_SIDE = 64  # pixels of the straightened patch
_RIM = 14  # straightened pixels looked at outside the patch


def scene_traits(pixels):
    """Return what traits are judged against: neutral guess (3,), bright end, noise of the calmest places.

    Parameters
    ----------
    pixels : ndarray of float32, shape (h, w, 3)

    Returns
    -------
    dict
    """
    few = pixels[::4, ::4].reshape(-1, 3)
    light = few.mean(axis=1)
    bright = float(np.percentile(light, 99.5))
    return {"bright": max(bright, 1e-4), "shades": _shades(few), "calm": _calm(pixels)}


def _shades(few):
    """Mean colour by grey world, by shades of grey, and by the bright end, as log ratios (n, 2)."""
    means = [few.mean(axis=0), (np.maximum(few, 0) ** 4).mean(axis=0) ** 0.25]
    light = few.mean(axis=1)
    means.append(few[light >= np.percentile(light, 97)].mean(axis=0))
    return np.array([_ratios(mean) for mean in means])


def _ratios(rgb):
    r, g, b = np.maximum(rgb, 1e-4)
    return np.array([np.log(r / g), np.log(b / g)])


def _calm(pixels):
    """Relative noise of the calmest tenth of the picture, scaled to mid grey."""
    green = pixels[..., 1]
    fine = green - cv2.blur(green, (3, 3))
    mean, power = (cv2.resize(x, None, fx=1 / 16, fy=1 / 16, interpolation=cv2.INTER_AREA) for x in (green, fine**2))
    relative = np.sqrt(power) / np.maximum(mean, 1e-3)
    return float(np.percentile(relative[mean >= np.percentile(mean, 15)], 10)) + 1e-4


def traits_of(pixels, sides, scene):
    """Return the traits of one patch.

    Parameters
    ----------
    pixels : ndarray of float32, shape (h, w, 3)
        Linear light of the reduced photo.
    sides : Sides
        The patch, in pixels of `pixels`.
    scene : dict
        From `scene_traits`.

    Returns
    -------
    ndarray of float, shape (len(TRAITS),)
    """
    patch, rim = _straightened(pixels, sides.quad)
    inner = patch[4:-4, 4:-4]
    light = np.log(np.maximum(inner.mean(axis=2), 1e-4))
    median = np.median(inner.reshape(-1, 3), axis=0)
    surface, rest = _smooth_part(light)
    robust = 1.4826 * np.median(np.abs(rest)) + 1e-5
    lengths = np.linalg.norm(np.roll(sides.quad, -1, axis=0) - sides.quad, axis=1)
    traits = {
        "support": sides.support.mean(),
        "support_least": sides.support.min(),
        "scatter": np.log(np.clip(sides.scatter_px, 0.02, 5)).max(),
        "slope": np.ptp(surface),
        "level": np.log(max(median.mean(), 1e-4) / scene["bright"]),
        "aspect": abs(np.log((lengths[0] + lengths[2]) / (lengths[1] + lengths[3]))),
        "skew": max(abs(np.log(lengths[0] / lengths[2])), abs(np.log(lengths[1] / lengths[3]))),
        "share": np.log(cv2.contourArea(sides.quad.astype(np.float32)) / (pixels.shape[0] * pixels.shape[1])),
        "odd_pixels": float((np.abs(rest) > 5 * robust + 0.02).mean()),
        "step": np.log(np.linalg.norm(sides.step, axis=1).clip(1e-3).min()),
        "step_spread": np.ptp(sides.step.mean(axis=1)),
        "cut": _cut(sides.quad, pixels.shape),
        "corners": _corner_difference(patch, median),
        "lip": _lip(patch, median),
    }
    traits |= _texture(pixels, sides.quad, scene) | _colour(median, scene) | _rim_traits(rim, median, scene)
    return np.array([float(traits[name]) for name in TRAITS])


def _straightened(pixels, quad):
    """The patch as a square with its surround, and the four strips outside it (4, _RIM, _SIDE, 3)."""
    target = np.array([[0, 0], [_SIDE, 0], [_SIDE, _SIDE], [0, _SIDE]], np.float32) + _RIM - 0.5
    turn = cv2.getPerspectiveTransform((quad - 0.5).astype(np.float32), target)
    whole = cv2.warpPerspective(
        pixels, turn, (_SIDE + 2 * _RIM,) * 2, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    patch = whole[_RIM:-_RIM, _RIM:-_RIM]
    strips = [np.rot90(whole, turn)[:_RIM, _RIM:-_RIM][::-1] for turn in range(4)]
    return patch, np.stack(strips)


def _smooth_part(light):
    """Quadratic surface through the log light, and what is left."""
    y, x = (np.indices(light.shape) / (light.shape[0] - 1) * 2 - 1).reshape(2, -1)
    design = np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y])
    values = light.ravel()
    fit = np.linalg.lstsq(design, values, rcond=None)[0]
    rest = values - design @ fit
    keep = np.abs(rest) < 3 * 1.4826 * np.median(np.abs(rest)) + 0.01
    fit = np.linalg.lstsq(design[keep], values[keep], rcond=None)[0]
    return design @ fit, values - design @ fit


def _texture(pixels, quad, scene):
    """Grain of the patch: fine, coarse, and whether it runs in one direction."""
    centre = quad.mean(axis=0)
    inner = centre + (quad - centre) * 0.84
    x0, y0 = np.maximum(np.floor(inner.min(axis=0)).astype(int), 0)
    x1, y1 = np.ceil(inner.max(axis=0)).astype(int)
    crop = pixels[y0:y1, x0:x1].mean(axis=2)
    mask = np.zeros(crop.shape, np.uint8)
    cv2.fillPoly(mask, [np.round(inner - (x0, y0)).astype(np.int32)], 1)
    light = np.log(np.maximum(crop, 1e-4))
    fine = light - cv2.blur(light, (3, 3))
    smooth = cv2.GaussianBlur(light, (0, 0), 1.5)
    coarse = smooth - cv2.GaussianBlur(light, (0, 0), 5)
    chosen = mask.astype(bool)
    dx, dy = (cv2.Sobel(smooth, cv2.CV_32F, *order)[chosen] for order in ((1, 0), (0, 1)))
    dx, dy = dx - np.median(dx), dy - np.median(dy)
    keep = dx**2 + dy**2 < np.percentile(dx**2 + dy**2, 97)
    tensor = np.cov(dx[keep], dy[keep])
    values = np.linalg.eigvalsh(tensor)
    return {
        "texture": np.log(_spread(fine[chosen]) / scene["calm"]),
        "coarse": np.log(_spread(coarse[chosen]) + 1e-4),
        "brushed": np.log((values[1] + 1e-9) / (values[0] + 1e-9)),
    }


def _spread(values):
    return 1.4826 * np.median(np.abs(values - np.median(values))) + 1e-4


def _colour(median, scene):
    """Distance of the patch's colour from plain neutral, and from the nearest guess at the light's colour."""
    own = _ratios(median)
    apart = np.linalg.norm(scene["shades"] - own, axis=1)
    return {"chroma": np.linalg.norm(own), "chroma_scene": min(apart.min(), np.linalg.norm(own))}


def _rim_traits(rim, median, scene):
    """A frame around the patch: how much brighter or darker, and how alike on the four sides."""
    light = np.log(np.maximum(rim.mean(axis=3), 1e-4)) - np.log(max(median.mean(), 1e-4))
    near = np.median(light[:, 2:6], axis=(1, 2))
    return {
        "rim_white": near.min().clip(0, 1.5),
        "rim_black": (-near.max()).clip(0, 1.5),
        "rim_even": np.log(np.ptp(near) + 0.02),
    }


def _cut(quad, shape):
    """Whether the patch reaches the frame."""
    height, width = shape[:2]
    margin = 0.004 * max(shape)
    return (quad < margin).any() or (quad[:, 0] > width - margin).any() or (quad[:, 1] > height - margin).any()


def _corner_difference(patch, median):
    """Largest difference of the patch's four corners to its middle: rounded corners show the ground."""
    at = 5
    spots = np.stack([patch[2:at, 2:at], patch[2:at, -at:-2], patch[-at:-2, 2:at], patch[-at:-2, -at:-2]])
    light = np.log(np.maximum(spots.mean(axis=(1, 2)), 1e-4)) - np.log(np.maximum(median, 1e-4))
    return np.abs(light - np.median(light, axis=0)).max()


def _lip(patch, median):
    """Largest difference of the bands just inside the sides to the middle: a frame taken for part of the patch."""
    bands = [np.median(np.rot90(patch, turn)[1:4, 8:-8], axis=(0, 1)) for turn in range(4)]
    return np.abs(np.log(np.maximum(bands, 1e-4)) - np.log(np.maximum(median, 1e-4))).max()

"""The colour of the dyed film from the pixels that show it squarely."""

from dataclasses import dataclass

import numpy as np

from dyebook.lab import Lab, lab_to_linear_rgb, linear_rgb_to_lab
from dyebook.photo.lean import guess_lean
from dyebook.photo.usual import camera_balance, film_light
from dyebook.record import Reading

__all__ = ["Evidence", "read_part"]

_WORKING_PIXELS = 30_000
_LUMINANCE = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
# pixels this far from the middle line still face the camera
_FACING = 0.6
_FEWEST = 60
# share of the facing pixels, those with the least mirror light on them, that give the hue
_UNVEILED = 0.35
_NEAR_GREY = 0.003
# camera colour error without a profile, per L*, a*, b*: what a grey card alone cannot remove
_CAMERA_U = np.array([1.2, 2.2, 2.6])


@dataclass(frozen=True)
class Evidence:
    """A reading with the pixels behind it.

    Attributes
    ----------
    reading : Reading
    box : tuple of int
        Part of the photo that the masks cover.
    step : int
        Pixels of the photo per pixel of the masks.
    used, rejected : ndarray of bool, shape (H, W)
    """

    reading: Reading
    box: tuple
    step: int
    used: np.ndarray
    rejected: np.ndarray


def read_part(photo, light, card, part, camera=None):
    """Return the colour of one part, with the pixels that gave it.

    Parameters
    ----------
    photo : LinearPhoto
    light : Light
    card : Card
    part : Part
    camera : CameraProfile, optional

    Returns
    -------
    Evidence
    """
    box = part.box
    step = max(1, int(np.sqrt((box[2] - box[0]) * (box[3] - box[1]) / _WORKING_PIXELS)))
    pixels = light.correct(photo.crop(box, step), box, step)
    mask = part.mask(box, step)[: pixels.shape[0], : pixels.shape[1]]
    facing = _facing(mask)
    seen = pixels[facing]
    colour, unveiled = _film_colour(seen)
    level = float(np.median(seen @ _LUMINANCE))
    used = np.zeros_like(mask)
    used[facing] = unveiled
    card_light = lab_to_linear_rgb(card.lab)
    # a learned camera needs no usual one's correction: `light` has mixed its colours already
    rgb = level * colour
    lab = _finish(rgb, light, card_light) if camera is None else linear_rgb_to_lab(rgb)
    spread = linear_rgb_to_lab(seen).std(axis=0)
    middle = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    lab_u = _uncertainty(lab, spread, light.log_sd(middle))
    reading = Reading(Lab(*lab), tuple(spread), tuple(lab_u), tuple(map(tuple, part.outline)), box, flags=part.flags)
    return Evidence(reading, box, step, used, mask & ~used)


def _finish(rgb, light, card_light):
    balanced = camera_balance(rgb, light.gains, card_light)
    return linear_rgb_to_lab(film_light(balanced, card_light))


def _facing(mask):
    """Pixels that face the camera: near the middle line, away from the rim where the background mixes in."""
    lean, depth = guess_lean(mask)
    facing = (lean < _FACING) & (depth > 1.2)
    return facing if facing.sum() >= _FEWEST else mask & (depth >= 0.5 * depth.max())


def _film_colour(seen):
    """Colour of luminance 1 of the pixels with the least mirror light on them, and which those are.

    Mirror light is nearly neutral: it moves a pixel from the film's colour towards grey.
    """
    level = np.maximum(seen @ _LUMINANCE, 1e-4)
    relative = seen / level[:, None]
    colour = np.median(relative, axis=0)
    least = np.ones(len(seen), dtype=bool)
    for _ in range(3):
        colour = colour / (colour @ _LUMINANCE)
        away = colour - 1
        if away @ away < _NEAR_GREY:
            break
        purity = (relative - 1) @ away
        least = purity >= np.quantile(purity, 1 - _UNVEILED)
        colour = np.median(relative[least], axis=0)
    return colour / (colour @ _LUMINANCE), least


def _uncertainty(lab, spread, exposure_log_sd):
    exposure = (lab[0] + 16) / 3 * exposure_log_sd
    chroma = np.asarray(lab[1:]) / 3 * exposure_log_sd
    return np.sqrt(_CAMERA_U**2 + (spread / 2) ** 2 + np.array([exposure, *chroma]) ** 2)

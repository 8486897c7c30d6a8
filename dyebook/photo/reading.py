"""The colour of the dyed film from the pixels that show it squarely."""

from dataclasses import dataclass, replace

import numpy as np

from dyebook.lab import Lab, delta_e_00, lab_to_linear_rgb, linear_rgb_to_lab
from dyebook.photo.doubt import flags_of, level_log_sd, uncertainty_of
from dyebook.photo.facing import Facing, facing_pixels
from dyebook.photo.kinship import level_steps
from dyebook.photo.usual import (
    camera_balance,
    film_light,
    is_undeveloped,
    lost_channels,
    sensor_light,
    under_metal,
    usual_contrast,
    without_contrast,
)
from dyebook.record import Reading

__all__ = ["Evidence", "read_part", "read_parts"]

_LUMINANCE = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
# share of the facing pixels, those with the least mirror light on them, that give the hue; more of even parts
_UNVEILED = 0.6
# squared distance from grey below which hue cannot tell film from mirror light
_NEAR_GREY = 0.003
# mirrored room that stays on every part, neutral, as reflectance: on the pixels that give the brightness, and less of
# it on those that give the hue; never more than leaves this share of the light and of a channel
_LEVEL_VEIL, _HUE_VEIL, _VEIL_LEAVES = 0.008, 0.006, 0.4
# spread of log brightness from which on a part mirrors: matt paint and paper are more even, and mirror nothing
_MIRRORING = 0.1
_SAMPLES = 1500


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
    film : ndarray of shape (3,)
        The film's linear light, what the reading's Lab is made of.
    level : float
        Its brightness as the card alone makes it, before any bound; above 1 it would outshine perfect white.
    level_log_sd : float
        Standard uncertainty of that brightness, in log light, from the part's own pixels.
    """

    reading: Reading
    box: tuple
    step: int
    used: np.ndarray
    rejected: np.ndarray
    film: np.ndarray
    level: float
    level_log_sd: float = 0.1


def read_parts(photo, light, card, parts, camera=None):
    """Return the colours of all parts of one photo, near shades weighed against each other.

    Parameters
    ----------
    photo : LinearPhoto
    light : Light
    card : Card
    parts : sequence of Part
    camera : CameraProfile, optional

    Returns
    -------
    tuple of Evidence
        In the order of the parts.
    """
    alone = [read_part(photo, light, card, part, camera) for part in parts]
    steps = level_steps(np.array([one.film for one in alone]).reshape(-1, 3), [one.level_log_sd for one in alone])
    return tuple(_at_level(one, step) for one, step in zip(alone, steps, strict=True))


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
    facing = facing_pixels(photo, light, part)
    mirroring = min(facing.spread / _MIRRORING, 1.0)
    colour, unveiled = _film_colour(facing.light[facing.sound], 1 - (1 - _UNVEILED) * mirroring)
    level = facing.level
    film = _without_veil(_without_veil(level, _LEVEL_VEIL * mirroring) * colour, _HUE_VEIL * mirroring)
    # a learned camera needs no usual one's correction: `light` has mixed its colours already
    if camera is None:
        film = _usual_film(film, facing, light, lab_to_linear_rgb(card.lab), photo)
    lab = linear_rgb_to_lab(film)
    used = np.zeros_like(facing.mask)
    used[facing.where] = _spread_over(facing.sound, unveiled)
    box = part.box
    exposure_log_sd = light.log_sd(((box[0] + box[2]) / 2, (box[1] + box[3]) / 2))
    reading = Reading(
        lab=Lab(*lab.tolist()),
        lab_sd=tuple(linear_rgb_to_lab(facing.light).std(axis=0).tolist()),
        lab_u=uncertainty_of(lab, film, facing, exposure_log_sd, None if camera is None else camera.lab_u),
        outline=tuple(map(tuple, part.outline.tolist())),
        box=box,
        uniformity=_uniformity(facing.light, level),
        flags=tuple(dict.fromkeys((*part.flags, *flags_of(facing)))),
    )
    rejected = facing.mask & ~used
    return Evidence(reading, facing.box, facing.step, used, rejected, film, level, level_log_sd(facing.spread))


def _usual_film(rgb, facing: Facing, light, card_light, photo):
    """Light of the film as the usual camera saw it, from light balanced by the card."""
    card_seen = card_light / light.gains
    if is_undeveloped(photo, card_seen):
        return sensor_light(rgb, light.gains, card_light, photo)
    contrast = usual_contrast(photo)
    card_plain, plain = (without_contrast(seen, contrast) for seen in (card_seen, rgb / light.gains))
    gains = card_light / card_plain
    film = film_light(camera_balance(plain * gains, gains, card_light))
    return under_metal(lost_channels(film, facing.floor_share, facing.clipped_share))


def _spread_over(places, values):
    """Values at the true places, False elsewhere."""
    out = np.zeros(len(places), dtype=bool)
    out[places] = values
    return out


def _at_level(evidence, step):
    """The same evidence with its light changed by a step of its logarithm."""
    film = evidence.film * np.exp(step)
    return replace(evidence, film=film, reading=replace(evidence.reading, lab=Lab(*linear_rgb_to_lab(film).tolist())))


def _film_colour(seen, share=_UNVEILED):
    """Colour of luminance 1 of the share of the pixels with the least mirror light on them, and which those are.

    Mirror light is nearly neutral: it moves a pixel from the film's colour towards grey.
    """
    # a row a channel: along a short axis medians and products take several times as long
    relative = np.ascontiguousarray(seen.T) / np.maximum(seen @ _LUMINANCE, 1e-4)
    colour = np.median(relative, axis=1)
    least = np.ones(len(seen), dtype=bool)
    for _ in range(3):
        colour = colour / (colour @ _LUMINANCE)
        away = colour - 1
        if away @ away < _NEAR_GREY:
            break
        purity = away @ (relative - 1)
        least = purity >= np.quantile(purity, 1 - share)
        colour = np.median(relative[:, least], axis=1)
    return colour / (colour @ _LUMINANCE), least


def _without_veil(light, veil):
    """Light of a film without the mirrored room that a part usually shows all over."""
    return np.maximum(light - veil, _VEIL_LEAVES * light)


def _uniformity(seen, level):
    """Robust CIEDE2000 spread over facing pixels once each is brought to one brightness."""
    some = seen[:: max(1, len(seen) // _SAMPLES)]
    flat = linear_rgb_to_lab(some * (level / np.maximum(some @ _LUMINANCE, 1e-4))[:, None])
    return float(np.median(delta_e_00(np.median(flat, axis=0), flat)))

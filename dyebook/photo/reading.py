"""The colour of the dyed film from the pixels that show it squarely."""

from dataclasses import dataclass

import cv2
import numpy as np

from dyebook.lab import Lab, linear_rgb_to_lab
from dyebook.record import Reading

__all__ = ["Evidence", "read_part"]

_WORKING_PIXELS = 120_000
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
    inner = _inside(mask)
    used = inner & _facing(pixels, inner)
    centre = np.median(pixels[used], axis=0)
    spread = linear_rgb_to_lab(pixels[used]).std(axis=0)
    lab = Lab(*linear_rgb_to_lab(centre))
    lab_u = np.hypot(_CAMERA_U, spread / 2)
    reading = Reading(lab, tuple(spread), tuple(lab_u), tuple(map(tuple, part.outline)), box, flags=part.flags)
    return Evidence(reading, box, step, used, mask & ~used)


def _inside(mask):
    """The mask without its rim, where the background mixes in."""
    depth = cv2.distanceTransform(np.pad(mask, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    return depth > 0.2 * depth.max()


def _facing(pixels, inner):
    """Pixels of middling light: mirror stripes and turned-away edges out."""
    light = pixels.mean(axis=2)
    low, high = np.quantile(light[inner], (0.3, 0.85))
    return (light >= low) & (light <= high)

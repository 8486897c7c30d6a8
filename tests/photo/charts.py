"""Photos of a drawn 24-patch chart, with everything about them known."""

import cv2
import numpy as np

from dyebook.lab import lab_to_linear_rgb
from dyebook.photo.camera.chart import chart_lab
from dyebook.photo.file.read import photo_from_array

__all__ = ["CORNERS", "PITCH", "chart_light", "chart_photo", "chart_picture"]

PITCH = 36
_EDGE = 60
CORNERS = np.array([(0, 0), (5, 0), (5, 3), (0, 3)]) * PITCH + _EDGE + PITCH / 2


def chart_light(table="after-2014"):
    """Linear light of the patches, shape (24, 3)."""
    return np.maximum(lab_to_linear_rgb(chart_lab(table)), 0.002)


def chart_picture(light, noise=0.001, seed=1):
    """Linear picture of patches on a dark frame on a grey table, upright."""
    rng = np.random.default_rng(seed)
    picture = np.full((4 * PITCH + 2 * _EDGE, 6 * PITCH + 2 * _EDGE, 3), 0.3)
    picture[_EDGE - 12 : 12 - _EDGE, _EDGE - 12 : 12 - _EDGE] = 0.03
    gap = 3
    for patch, colour in enumerate(light):
        y, x = _EDGE + (patch // 6) * PITCH, _EDGE + (patch % 6) * PITCH
        picture[y + gap : y + PITCH - gap, x + gap : x + PITCH - gap] = colour
    picture = cv2.GaussianBlur(picture, (0, 0), 0.7)
    return (picture * (1 + rng.normal(0, noise, picture.shape))).astype(np.float32)


def chart_photo(light, limit=None, **options):
    """Photo of `chart_picture`."""
    return photo_from_array(chart_picture(light, **options), "chart", limit=limit)

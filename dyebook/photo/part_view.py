"""The photo as the part finder sees it: small, in colours that shading leaves alone, with its edges."""

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

__all__ = ["PartView", "edges_of", "shade_free", "view_of"]

_LONG_SIDE = 500
# highlights up to this multiple of perfect white keep their shade
_HEADROOM = 1.25
# a*, b* over (L* + _KNEE) do not change when a surface is shaded; the surplus over 16 holds back noise in the dark
_KNEE = 22.0
# edges weaker than this many units of L* or chroma per pixel are never called structure
_EDGE_FLOOR = 0.5
_SMOOTH = 1.1


@dataclass(frozen=True, eq=False)
class PartView:
    """A small corrected photo and what is worked out from it.

    Attributes
    ----------
    step : float
        Pixels of the photo per pixel of the view.
    colour : ndarray of float32, shape (h, w, 3)
        L*, and the two chroma axes over lightness (times 100): nearly the same in light and in shade.
    edge : ndarray of float32, shape (h, w)
        Strength of edges, 1 = the usual texture of this photo.
    card : ndarray of uint8, shape (h, w)
        1 on the card.
    """

    step: float
    colour: np.ndarray
    edge: np.ndarray
    card: np.ndarray

    @cached_property
    def crest(self):
        """The strongest edge within a pixel of each, float32 (h, w)."""
        return cv2.dilate(self.edge, np.ones((3, 3), np.uint8))

    @cached_property
    def grain(self):
        """How far L* lies from the mean of the pixels beside it, float32 (h, w)."""
        light = cv2.extractChannel(self.colour, 0)
        return cv2.absdiff(light, cv2.blur(light, (3, 3)))


def view_of(photo, card, light):
    """Return the `PartView` of a photo.

    Parameters
    ----------
    photo : LinearPhoto
    card : Card
    light : Light

    Returns
    -------
    PartView
    """
    pixels = photo.reduced(1000).pixels
    height, width = pixels.shape[:2]
    shrink = min(1.0, _LONG_SIDE / max(height, width))
    size = (max(1, round(width * shrink)), max(1, round(height * shrink)))
    if shrink < 1:
        pixels = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)
    step = photo.size[0] / size[0]
    colour = shade_free(light.correct(pixels, (0, 0, *photo.size), step))
    covered = np.zeros(size[::-1], np.uint8)
    if card.cover is not None:
        cv2.fillConvexPoly(covered, np.round(card.cover / step).astype(np.int32), 1)
    return PartView(step, colour, edges_of(colour), covered)


def shade_free(linear):
    """Return L* and chroma over lightness of corrected linear light, float32 (h, w, 3)."""
    within = np.clip(linear * np.float32(1 / _HEADROOM), 0, 1)
    lab = cv2.cvtColor(within, cv2.COLOR_LRGB2Lab)
    lightness = cv2.extractChannel(lab, 0)
    lift = 100 / (lightness + _KNEE)
    # whole planes at a time: a product along the last axis of three costs several times as much
    return cv2.multiply(lab, cv2.merge([np.ones_like(lift), lift, lift]))


def edges_of(colour):
    """Return the strength of edges, float32 (h, w), 1 = the usual texture of the picture."""
    smooth = cv2.GaussianBlur(colour, (7, 7), _SMOOTH)
    across = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8)
    down = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8)
    power = cv2.add(cv2.multiply(across, across), cv2.multiply(down, down))
    some = np.ascontiguousarray(power[::4, ::4].reshape(-1, 3).T)
    usual = np.maximum(np.median(some, axis=1), _EDGE_FLOOR**2)
    return cv2.sqrt(cv2.transform(power, (1 / usual).astype(np.float32)[None]))

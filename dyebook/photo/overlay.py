"""A picture of what was found: mat, card, parts, pixels used and rejected, flaws with their names."""

import cv2
import numpy as np

from dyebook.lab import encode_srgb, lab_to_srgb8
from dyebook.photo.file.linear import LinearPhoto

__all__ = ["draw_overlay"]

_USED = (40, 200, 120)
_REJECTED = (230, 60, 160)
_CARD = (255, 210, 0)
_PART = (0, 170, 255)
_FLAW = (255, 90, 30)
_MAT, _TWIN = (150, 120, 255), (250, 250, 250)
_PAPER, _INK = (250, 250, 250), (20, 20, 20)
# how much of a pixel's own colour is left under a tint
_LEFT = 0.6
# sizes against the picture's long side: lines, and numbers and words with their least height in pixels
_LINE, _NUMBER, _WORD = 1 / 700, (1 / 45, 14), (1 / 80, 10)
# pixels of height that cv2's letters have at scale 1, as they look beside a swatch and alone
_NUMBER_SCALE, _WORD_SCALE = 32, 24
_SUBPIXELS = 4  # bits
_FONT = cv2.FONT_HERSHEY_SIMPLEX


def draw_overlay(photo: LinearPhoto, measurement, evidence=(), long_side: int = 1600, mat=None) -> np.ndarray:
    """Return the photo with everything that was found drawn into it.

    The picture is sRGB, uint8 (H, W, 3).

    Parameters
    ----------
    evidence : sequence of Evidence
        Pixels used (greenish) and rejected (pinkish) of each part.
    long_side : int
        Largest side of the picture in pixels; never larger than the photo.
    mat : Mat, optional
        The photo mat; its sheet and the marks that were seen are drawn.
    """
    small = photo.reduced(long_side)
    picture = _to_screen(small.pixels)
    for one in evidence:
        _tint(picture, one, small.scale)
    width = max(1, round(max(picture.shape) * _LINE))
    if mat is not None:
        for ring in mat.rings():
            _draw_ring(picture, ring, small.scale, _MAT, width)
    if measurement.card_quad is not None:
        _draw_ring(picture, measurement.card_quad, small.scale, _CARD, 2 * width)
    if measurement.options.get("twin_at"):
        _draw_ring(picture, measurement.options["twin_at"], small.scale, _TWIN, 2 * width)
    for number, part in enumerate(measurement.parts, start=1):
        _draw_ring(picture, part.outline, small.scale, _PART, width)
        for flaw in part.flaws:
            _draw_ring(picture, flaw.outline, small.scale, _FLAW, width)
        _label(picture, part, number, small.scale)
    for part in measurement.parts:  # words last: no line may cross them
        for row, flaw in enumerate(part.flaws):
            _name_flaw(picture, flaw, row if flaw.area_fraction >= 1 else 0, small.scale)
    return picture


def _to_screen(linear):
    return np.ascontiguousarray(np.round(encode_srgb(np.clip(linear, 0, 1)) * 255).astype(np.uint8))


def _tint(picture, evidence, scale):
    for mask, colour in ((evidence.rejected, _REJECTED), (evidence.used, _USED)):
        x0, y0 = (round(value / scale) for value in evidence.box[:2])
        x1, y1 = (round(value / scale) for value in evidence.box[2:])
        x1, y1 = min(x1, picture.shape[1]), min(y1, picture.shape[0])
        if x1 <= x0 or y1 <= y0:
            continue
        small = cv2.resize(mask.astype(np.uint8), (x1 - x0, y1 - y0), interpolation=cv2.INTER_NEAREST).astype(bool)
        view = picture[y0:y1, x0:x1]
        view[small] = (_LEFT * view[small] + (1 - _LEFT) * np.array(colour)).astype(np.uint8)


def _draw_ring(picture, outline, scale, colour, width):
    points = np.round((np.asarray(outline) / scale - 0.5) * 2**_SUBPIXELS).astype(np.int32)
    cv2.polylines(picture, [points], True, colour, width, cv2.LINE_AA, shift=_SUBPIXELS)


def _height(picture, kind):
    share, least = kind
    return max(least, round(max(picture.shape) * share))


def _label(picture, part, number, scale):
    """A number and a swatch of the reading beside each part."""
    size = _height(picture, _NUMBER)
    x = int(np.clip(part.box[0] / scale, 0, picture.shape[1] - 3 * size))
    y = int(np.clip(part.box[1] / scale - size - 4, 0, picture.shape[0] - size))
    codes, _ = lab_to_srgb8(part.lab)
    cv2.rectangle(picture, (x, y), (x + 3 * size, y + size), _PAPER, -1)
    cv2.rectangle(picture, (x + size, y + 2), (x + 3 * size - 2, y + size - 2), tuple(int(c) for c in codes), -1)
    cv2.putText(picture, str(number), (x + 2, y + size - 4), _FONT, size / _NUMBER_SCALE, _INK, 1, cv2.LINE_AA)


def _name_flaw(picture, flaw, row, scale):
    """What a flaw is called and how far its colour is off, below it."""
    # cv2's own letters know no delta
    words = f"{flaw.kind.replace('_', ' ')} dE {flaw.delta_e00:.1f}"
    size = _height(picture, _WORD)
    (wide, high), below = cv2.getTextSize(words, _FONT, size / _WORD_SCALE, 1)
    x = int(np.clip(flaw.box[0] / scale, 0, max(0, picture.shape[1] - wide - 4)))
    y = int(np.clip(flaw.box[3] / scale + 3 + row * (high + below + 4), 0, max(0, picture.shape[0] - high - below - 4)))
    cv2.rectangle(picture, (x, y), (x + wide + 4, y + high + below + 3), _PAPER, -1)
    cv2.rectangle(picture, (x, y), (x + wide + 4, y + high + below + 3), _FLAW, 1)
    cv2.putText(picture, words, (x + 2, y + high + 2), _FONT, size / _WORD_SCALE, _INK, 1, cv2.LINE_AA)

"""What cameras usually do to colours, undone as far as a grey card and experience allow.

Used where no camera was learned. The matrix is that of `tests.bench.usual_fit` over 51 measured cameras; shares and
limits were chosen on scenes of both renderers, scored by `tests.bench.photo`.
"""

from functools import cache

import numpy as np

from dyebook.lab import LUMINANCE, decode_srgb, encode_srgb
from dyebook.photo.file.linear import SMALL_SIDE, LinearPhoto
from dyebook.photo.file.profile import UNTAGGED

__all__ = ["camera_balance", "is_undeveloped", "lost_channels", "sensor_light", "usual_contrast", "without_contrast"]

# mean matrix from balanced sensor light to linear Rec. 709 of 51 measured cameras, each fitted as makers do, under D65
# (`python -m tests.bench.usual_fit`)
_SENSOR_TO_RGB = np.array([[1.901, -0.949, 0.048], [-0.168, 1.649, -0.481], [0.050, -0.600, 1.550]])
# share of that matrix in the space where white balance acts: cautious, for cameras differ. On simulated films it hardly
# matters up to a cast of 0.3 in log light, and from 0.3 of it on any share is better than none
_SHARE = 0.5
# cameras draw more contrast than the sRGB curve, around the middle of the codes; the part of it that is taken back,
# for files that a camera signed (charts want 0.2 to 0.35, some none) and for others, perhaps plain renderings: three
# real charts and the physical and the simple world gain from 0.06 to 0.12, medians by 0.05 to 0.2
_CONTRAST_CAMERA, _CONTRAST_UNKNOWN = 0.25, 0.12
_CONTRAST_STEPS = 2049
# a sensor's green is its strongest channel by far; a developed photo's card is never this green (simulated: 0.78)
_GREENEST = 0.7
# a sensor's file starts at its black level: below its darkest light, for little in a photo is wholly black, and well
# below the card
_PEDESTAL_SHARE, _PEDESTAL_OF_CARD, _PEDESTAL_QUANTILE = 0.5, 0.15, 0.0005
# share of the usual matrix for light straight from a sensor
_SENSOR_SHARE = 0.75
# channels that sRGB cannot hold, against luminance: medians of two renderers; a file that says 0 on this share of the
# pixels has surely lost one
_LOST, _SURELY_LOST = np.array([-0.35, -0.12, -0.03]), 0.4
# reflectance of a channel that the dye leaves alone, where the file holds no more than its limit
_HARDLY_DYED, _MOSTLY = 0.62, 0.5


def _towards_sensor(share):
    """Matrix (3, 3) to linear Rec. 709 from a space that goes a share of the way to the usual sensor's."""
    matrix = (1 - share) * np.eye(3) + share * _SENSOR_TO_RGB
    return matrix / matrix.sum(axis=1, keepdims=True)


def camera_balance(rgb: np.ndarray, gains: np.ndarray, card_light: np.ndarray) -> np.ndarray:
    """Return light balanced as a camera balances it, on its sensor, instead of on finished colours.

    Parameters
    ----------
    rgb : ndarray of shape (..., 3)
        Light already multiplied by `gains`.
    gains : ndarray of shape (3,)
        What brought the card to its own colour.
    card_light : ndarray of shape (3,)
        The card's own linear light.

    Notes
    -----
    A photo with a wrong balance went through the camera's matrix with the wrong gains. Gains on finished colours
    bring the card right and leave colours wrong; gains in the sensor's space bring back what the matrix did.
    """
    matrix = _towards_sensor(_SHARE)
    inverse = np.linalg.inv(matrix)
    balance = np.maximum(inverse @ card_light, 1e-4) / np.maximum(inverse @ (card_light / gains), 1e-4)
    return ((rgb / gains) @ inverse.T * balance) @ matrix.T


def usual_contrast(photo: LinearPhoto) -> float:
    """Return the likely contrast of a photo for `without_contrast`; 0 for a linear file."""
    if photo.encoding.is_linear:
        return 0.0
    return _CONTRAST_CAMERA if photo.camera.make else _CONTRAST_UNKNOWN


def without_contrast(light: np.ndarray, contrast: float) -> np.ndarray:
    """Return light before a camera drew contrast into its codes.

    `light` (ndarray): linear light as the sRGB curve decodes it; outside 0 to 1 nothing changes. `contrast`: 0 to 0.9;
    the camera's slope at the middle code is greater by this share.

    Notes
    -----
    The curve undone is c' = c − contrast · sin(2πc) / 2π on sRGB codes c: black, middle and white stay, shadows sink
    and highlights rise. How much a photo shows of it depends on how it was exposed, which a curve about the card's
    grey would miss.
    """
    light = np.asarray(light, dtype=float)
    if not contrast:
        return light
    drawn, plain = _contrast_curve(contrast)
    inside = (light > 0) & (light < 1)
    return np.where(inside, np.interp(light, drawn, plain), light)


@cache
def _contrast_curve(contrast):
    """Light of a fine ladder of codes after and before contrast is drawn into them."""
    code = np.linspace(0, 1, _CONTRAST_STEPS)
    return decode_srgb(code - contrast * np.sin(2 * np.pi * code) / (2 * np.pi)), decode_srgb(code)


def is_undeveloped(photo: LinearPhoto, card_rgb: np.ndarray) -> bool:
    """Return whether a photo without a colour profile holds a sensor's own light, neither balanced nor encoded.

    `card_rgb` (3,): the card as read by the sRGB curve.
    """
    return UNTAGGED in photo.notes and max(card_rgb[0], card_rgb[2]) < _GREENEST * card_rgb[1]


def sensor_light(rgb: np.ndarray, gains, card_light, photo: LinearPhoto) -> np.ndarray:
    """Return light of a film from a file that was read by the sRGB curve but holds a sensor's own light.

    `rgb` (3,): light already multiplied by `gains`. `gains`, `card_light` (3,): what brought the card to its own
    colour, and that colour.
    """
    matrix = _towards_sensor(_SENSOR_SHARE)
    pixels = photo.reduced(SMALL_SIDE).pixels.reshape(-1, 3)
    black, card, film = (
        encode_srgb(np.maximum(light, 0))
        for light in (np.quantile(pixels, _PEDESTAL_QUANTILE, axis=0), card_light / gains, rgb / gains)
    )
    black = np.minimum(_PEDESTAL_SHARE * black, _PEDESTAL_OF_CARD * card)
    return matrix @ ((film - black) * np.linalg.solve(matrix, card_light) / (card - black))


def lost_channels(rgb: np.ndarray, floor_share: np.ndarray, clipped_share: np.ndarray) -> np.ndarray:
    """Return light with channels that the file cut off put back to their likely value.

    `rgb` has shape (3,). `floor_share`, `clipped_share` (3,): share of the pixels whose channel was at the bottom and
    at the top of the file's range.

    Notes
    -----
    Of dyed films the red of turquoise, green and blue ones leaves Rec. 709 by far the most often and the farthest; the
    figures lie a little to the safe side. They do not hold for films so dark that all channels are gone. A share of
    floored pixels moves the colour by degrees, so that noise does not drive near shades apart. A clipped channel is
    one that the dye hardly absorbs, and is as bright as metal under a film then is.
    """
    rgb = np.where(clipped_share > _MOSTLY, np.maximum(rgb, _HARDLY_DYED), rgb)
    lost = np.clip((floor_share - floor_share.min()) / _SURELY_LOST, 0, 1)
    luminance = float(rgb @ LUMINANCE)
    return rgb + lost * np.minimum(luminance * _LOST - rgb, 0)

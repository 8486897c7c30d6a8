"""What cameras usually do to colours, undone as far as a grey card and experience allow."""

import numpy as np

from dyebook.lab import encode_srgb
from dyebook.photo.colour import UNTAGGED

__all__ = [
    "camera_balance",
    "film_light",
    "is_undeveloped",
    "lost_channels",
    "sensor_light",
    "under_metal",
    "usual_tone",
]

# mean matrix from balanced sensor light to linear Rec. 709 of 51 measured cameras, each fitted as makers do
_SENSOR_TO_RGB = np.array([[1.901, -0.949, 0.048], [-0.168, 1.649, -0.481], [0.050, -0.600, 1.550]])
# share of that matrix in the space where white balance acts: cautious, for cameras differ
_SHARE = 0.5
# mean error left by such matrices on some 300 simulated dyed films under 22 lights, as a correction (row vectors); a
# little more than half of it, for cameras differ
_DYE_CORRECTION = 0.6 * np.array([[-0.022, -0.021, 0.022], [0.019, -0.006, 0.002], [0.002, 0.027, -0.024]])
# cameras draw more contrast than sRGB says; the exponent about the card's grey that takes back part of it, for files
# that a camera signed (real ones want 0.8 to 0.9) and for others, which may be plain renderings
_TONE_CAMERA, _TONE_UNKNOWN = 0.88, 0.94
# a sensor's green is its strongest channel by far; a developed photo's card is never this green (simulated: 0.78)
_GREENEST = 0.62
# share of the usual matrix for light straight from a sensor
_SENSOR_SHARE = 0.75
# beyond this cast of the card no camera's balance was at work, and the sensor's own space is unknown
_WILD_CAST = 0.8

# red of blue-green films that sRGB cannot hold, against luminance: where a file says 0, the truth lies below
_LOST_RED, _LOST_RED_SHARE = -0.1, -0.25
_FLOORED = 0.3
# reflectance of a channel that the dye leaves alone, where the file holds no more than its limit
_HARDLY_DYED, _MOSTLY = 0.62, 0.5
# aluminium under a film, specular excluded, seldom gives back more in any channel; share of the excess taken back
_METAL, _EXCESS = 0.7, 0.6


def _space(card_rgb):
    """Matrix (3, 3) from the space where balance acts to linear Rec. 709."""
    cast = np.abs(np.log(np.maximum(card_rgb, 1e-4) / max(card_rgb[1], 1e-4))).max()
    share = _SHARE * float(np.clip(2 - cast / _WILD_CAST, 0, 1))
    matrix = (1 - share) * np.eye(3) + share * _SENSOR_TO_RGB
    return matrix / matrix.sum(axis=1, keepdims=True)


def camera_balance(rgb, gains, card_light):
    """Return light balanced as a camera balances it, on its sensor, instead of on finished colours.

    Parameters
    ----------
    rgb : ndarray of shape (..., 3)
        Light already multiplied by `gains`.
    gains : ndarray of shape (3,)
        What brought the card to its own colour.
    card_light : ndarray of shape (3,)
        The card's own linear light.

    Returns
    -------
    ndarray of shape (..., 3)

    Notes
    -----
    A photo with a wrong balance went through the camera's matrix with the wrong gains. Gains on finished colours
    bring the card right and leave colours wrong; gains in the sensor's space bring back what the matrix did.
    """
    matrix = _space(card_light / gains)
    inverse = np.linalg.inv(matrix)
    balance = np.maximum(inverse @ card_light, 1e-4) / np.maximum(inverse @ (card_light / gains), 1e-4)
    return ((rgb / gains) @ inverse.T * balance) @ matrix.T


def usual_tone(photo):
    """Return the exponent about the card's grey that takes back a photo's likely contrast; 1 for a linear file."""
    if photo.encoding.is_linear:
        return 1.0
    return _TONE_CAMERA if photo.camera.make else _TONE_UNKNOWN


def film_light(rgb, card_light, tone=1.0):
    """Return light with the usual camera's contrast and its usual error on dyed films taken back.

    Parameters
    ----------
    rgb : ndarray of shape (..., 3)
        Balanced light.
    card_light : ndarray of shape (3,)
        The card's own linear light, where nothing changes.
    tone : float
        Exponent about the card's grey.

    Returns
    -------
    ndarray of shape (..., 3)
    """
    rgb = rgb + (rgb - rgb.mean(axis=-1, keepdims=True)) @ _DYE_CORRECTION
    ratio = rgb / card_light
    return card_light * np.sign(ratio) * np.abs(ratio) ** tone


def is_undeveloped(photo, card_rgb):
    """Return whether a photo without a colour profile holds a sensor's own light, neither balanced nor encoded.

    Parameters
    ----------
    photo : LinearPhoto
    card_rgb : ndarray of shape (3,)
        The card as read by the sRGB curve.
    """
    return UNTAGGED in photo.notes and max(card_rgb[0], card_rgb[2]) < _GREENEST * card_rgb[1]


def sensor_light(rgb, gains, card_light):
    """Return light of a film from a file that was read by the sRGB curve but holds a sensor's own light.

    Parameters
    ----------
    rgb : ndarray of shape (3,)
        Light already multiplied by `gains`.
    gains, card_light : ndarray of shape (3,)
        What brought the card to its own colour, and that colour.

    Returns
    -------
    ndarray of shape (3,)
    """
    matrix = (1 - _SENSOR_SHARE) * np.eye(3) + _SENSOR_SHARE * _SENSOR_TO_RGB
    matrix = matrix / matrix.sum(axis=1, keepdims=True)
    balance = np.linalg.solve(matrix, card_light) / encode_srgb(np.maximum(card_light / gains, 0))
    return matrix @ (encode_srgb(np.maximum(rgb / gains, 0)) * balance)


def lost_channels(rgb, floor_share, clipped_share):
    """Return light with channels that the file cut off put back to their likely value.

    Parameters
    ----------
    rgb : ndarray of shape (3,)
    floor_share, clipped_share : ndarray of shape (3,)
        Share of the pixels whose channel was at the bottom and at the top of the file's range.

    Returns
    -------
    ndarray of shape (3,)

    Notes
    -----
    Of dyed films the red of turquoise, green and blue ones leaves Rec. 709 by far the most often and the farthest;
    the figures hold on two renderers with different dyes. Green and blue at 0 stay as they are. A clipped channel
    is one that the dye hardly absorbs, and is as bright as metal under a film then is.
    """
    rgb = np.where(clipped_share > _MOSTLY, np.maximum(rgb, _HARDLY_DYED), rgb)
    if floor_share[0] < _FLOORED:
        return rgb
    luminance = float(rgb @ (0.2126, 0.7152, 0.0722))
    return np.array([luminance * (_LOST_RED + _LOST_RED_SHARE * floor_share[0]), rgb[1], rgb[2]])


def under_metal(rgb):
    """Return light of a film drawn towards what the metal under it can give back, where it exceeds that.

    A part that looks brighter than bare etched aluminium was lit more than the card, or shows mirror light.
    """
    brightest = float(np.max(rgb))
    return rgb * (_METAL / brightest) ** _EXCESS if brightest > _METAL else rgb

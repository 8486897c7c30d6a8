"""The light on the bench: white balance and exposure by the card, fall-off across the frame where that is safe."""

from dataclasses import dataclass, field

import cv2
import numpy as np

from dyebook.errors import PhotoError
from dyebook.photo.ground import fit_ground, surface_terms

__all__ = ["Light", "fit_light"]

# a field beyond this is a guess about another light, not a correction
_LARGEST_STEP = 0.8
# light at the far corner against the card's from which the photo is called uneven, log light
_UNEVEN = 0.35
# standard deviation of log light a whole frame away from the card, without and with a fitted fall-off; and what stays
# beside the card. Measured on rendered scenes of both renderers.
_SD_UNKNOWN, _SD_FITTED, _SD_BESIDE = 0.22, 0.1, 0.03


@dataclass(frozen=True)
class Light:
    """Gains and fall-off of one photo.

    Attributes
    ----------
    gains : ndarray of shape (3,)
        Factors that bring the card to its own colour.
    centre : ndarray of shape (2,)
        Where the fall-off is 1: the middle of the card, or of the frame without a card.
    scale : float
        Pixels per unit length of the fall-off: the long side of the photo.
    surface : ndarray of shape (5,)
        Log light off the centre: factors of x, y, x², x·y, y².
    known : bool
        Whether the fall-off was measured.
    flags : tuple of str
    """

    gains: np.ndarray
    centre: np.ndarray
    scale: float = 1.0
    surface: np.ndarray = field(default_factory=lambda: np.zeros(5))
    known: bool = False
    flags: tuple = ()

    def fall_off(self, x, y):
        """Return the log of the light at places against that on the card; x, y in pixels, broadcast."""
        terms = surface_terms((x - self.centre[0]) / self.scale, (y - self.centre[1]) / self.scale)
        total = sum(factor * term for factor, term in zip(self.surface, terms, strict=True))
        return np.clip(total, -_LARGEST_STEP, _LARGEST_STEP)

    def log_sd(self, point):
        """Return the standard uncertainty of the exposure of a part at (x, y), in log light."""
        distance = np.linalg.norm(np.asarray(point) - self.centre) / self.scale
        return float(np.hypot(_SD_BESIDE, (_SD_FITTED if self.known else _SD_UNKNOWN) * distance))

    def correct(self, pixels, box, step=1):
        """Return corrected light: a neutral surface of 18 % reflectance reads 0.18 in each channel.

        Parameters
        ----------
        pixels : ndarray of shape (H, W, 3)
            Linear light of the photo inside `box`.
        box : tuple of int
            x0, y0, x1, y1 in pixels of the upright photo.
        step : int
            Pixels of the photo per pixel given.

        Returns
        -------
        ndarray of float32, shape (H, W, 3)
        """
        gains, pixels = self.gains.astype(np.float32), np.ascontiguousarray(pixels, dtype=np.float32)
        # whole planes at a time: a product along the last axis of three costs several times as much
        if not self.surface.any():
            return cv2.transform(pixels, np.diag(gains))
        height, width = pixels.shape[:2]
        # the surface is smooth: a coarse grid of it, stretched, is exact to a thousandth
        columns, rows = (np.linspace(0, 1, 9) * length * step for length in (width, height))
        coarse = np.exp(-self.fall_off(box[0] + columns[None, :], box[1] + rows[:, None])).astype(np.float32)
        fine = _stretch(coarse, width, height)
        return cv2.multiply(pixels, cv2.merge([gain * fine for gain in gains]))


def fit_light(photo, card, flat=None):
    """Return the light of a photo as its card and its ground show it.

    Parameters
    ----------
    photo : LinearPhoto
    card : Card
    flat : LinearPhoto, optional
        Plain paper in the same light and frame; its fall-off is divided out.

    Returns
    -------
    Light

    Raises
    ------
    PhotoError
        If `flat` has another shape than the photo.
    """
    centre = np.array(photo.size) / 2 if card.centre is None else card.centre
    if flat is not None:
        _check_same_frame(photo, flat)
    surface = fit_ground(photo if flat is None else flat, None if flat is not None else card.cover, centre / photo.size)
    scale = float(max(photo.size))
    if surface is None:
        return Light(card.gains, centre, scale)
    light = Light(card.gains, centre, scale, surface, known=True)
    width, height = photo.size
    corners = light.fall_off(np.array([0, width, width, 0]), np.array([0, 0, height, height]))
    flags = ("uneven_light",) if np.ptp(np.append(corners, 0.0)) > _UNEVEN and flat is None else ()
    return Light(card.gains, centre, scale, surface, known=True, flags=flags)


def _stretch(coarse, width, height):
    """Values at the corners of a grid, brought to the middles of width × height pixels."""
    steps = np.array(coarse.shape[::-1]) - 1
    x = ((np.arange(width) + 0.5) * steps[0] / width).astype(np.float32)
    y = ((np.arange(height) + 0.5) * steps[1] / height).astype(np.float32)
    grid_x, grid_y = np.broadcast_to(x, (height, width)), np.broadcast_to(y[:, None], (height, width))
    return cv2.remap(coarse, np.ascontiguousarray(grid_x), np.ascontiguousarray(grid_y), cv2.INTER_LINEAR)


def _check_same_frame(photo, flat):
    if abs(np.log((flat.size[0] / flat.size[1]) / (photo.size[0] / photo.size[1]))) > 0.02:
        raise PhotoError(
            f"{flat.name} is {flat.size[0]} × {flat.size[1]} but {photo.name} is {photo.size[0]} × {photo.size[1]}; "
            "take the paper's photo with the same camera, the same way up"
        )

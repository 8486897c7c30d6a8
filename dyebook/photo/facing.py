"""The pixels of a part that face the camera as the card does, and how much of them the photo has lost."""

from dataclasses import dataclass

import numpy as np

from dyebook.photo.lean import guess_lean

__all__ = ["Facing", "facing_pixels"]

_WORKING_PIXELS = 30_000
# pixels this far from the middle line still face the camera
_FACING = 0.5
# lean, and quantile of brightness among the pixels up to it: shade darkens more of a part than lamps brighten, and what
# faces the light as the card does need not lie on the middle line. The mean of both served two renderers best
_LIT = ((0.65, 0.62), (1.0, 0.73))
_LUMINANCE, _EVEN = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32), np.full(3, 1 / 3, np.float32)
_DARKEST = 1e-4
# the rim mixes with the background
_RIM = 1.2
_FEWEST = 60
# clipped pixels have no say about hue as long as this share of the others remains
_SOUND_SHARE = 0.2


@dataclass(frozen=True)
class Facing:
    """Facing pixels of one part.

    Attributes
    ----------
    light : ndarray of shape (N, 3)
        Corrected linear light of the pixels.
    where : ndarray of bool, shape (H, W)
        Which they are.
    mask : ndarray of bool, shape (H, W)
        The whole part.
    box : tuple of int
        Part of the photo that the masks cover.
    step : int
        Pixels of the photo per pixel of the masks.
    sound : ndarray of bool, shape (N,)
        Pixels fit to tell the hue: those that are not clipped, or all if too few are left.
    clipped_share : ndarray of shape (3,)
        Share of each channel at its upper limit.
    floor_share : ndarray of shape (3,)
        Share of each channel at the bottom of the file's range.
    spread : float
        Width of the middle 70 % of log brightness.
    level : float
        Luminance of the part where it is lit as the card is.
    """

    light: np.ndarray
    where: np.ndarray
    mask: np.ndarray
    box: tuple
    step: int
    sound: np.ndarray
    clipped_share: np.ndarray
    floor_share: np.ndarray
    spread: float
    level: float

    @property
    def count(self):
        """Pixels of the photo behind the reading."""
        return len(self.light) * self.step**2


def facing_pixels(photo, light, part):
    """Return the pixels of a part that face the camera.

    Parameters
    ----------
    photo : LinearPhoto
    light : Light
    part : Part

    Returns
    -------
    Facing
    """
    box = part.box
    box, step = photo.fitted(box, np.sqrt((box[2] - box[0]) * (box[3] - box[1]) / _WORKING_PIXELS))
    pixels = light.correct(photo.crop(box, step), box, step)
    mask = part.mask(box, step)[: pixels.shape[0], : pixels.shape[1]]
    lean, depth = guess_lean(mask)
    where = _leaning_less(_FACING, lean, depth)
    clipped = photo.clipped(box, step)[where]
    floor_share = photo.floored(box, step)[where].mean(axis=0)
    sound = ~np.logical_or.reduce(clipped.T)
    if sound.sum() <= max(_FEWEST, _SOUND_SHARE * len(sound)):
        sound = np.ones(len(sound), dtype=bool)
    seen = pixels[where]
    low, high = np.quantile(np.log(np.maximum(seen @ _EVEN, _DARKEST)), (0.15, 0.85))
    spread, level = float(high - low), _lit_level(pixels @ _LUMINANCE, lean, depth)
    return Facing(seen, where, mask, box, step, sound, clipped.mean(axis=0), floor_share, spread, level)


def _leaning_less(limit, lean, depth):
    """Pixels off the rim that lean less than a limit, or the inner half where those are too few."""
    where = (lean <= limit) & (depth > _RIM)
    return where if where.sum() >= _FEWEST else depth >= 0.5 * depth.max()


def _lit_level(luminance, lean, depth):
    """Luminance of the pixels that are lit as the card is."""
    seen = [np.quantile(luminance[_leaning_less(limit, lean, depth)], share) for limit, share in _LIT]
    return float(np.exp(np.mean(np.log(np.maximum(seen, _DARKEST)))))

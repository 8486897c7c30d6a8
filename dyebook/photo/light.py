"""The light on the bench: white balance and exposure by the card, fall-off across the frame where that is safe."""

from dataclasses import dataclass, field

import numpy as np

from dyebook.errors import PhotoError

__all__ = ["Light", "fit_light"]

# a field that would change the exposure of a part by more than this is a guess about another light, not a correction
_LARGEST_STEP = 0.35


@dataclass(frozen=True)
class Light:
    """Gains and fall-off of one photo.

    Attributes
    ----------
    gains : ndarray of shape (3,)
        Factors that bring the card to its own colour.
    centre : ndarray of shape (2,)
        Where the fall-off is 1: the middle of the card, or of the frame without a card.
    slopes : ndarray of shape (2,)
        Change of log light per pixel to the right and down.
    log_sd : float
        Standard uncertainty of the exposure of a part far from the card, in log light.
    flags : tuple of str
    """

    gains: np.ndarray
    centre: np.ndarray
    slopes: np.ndarray = field(default_factory=lambda: np.zeros(2))
    log_sd: float = 0.0
    flags: tuple = ()

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
        if not self.slopes.any():
            return (pixels * self.gains).astype(np.float32)
        height, width = pixels.shape[:2]
        x = box[0] + (np.arange(width) + 0.5) * step - self.centre[0]
        y = box[1] + (np.arange(height) + 0.5) * step - self.centre[1]
        field_log = np.clip(self.slopes[0] * x[None, :] + self.slopes[1] * y[:, None], -_LARGEST_STEP, _LARGEST_STEP)
        return (pixels * self.gains * np.exp(-field_log)[..., None]).astype(np.float32)


def fit_light(photo, card, flat=None):
    """Return the light of a photo as its card shows it.

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
    return Light(card.gains, centre) if flat is None else _light_from_flat(photo, card, centre, flat)


def _light_from_flat(photo, card, centre, flat):
    if abs(np.log((flat.size[0] / flat.size[1]) / (photo.size[0] / photo.size[1]))) > 0.02:
        raise PhotoError(
            f"{flat.name} is {flat.size[0]} × {flat.size[1]} but {photo.name} is {photo.size[0]} × {photo.size[1]}; "
            "take the paper's photo with the same camera, the same way up"
        )
    small = flat.reduced(64).pixels.mean(axis=2)
    rows, columns = np.mgrid[0 : small.shape[0], 0 : small.shape[1]] + 0.5
    scale = photo.size[0] / small.shape[1]
    design = np.column_stack([np.ones(small.size), columns.ravel() * scale, rows.ravel() * scale])
    plane = np.linalg.lstsq(design, np.log(np.maximum(small.ravel(), 1e-4)), rcond=None)[0]
    return Light(card.gains, centre, plane[1:])

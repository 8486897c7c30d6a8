"""What readings share: by which keys one is known as of the same set-up or shape, and the parts of its error.

Parts of an error: `camera` is what camera and lamp do to a colour, and what a channel beyond the file's gamut hides;
`shape` the brightness read off this shape and finish; `photo` card, exposure and balance, and what overexposure cut
off; `own` the pixels, and how brightness changes from one pose to the next. `dyebook.advice.judge` says what two
readings share of each.
"""

import hashlib

import cv2
import numpy as np

from dyebook.lab import linear_rgb_to_lab

__all__ = ["error_parts", "setup_key", "shape_key"]

# -- Sizes of the parts: standard uncertainties --
# camera colour without a profile: lightness, and a*, b* at grey and per unit of chroma
_CAMERA_L, _CAMERA_GREY, _CAMERA_CHROMA = 1.5, 1.5, 0.085
# what a channel beyond the file's gamut, and one that overexposure cut off, may hide, in L*, a*, b* per share of pixels
_FLOORED, _CLIPPED = (4.0, 14.0, 9.0), (6.0, 11.0, 11.0)
# brightness of a shape against a flat piece, log light, and mirrored room that stays, as reflectance
_SHAPE_GAIN, _SHAPE_VEIL, _SHAPE_COLOUR = 0.2, 0.012, 0.3
# balance by a card, log light per channel; exposure and balance without one, and the camera's part against usual then
_BALANCE, _EXPOSURE_NO_CARD, _BALANCE_NO_CARD, _CAMERA_NO_CARD = 0.01, 0.3, 0.12, 1.5
# brightness from one pose to the next, log light, even and per spread of log light over the facing pixels; and colour
_POSE_GAIN, _POSE_GAIN_SPREAD, _POSE_COLOUR = 0.04, 0.05, 0.4

# step of light from which slopes of colour are taken
_STEP = 1e-5

# -- Keys --
# steps of elongation; below the first a form is round or square, from the third on long, and the last is open
_FIRST_STEP, _NEXT_STEP, _LONG, _LAST = 1.25, 1.5, 3, 5
# share of its rectangle that a square fills and a disc (0.785) does not; share of a form that its hole takes in a ring
_SQUARE, _RING = 0.87, 0.1
# log of red over blue on the card beyond which the camera did not balance the light: what automatic balances leave of
# a lamp's colour is less
_CAST = 0.6


def setup_key(photo, card, camera: str | None, name: str | None = None) -> str:
    """Return the key of the set-up a photo was taken with: of its name, or of camera, card and the light's leaning.

    Parameters
    ----------
    photo : LinearPhoto or HalfPhoto
    card : Card
        As the photo shows it, before a learned camera is laid over it.
    camera : str or None
        The learned camera's name.
    name : str, optional
        What the maker calls the set-up.
    """
    if name is not None:
        return _digest("named", name.casefold())
    seen = [] if card.quad is None else [*(round(value, 1) + 0.0 for value in card.lab), _cast(card)]
    return _digest(photo.camera.make, photo.camera.model, *sorted(photo.size), camera, card.kind, *seen)


def _cast(card):
    """How the card's raw colour leans: 1 red, -1 blue, 0 where the camera balanced the light."""
    lean = float(np.log(card.gains[2] / card.gains[0]))
    return int(np.sign(lean)) if abs(lean) > _CAST else 0


def _digest(*told):
    return hashlib.sha256(repr(told).encode()).hexdigest()[:12]


def shape_key(mask: np.ndarray) -> str:
    """Return the form of a part in one word and its step of elongation, the same however the part is turned."""
    rings, _ = cv2.findContours(np.pad(mask, 1).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outer = max(rings, key=cv2.contourArea)
    full = cv2.drawContours(np.zeros(np.add(mask.shape, 2), np.uint8), [outer], -1, 1, -1)
    y, x = np.nonzero(full)
    across, along = np.sqrt(np.maximum(np.linalg.eigvalsh(np.cov(x, y)), 0.1))
    step = int(np.clip(np.floor(np.log(along / across / _FIRST_STEP) / np.log(_NEXT_STEP)) + 1, 0, _LAST))
    sides = cv2.minAreaRect(outer)[1]
    if 1 - mask.sum() / full.sum() > _RING:
        form = "ring"
    elif step >= _LONG:
        form = "long"
    else:
        form = "round" if step == 0 and full.sum() < _SQUARE * (sides[0] + 1) * (sides[1] + 1) else "flat"
    return f"{form}-{step}"


def error_parts(film, facing, exposure_log_sd: float, has_card: bool, camera_u=None) -> dict:
    """Return the parts of a reading's error by name, each a covariance (3, 3) of L*, a*, b*.

    Parameters
    ----------
    film : ndarray of shape (3,)
        Its linear light.
    facing : dyebook.photo.reading.Facing
        The pixels that gave it.
    exposure_log_sd : float
        Of the light on the part against that on the card, in log light.
    has_card : bool
        Whether a card gave balance and exposure.
    camera_u : sequence of 3 floats, optional
        Standard uncertainty of a learned camera's colours per L*, a*, b*; the usual camera's if left out.
    """
    slope = _lab_slope(film)
    gain, veil, balance = slope @ film, slope.sum(axis=1), slope * film
    chroma = float(np.hypot(*linear_rgb_to_lab(film)[1:]))
    usual = _CAMERA_GREY + _CAMERA_CHROMA * chroma
    camera = np.array((_CAMERA_L, usual, usual) if camera_u is None else camera_u)
    exposure, balance_sd = exposure_log_sd, _BALANCE
    if not has_card:
        camera = camera * _CAMERA_NO_CARD
        exposure, balance_sd = np.hypot(exposure, _EXPOSURE_NO_CARD), _BALANCE_NO_CARD
    pose = _POSE_GAIN + _POSE_GAIN_SPREAD * facing.spread
    return {
        "camera": np.diag(camera**2) + np.diag(np.square(facing.floor_share.max() * np.array(_FLOORED))),
        "shape": _along(gain, _SHAPE_GAIN) + _along(veil, _SHAPE_VEIL) + _SHAPE_COLOUR**2 * np.eye(3),
        "photo": _along(gain, exposure)
        + balance_sd**2 * balance @ balance.T
        + np.diag(np.square(facing.clipped_share.max() * np.array(_CLIPPED))),
        "own": _along(gain, pose) + _POSE_COLOUR**2 * np.eye(3),
    }


def _along(vector, sd):
    return sd**2 * np.outer(vector, vector)


def _lab_slope(film):
    """Slopes of L*, a*, b* (rows) over linear light (columns) at a film."""
    steps = _STEP * np.eye(3)
    return ((linear_rgb_to_lab(film + steps) - linear_rgb_to_lab(film - steps)) / (2 * _STEP)).T

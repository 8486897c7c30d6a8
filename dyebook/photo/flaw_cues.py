"""What tells a flaw from texture: cues of a place on a part."""

import cv2
import numpy as np

from dyebook.lab import delta_e_00, linear_rgb_to_lab
from dyebook.photo.flaw_places import depth_direction
from dyebook.photo.flaw_view import DARK

__all__ = ["CUES", "change_delta_e", "place_cues"]

CUES = (
    "height_mean",
    "height_top",
    "height_others",
    "area_share",
    "area_px",
    "long_to_wide",
    "turn_to_part",
    "wide_to_part",
    "lean",
    "open_rim",
    "end",
    "delta_e",
    "ring_distance",
    "ring_spread",
    "like_dye",
    "like_shade",
    "like_mirror",
    "filled",
    "paler",
    "softness",
    "round",
    "aspect",
    "narrow_px",
    "sigma",
    "plain",
    "level",
    "rivals",
    "film_L",
    "film_chroma",
    "noise",
    "long_to_part",
)


def change_delta_e(film, change):
    """Return CIEDE2000 between a film and the same film with its log light changed.

    Parameters
    ----------
    film : ndarray of shape (3,)
    change : ndarray of shape (..., 3)
        In log light, as `flaw_view` takes it.

    Returns
    -------
    float or ndarray
    """
    other = np.maximum((film + DARK) * np.exp(np.clip(change, -4, 4)) - DARK, 0)
    return delta_e_00(linear_rgb_to_lab(np.broadcast_to(film, np.shape(other))), linear_rgb_to_lab(other))


def place_cues(place, view, film, facts):
    """Return the cues (len(CUES),) of a place, in their order, and its change of log light against its ring."""
    window, inside, ring, rim = _surroundings(place, view)
    rest, height = place.field.rest[window], place.field.height[window]
    sign = np.sign(height[inside].mean()) or 1.0
    within = rest[inside].mean(axis=0)
    around = rest[ring] if ring.sum() >= 8 else np.zeros((1, 3))
    change = within - around.mean(axis=0)
    spread = np.cov(around.T) + 1e-5 * np.eye(3) if len(around) > 8 else np.linalg.inv(place.field.inverse)
    wide, long_, turn, filled = _shape(inside)
    strength = np.linalg.norm(change) + 1e-6
    centre = tuple(int(v) for v in np.argwhere(inside).mean(axis=0))
    mirror = 1 / np.clip(film, 0.02, None)
    others = facts["tops"][id(place.field)]
    return np.array(
        [
            sign * height[inside].mean(),
            (sign * height[inside]).max(),
            sign * height[inside].mean() / others,
            np.log(inside.sum() / facts["area"]),
            np.log(inside.sum()),
            long_ / wide,
            abs(np.cos(turn)),
            wide / facts["narrow"],
            float(np.nanmean(view.lean[window][inside])),
            rim,
            abs(float(view.along[window][centre])),
            float(change_delta_e(film, change)),
            np.sqrt(max(change @ np.linalg.solve(spread, change), 0)),
            float(np.sqrt(np.trace(spread))),
            change @ depth_direction(film) / strength,
            change.sum() / (np.sqrt(3) * strength),
            change @ mirror / (np.linalg.norm(mirror) * strength),
            filled,
            sign,
            _softness(sign * height, inside),
            float(view.is_round),
            facts["aspect"],
            facts["narrow"],
            place.field.sigma,
            float(place.field.plain),
            place.level,
            place.rivals,
            facts["L"],
            facts["chroma"],
            float(np.sqrt(np.trace(np.linalg.inv(place.field.inverse)))),
            long_ / facts["long"],
        ]
    ), change


def part_facts(view, film, fields):
    """Return what the cues need to know about the part as a whole."""
    lab = linear_rgb_to_lab(film)
    rows, columns = view.mask.any(axis=1).sum(), view.mask.any(axis=0).sum()
    tops = {id(field): max(float(np.quantile(np.abs(field.height[view.inner]), 0.97)), 0.5) for field in fields}
    return {
        "area": view.mask.sum(),
        "narrow": float(min(rows, columns)),
        "long": float(max(rows, columns)),
        "aspect": float(min(rows, columns) / max(rows, columns)),
        "L": float(lab[0]),
        "chroma": float(np.hypot(lab[1], lab[2])),
        "tops": tops,
    }


def _surroundings(place, view):
    """Window around a place; within it the place, the ring beside it, and how much of its rim is the part's."""
    (x, y), (h, w) = place.corner, place.pixels.shape
    pad = int(3 + place.field.sigma + 0.3 * np.sqrt(place.pixels.sum()))
    top, left = max(0, y - pad), max(0, x - pad)
    bottom, right = min(view.mask.shape[0], y + h + pad), min(view.mask.shape[1], x + w + pad)
    window = (slice(top, bottom), slice(left, right))
    inside = np.zeros((bottom - top, right - left), np.uint8)
    inside[y - top : y - top + h, x - left : x - left + w] = place.pixels
    gap = int(1 + place.field.sigma / 2)
    near = cv2.dilate(inside, np.ones((2 * gap + 1,) * 2, np.uint8))
    far = cv2.dilate(inside, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * pad + 1,) * 2))
    inner = view.inner[window]
    rim = cv2.dilate(inside, np.ones((3, 3), np.uint8)) & ~inside & 1
    open_rim = float((rim.astype(bool) & ~inner).sum() / max(rim.sum(), 1))
    return window, inside.astype(bool), (far & ~near & 1).astype(bool) & inner, open_rim


def _shape(inside):
    """Width, length, turn of the long axis, and the share of the ellipse of equal moments that is filled."""
    y, x = np.nonzero(inside)
    spread = np.cov(np.stack([x, y])) + np.eye(2) / 12
    small, large = np.sqrt(np.maximum(np.linalg.eigvalsh(spread), 1e-3))
    turn = 0.5 * np.arctan2(2 * spread[0, 1], spread[0, 0] - spread[1, 1])
    return 4 * small, 4 * large, turn, len(x) / (np.pi * 4 * small * large)


def _softness(height, inside):
    """How much lower a place is at its own rim than in its middle, 0 sharp .. 1 soft."""
    core = cv2.erode(inside.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    if not core.any() or core.all():
        return 0.5
    return float(1 - height[inside & ~core].mean() / max(height[core].mean(), 1e-3))

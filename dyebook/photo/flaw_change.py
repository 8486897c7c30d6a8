"""Changes of a film's light: how large they are, and whether they are of dye, of shade, of mirror light or a hole."""

import numpy as np

from dyebook.lab import delta_e_00, linear_rgb_to_lab
from dyebook.photo.flaw_places import depth_direction
from dyebook.photo.flaw_shading import CHROMA
from dyebook.photo.flaw_view import DARK

__all__ = ["change_cues", "change_delta_e"]

_TINY = 1e-6
_HUE_NOISE = 0.02
# light of bare metal
_METAL = 0.85


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
    return delta_e_00(linear_rgb_to_lab(film), linear_rgb_to_lab(other))


def change_cues(change, seen, view, film):
    """Return cues of what places on a part differ in, each of shape (N,).

    Parameters
    ----------
    change : ndarray of shape (N, 3)
        Of log light, against the ring around each place.
    seen : Gathered
    view : PartView
    film : ndarray of shape (3,)

    Returns
    -------
    dict of ndarray
    """
    return {
        **_likenesses(change, film),
        **_differences(change, film),
        **_through(seen, view),
        **_added(seen, change),
    }


def _likenesses(change, film):
    """Cosines of changes of log light with that of less dye, also in hue alone, of more light, of mirror light.

    A deeper place is turned about: what would make it of the part's own shade is judged.
    """
    paler = depth_direction(film)
    sign = np.where(change @ paler < 0, -1.0, 1.0)
    change = change * sign[:, None]
    return {
        "paler": sign,
        "like_dye": _alike(change, paler),
        "hue_like_dye": _alike(change @ CHROMA.T, CHROMA @ paler),
        "like_shade": _alike(change, np.ones(3)),
        "like_mirror": _alike(change, 1 / np.clip(film, 0.02, None)),
    }


def _differences(change, film):
    """CIEDE2000 of changes, and of what is left of them at the same brightness."""
    hue = change - change.mean(axis=1, keepdims=True)
    both = change_delta_e(film, np.stack([change, hue]))
    return {"delta_e": both[0], "delta_chroma": both[1]}


def _through(seen, view):
    """Brightness against the part's, and how near the light is to that of the ground that a hole would show."""
    light, own = seen.means["light"], np.median(view.log_light[view.inner][::5], axis=0)
    hue_of_ground, hue_of_part = (np.linalg.norm((light - other) @ CHROMA.T, axis=1) for other in (view.ground, own))
    return {
        "bright": (light - own).mean(axis=1),
        "ground": np.linalg.norm(light - view.ground, axis=1),
        "ground_hue": hue_of_ground / (hue_of_ground + hue_of_part + _HUE_NOISE),
    }


def _added(seen, change):
    """Cosines of what is added in linear light with white, which mirror light is, and with what thinner film adds."""
    within = np.exp(seen.means["light"])
    around = np.exp(seen.means["light"] - change)
    added = (within - around) * np.where(change.sum(axis=1) < 0, -1.0, 1.0)[:, None]
    missing = np.maximum(_METAL - np.minimum(within, around), 0.02)
    return {
        "adds_white": _alike(added, np.ones(3)),
        "adds_metal": (added * missing).sum(axis=1)
        / (np.linalg.norm(added, axis=1) * np.linalg.norm(missing, axis=1) + _TINY),
    }


def _alike(changes, way):
    """Cosine of changes (N, C) with a direction (C,)."""
    return changes @ way / (np.linalg.norm(changes, axis=1) * np.linalg.norm(way) + _TINY)

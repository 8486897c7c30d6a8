"""How far a reading can be trusted: standard uncertainty of L*, a*, b*, and the doubts in words."""

import numpy as np

__all__ = ["flags_of", "level_log_sd", "uncertainty_of"]

# Figures below are fitted to the errors on rendered scenes of two renderers with 51 cameras.
# camera colour without a profile: lightness, and a*, b* at grey and per unit of chroma
_CAMERA_L, _CAMERA_GREY, _CAMERA_CHROMA = 1.5, 1.5, 0.085
# how well the facing pixels tell the film's brightness: even ones, and more doubt the more they scatter, log light
_LEVEL_SD, _LEVEL_SD_SPREAD, _LEVEL_SD_MOST = 0.08, 0.14, 0.6
# mirrored room light that stays on every shiny part, as reflectance
_VEIL = 0.012
# what a channel at the end of its range may hide, in a* and b* per share of pixels
_CLIPPED_U, _FLOOR_U = np.array([6.0, 11.0, 11.0]), np.array([4.0, 14.0, 9.0])

_CLIPPED, _FLOORED, _GLARE, _FEW = 0.1, 0.2, 1.2, 150
_DARK = 0.004


def level_log_sd(spread):
    """Return how well facing pixels of some spread of log brightness tell the film's brightness, in log light."""
    return min(_LEVEL_SD + _LEVEL_SD_SPREAD * spread, _LEVEL_SD_MOST)


def uncertainty_of(lab, film, facing, exposure_log_sd, camera_u=None):
    """Return the standard uncertainty of L*, a*, b* as a tuple.

    Parameters
    ----------
    lab : ndarray of shape (3,)
        The reading.
    film : ndarray of shape (3,)
        Its linear light.
    facing : Facing
    exposure_log_sd : float
        Of the light on the part against that on the card, in log light.
    camera_u : sequence of 3 floats, optional
        Standard uncertainty of a learned camera's colours per L*, a*, b*; the usual camera's if left out.
    """
    luminance = max(float(film @ (0.2126, 0.7152, 0.0722)), 1e-3)
    share = np.hypot(np.hypot(level_log_sd(facing.spread), exposure_log_sd), _VEIL / luminance)
    lightness = _lightness_slope(luminance) * share * luminance
    colour = np.abs(lab[1:]) / 3 * min(share, 1.0)
    chroma = float(np.hypot(lab[1], lab[2]))
    usual = _CAMERA_GREY + _CAMERA_CHROMA * chroma
    camera = np.array((_CAMERA_L, usual, usual) if camera_u is None else camera_u)
    lost = np.hypot(facing.clipped_share.max() * _CLIPPED_U, facing.floor_share.max() * _FLOOR_U)
    total = np.hypot(camera, np.array([lightness, *colour]))
    return tuple(float(u) for u in np.hypot(total, lost))


def flags_of(facing):
    """Return the doubts about a reading that its pixels raise, as a list of names."""
    level = float(np.median(facing.light))
    doubts = {
        "clipped": facing.clipped_share.max() > _CLIPPED,
        "out_of_gamut": facing.floor_share.max() > _FLOORED and level > _DARK,
        "dark": level <= _DARK,
        "glare": facing.spread > _GLARE,
        "small": facing.count < _FEW,
    }
    return [name for name, raised in doubts.items() if raised]


def _lightness_slope(luminance):
    """dL*/dY, ISO/CIE 11664-4, capped where the straight part begins."""
    return 116 / 3 * max(luminance, 0.008856) ** (-2 / 3)

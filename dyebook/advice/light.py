"""How a shade moves from daylight to lamp light, and when a match by numbers alone is not to be trusted."""

import numpy as np

from dyebook.lab import delta_e_00
from dyebook.model.draws import mode_colours

__all__ = ["LAMPS", "lamp_shifts", "sample_caution"]

LAMPS = ("a", "led")
_OTHER_SURFACES = ("plastic", "paper", "cloth", "paint")


def lamp_shifts(model, settings):
    """Return how far the colour of dips moves from D65 to lamp light, each seen against that light's own white.

    Parameters
    ----------
    model : BathModel
    settings : Settings of n dips

    Returns
    -------
    dict of ndarray, shape (n,)
        CIEDE2000 for CIE illuminant A (``"a"``) and LED-B3 (``"led"``).

    Notes
    -----
    The spectrum behind it is inferred from colours under one light, so this is a guide to where to look, not a
    measurement.
    """
    shape = model.shape_of(settings)
    day = mode_colours(model.draws, shape)
    return {lamp: np.asarray(delta_e_00(day, mode_colours(model.draws, shape, lamp))).mean(axis=0) for lamp in LAMPS}


def sample_caution(kind):
    """Return a caution when a sample is not dyed metal, or empty text.

    Parameters
    ----------
    kind : str or None
        Such as ``"metal"``, ``"plastic"``, ``"paper"``, ``"cloth"``.
    """
    if kind is None or kind.lower() not in _OTHER_SURFACES:
        return ""
    return (
        f"The sample is {kind}: it scatters light otherwise than dyed metal and has another spectrum, so equal numbers "
        "under daylight may differ to the eye and under lamps. Compare a dyed coupon with it in both lights."
    )

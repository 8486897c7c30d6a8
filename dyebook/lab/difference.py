"""Differences between two colours, always (target, sample)."""

import numpy as np

__all__ = [
    "delta_e_00",
    "delta_e_76",
    "delta_e_94",
    "delta_e_cmc",
]


def delta_e_00(target, sample):
    """Return the CIEDE2000 difference of two colours; arrays (..., 3) broadcast to (...).

    References
    ----------
    Sharma, Wu & Dalal, Color Res. Appl. 30 (2005) 21; ISO/CIE 11664-6.
    """
    from skimage.color import deltaE_ciede2000

    target, sample = np.broadcast_arrays(np.asarray(target, dtype=float), np.asarray(sample, dtype=float))
    return deltaE_ciede2000(target, sample, channel_axis=-1)


def delta_e_76(target, sample):
    """Return the CIE 1976 difference, the straight distance in Lab; arrays (..., 3) broadcast to (...)."""
    return np.linalg.norm(np.asarray(target, dtype=float) - np.asarray(sample, dtype=float), axis=-1)


def delta_e_94(target, sample):
    """Return the CIE 1994 difference for graphic arts weights; arrays (..., 3) broadcast to (...)."""
    import colour

    return colour.delta_E(target, sample, method="CIE 1994")


def delta_e_cmc(target, sample, lightness=2.0, chroma=1.0):
    """Return the CMC(l:c) difference; not symmetric, the target is the standard.

    Parameters
    ----------
    target, sample : array_like, shape (..., 3)
        The standard first.
    lightness, chroma : float
        The weights l and c; 2:1 for acceptability, 1:1 for perceptibility.

    Returns
    -------
    ndarray or float
    """
    import colour

    return colour.delta_E(target, sample, method="CMC", l=lightness, c=chroma)

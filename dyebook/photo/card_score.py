"""How likely a patch is the card: log odds from its traits."""

from dyebook.photo.card_traits import TRAITS

__all__ = ["card_score"]

# fitted by `python -m tests.bench.card_fit`: logistic regression over the patches of scenes of both renderers
_OFFSET = -5.84
_WEIGHTS = {
    "support": 0.939,
    "support_least": 2.047,
    "scatter": -0.276,
    "ridge": -33.342,
    "texture": 0.186,
    "coarse": -1.116,
    "clumps": -0.601,
    "streak": -0.892,
    "slope": -1.257,
    "odd": -0.391,
    "corners": 0.000,
    "lip": -2.182,
    "warm": -2.099,
    "green": -6.168,
    "cast": -3.577,
    "tinted": -3.783,
    "rim_cast": -1.139,
    "level": 1.614,
    "white": -7.782,
    "glow": -2.446,
    "gloom": -1.496,
    "long": -8.498,
    "skew": -3.738,
    "small": -3.238,
    "large": -12.901,
    "frame": 0.983,
    "rim_even": -0.338,
    "step": 0.377,
    "cut": -2.959,
}


def card_score(traits):
    """Return the log odds that a patch with these traits is the card.

    Parameters
    ----------
    traits : ndarray of float, shape (len(TRAITS),)

    Returns
    -------
    float
    """
    return _OFFSET + sum(_WEIGHTS.get(name, 0.0) * float(value) for name, value in zip(TRAITS, traits, strict=True))

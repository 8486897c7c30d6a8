"""How likely a patch is the card: log odds from its traits."""

from dyebook.photo.card_traits import TRAITS

__all__ = ["card_score"]

# fitted by `python -m tests.bench.card_fit`: logistic regression over patches of both renderers and of composites
_OFFSET = 1.828
_WEIGHTS = {
    "support": 3.348,
    "support_least": 0.000,
    "scatter": -0.325,
    "ridge": -310.884,
    "texture": -1.011,
    "rough": -3.491,
    "clumps": 0.000,
    "streak": -1.242,
    "slope": -1.445,
    "odd": 0.000,
    "holed": -1.500,
    "lip": -2.000,
    "warm": -4.834,
    "green": -7.225,
    "cast": -4.433,
    "tinted": -4.727,
    "rim_cast": 0.000,
    "level": 0.929,
    "dark": -5.647,
    "white": -13.416,
    "glow": -0.734,
    "gloom": -0.456,
    "long": -6.518,
    "skew": -4.378,
    "small": -3.000,
    "large": -4.000,
    "frame": 0.434,
    "alike": -2.596,
    "rim_even": 0.000,
    "cut": -1.455,
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

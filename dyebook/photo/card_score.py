"""How likely a patch is the card: log odds from its traits."""

from dyebook.photo.card_traits import TRAITS

__all__ = ["card_score"]

# fitted by `python -m tests.bench.card_fit`: logistic regression over patches of both renderers and of composites
_OFFSET = -1.289
_WEIGHTS = {
    "support": 1.297,
    "support_least": 3.475,
    "scatter": -0.280,
    "ridge": -24.260,
    "texture": -0.808,
    "rough": -2.032,
    "clumps": 0.000,
    "streak": -1.258,
    "slope": -1.253,
    "odd": 0.000,
    "holed": -1.500,
    "lip": -2.000,
    "warm": -2.915,
    "green": -3.416,
    "cast": -2.030,
    "tinted": -12.000,
    "rim_cast": -1.302,
    "level": 0.173,
    "dark": -8.000,
    "white": -9.121,
    "glow": -0.923,
    "gloom": -2.000,
    "long": -6.477,
    "skew": -2.414,
    "small": -3.000,
    "large": -4.000,
    "frame": 0.514,
    "alike": -5.734,
    "rim_even": -0.082,
    "cut": -2.601,
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

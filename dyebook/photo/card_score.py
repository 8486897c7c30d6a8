"""How likely a patch is the card: log odds from its traits."""

from dyebook.photo.card_traits import TRAITS

__all__ = ["card_score"]

# fitted by `python -m tests.bench.card_fit`: logistic regression over patches of both renderers and of composites
_OFFSET = 2.034
_WEIGHTS = {
    "support": 3.804,
    "support_least": 0.000,
    "scatter": -0.341,
    "ridge": -350.340,
    "texture": -1.077,
    "rough": -4.240,
    "clumps": 0.000,
    "streak": -1.412,
    "slope": -2.576,
    "odd": 0.000,
    "holed": -1.500,
    "lip": 0.000,
    "warm": -5.020,
    "green": -8.593,
    "cast": -5.219,
    "tinted": -5.793,
    "rim_cast": 0.000,
    "level": 1.058,
    "dark": -7.255,
    "white": -15.595,
    "glow": -0.580,
    "gloom": -0.313,
    "long": -8.019,
    "skew": -5.214,
    "small": -4.135,
    "large": -13.403,
    "frame": 0.376,
    "alike": -2.033,
    "rim_even": 0.000,
    "cut": -1.460,
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

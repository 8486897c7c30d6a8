"""How likely a patch is the card: log odds from its traits."""

from dyebook.photo.card_traits import TRAITS

__all__ = ["card_score"]

# fitted by `python -m tests.bench.card_fit`: logistic regression over the patches of scenes of both renderers
_OFFSET = -12.838
_WEIGHTS = {
    "support": 5.293,
    "support_least": 2.092,
    "scatter": -0.099,
    "ridge": -138.108,
    "texture": -0.279,
    "coarse": -1.563,
    "clumps": -0.356,
    "streak": -1.434,
    "slope": -2.699,
    "odd": -0.414,
    "corners": 0.000,
    "lip": -0.386,
    "warm": -4.893,
    "green": -5.217,
    "cast": -4.056,
    "tinted": -3.889,
    "rim_cast": -5.557,
    "level": 0.754,
    "white": -9.397,
    "glow": -3.319,
    "gloom": -0.895,
    "long": -6.309,
    "skew": -4.809,
    "small": -2.702,
    "large": -11.744,
    "frame": 0.765,
    "rim_even": -0.478,
    "step": 0.000,
    "cut": -3.228,
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

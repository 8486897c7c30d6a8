"""How likely a patch is the card: log odds from its traits."""

from dyebook.photo.card_traits import TRAITS

__all__ = ["card_score"]

# logistic regression over the patches of rendered scenes
_OFFSET = 6.392
_WEIGHTS = {
    "support": 4.308,
    "support_least": -4.659,
    "scatter": -0.470,
    "texture": -0.810,
    "coarse": -1.103,
    "brushed": -2.272,
    "slope": 2.671,
    "chroma": -0.228,
    "chroma_scene": -0.515,
    "level": 0.671,
    "aspect": -3.202,
    "skew": -2.531,
    "share": 2.752,
    "odd_pixels": -116.052,
    "corners": 0.217,
    "lip": -2.424,
    "rim_white": 0.130,
    "rim_black": -0.434,
    "rim_even": 0.270,
    "step": 0.517,
    "step_spread": -2.680,
    "cut": -4.452,
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
    return _OFFSET + sum(_WEIGHTS[name] * float(value) for name, value in zip(TRAITS, traits, strict=True))

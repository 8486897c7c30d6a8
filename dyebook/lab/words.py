"""Colours and their differences in everyday words."""

import numpy as np

from dyebook.lab.space import lab_to_lch

__all__ = [
    "describe_colour",
    "describe_difference",
]


def describe_difference(target, sample, notice=0.5):
    """Return in words how a sample differs from its target, such as "lighter and redder".

    Parameters
    ----------
    target, sample : array_like, shape (3,)
        L*, a*, b*.
    notice : float
        Differences of L*, a* or b* smaller than this are not mentioned.

    Returns
    -------
    str
        "the same" where nothing reaches `notice`.
    """
    names = (("lighter", "darker"), ("redder", "greener"), ("yellower", "bluer"))
    delta = np.asarray(sample, dtype=float) - np.asarray(target, dtype=float)
    words = []
    for step, (more, less) in zip(delta, names, strict=True):
        if abs(step) >= notice:
            degree = "a little " if abs(step) < 2 else "much " if abs(step) > 8 else ""
            words.append(degree + (more if step > 0 else less))
    if not words:
        return "the same"
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]


# hue angles in Lab at which one everyday word gives way to the next; common practice, no source
_HUES = (
    (18, "rose red"),
    (42, "red"),
    (68, "orange"),
    (84, "amber"),
    (104, "yellow"),
    (122, "yellow green"),
    (172, "green"),
    (228, "turquoise"),
    (309, "blue"),
    (328, "violet"),
    (352, "magenta"),
    (361, "rose red"),
)


def describe_colour(lab):
    """Return a colour in everyday words, such as "dark, strong blue".

    Parameters
    ----------
    lab : array_like, shape (3,)
        L*, a*, b*.

    Returns
    -------
    str

    Notes
    -----
    Words for people who cannot see, or cannot trust, the patch beside them; not a system of colour names.
    """
    lightness, chroma, hue = (float(value) for value in lab_to_lch(lab))
    if chroma < 6:
        greys = ((18, "black"), (38, "dark grey"), (62, "grey"), (88, "light grey"), (1000, "white"))
        return next(word for limit, word in greys if lightness < limit)
    name = next(word for limit, word in _HUES if hue < limit)
    if name in ("orange", "amber") and lightness < 45 and chroma < 45:
        name = "brown"
    strength = "greyish " if chroma < 18 else "strong " if chroma > 55 else ""
    depth = "very dark, " if lightness < 18 else "dark, " if lightness < 38 else "pale, " if lightness > 78 else ""
    return (depth + strength + name) if strength else depth.replace(",", "") + name

"""Colours as people name them: everyday words for a Lab value, and the Lab value of a Munsell notation."""

import re

import numpy as np

from dyebook.errors import RecordError
from dyebook.lab.space import Lab, adapt_lab, lab_to_lch

__all__ = ["describe_colour", "describe_difference", "looks_like_munsell", "munsell_to_lab"]


def describe_difference(target, sample, notice: float = 0.5) -> str:
    """Return in words how a sample differs from its target, such as "lighter and redder".

    It is "the same" where nothing reaches `notice`. `target`, `sample` (3,): L*, a*, b*. `notice`: differences of L*,
    a* or b* smaller than this are not mentioned.
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


def describe_colour(lab) -> str:
    """Return a colour in everyday words, such as "dark, strong blue".

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


_NUMBER = r"\d+(?:\.\d+)?"
_NEUTRAL = re.compile(rf"N\s*({_NUMBER})\s*/?", re.IGNORECASE)
_CHROMATIC = re.compile(rf"({_NUMBER})\s*(YR|GY|BG|PB|RP|R|Y|G|B|P)\s*({_NUMBER})\s*/\s*({_NUMBER})", re.IGNORECASE)


def looks_like_munsell(text):
    """Whether `text` is written as a Munsell notation, such as "5PB 4/8" or "N 5"."""
    return bool(_NEUTRAL.fullmatch(text.strip()) or _CHROMATIC.fullmatch(text.strip()))


def munsell_to_lab(text: str) -> Lab:
    """Return the D65, 2-degree Lab of a Munsell notation.

    `text`: hue, value and chroma, ``"5PB 4/8"``, ``"7.5 YR 5.5/6"``; a neutral as ``"N5"``.

    Notes
    -----
    The renotation, which colour-science holds, is stated under CIE illuminant C; Bradford adaptation brings it to D65.

    References
    ----------
    ASTM D1535; Newhall, Nickerson & Judd, J. Opt. Soc. Am. 33 (1943) 385.
    """
    import colour

    notation = _plain(text)
    try:
        xy_luminance = colour.notation.munsell_colour_to_xyY(notation)
    except (AssertionError, ValueError):
        raise RecordError(
            f"{text.strip()!r} is outside the Munsell tables; hue 0 to 10, value 1 to 9 and a chroma that such a "
            "surface can have are needed, such as 5PB 4/8"
        ) from None
    xyz = colour.xyY_to_XYZ(xy_luminance)
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["C"]
    return Lab(*map(float, adapt_lab(colour.XYZ_to_Lab(xyz, white), "C")))


def _plain(text):
    """The notation as colour-science reads it."""
    if neutral := _NEUTRAL.fullmatch(text.strip()):
        return f"N{float(neutral[1])}"
    if parts := _CHROMATIC.fullmatch(text.strip()):
        hue, family, value, chroma = parts.groups()
        if float(chroma) == 0:
            return f"N{float(value)}"
        return f"{float(hue)}{family.upper()} {float(value)}/{float(chroma)}"
    raise RecordError(f"{text!r} is no Munsell notation; write hue, value/chroma such as 5PB 4/8, or N5 for a grey")

"""Munsell notations as colours; colour-science holds the renotation and loads when one is first asked for."""

import re

from dyebook.errors import RecordError
from dyebook.lab import Lab, adapt_lab

__all__ = ["looks_like_munsell", "munsell_to_lab"]

_NUMBER = r"\d+(?:\.\d+)?"
_NEUTRAL = re.compile(rf"N\s*({_NUMBER})\s*/?", re.IGNORECASE)
_CHROMATIC = re.compile(rf"({_NUMBER})\s*(YR|GY|BG|PB|RP|R|Y|G|B|P)\s*({_NUMBER})\s*/\s*({_NUMBER})", re.IGNORECASE)


def looks_like_munsell(text):
    """Whether `text` is written as a Munsell notation, such as "5PB 4/8" or "N 5"."""
    return bool(_NEUTRAL.fullmatch(text.strip()) or _CHROMATIC.fullmatch(text.strip()))


def munsell_to_lab(text):
    """Return the D65, 2-degree Lab of a Munsell notation.

    Parameters
    ----------
    text : str
        Hue, value and chroma, ``"5PB 4/8"``, ``"7.5 YR 5.5/6"``; a neutral as ``"N5"``.

    Returns
    -------
    Lab

    Raises
    ------
    RecordError
        If it is no notation, or lies outside the renotation's tables.

    Notes
    -----
    The renotation is stated under CIE illuminant C; Bradford adaptation brings it to D65.

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

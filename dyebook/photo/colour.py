"""Which colour space a photo's codes are in: its profile, its tags, or the assumption of sRGB."""

import io
from functools import cache

import numpy as np

from dyebook.photo.exif import declared_colour
from dyebook.photo.icc import matrix_profile
from dyebook.photo.profile import (
    ADOBE_RGB,
    DISPLAY_P3,
    REC2020_WIDE,
    SRGB,
    Encoding,
    ProfileError,
    encoding_from_primaries,
    read_profile,
)

__all__ = ["EngineError", "convert_by_engine", "encoding_of"]

UNTAGGED = "no colour profile in the file; taken as sRGB"

# Rec. ITU-T H.273: colour primaries (1 Rec. 709, 9 Rec. 2020, 12 P3 with D65)
_H273_PRIMARIES = {1: SRGB, 9: REC2020_WIDE, 12: DISPLAY_P3}
# transfer characteristics that cameras write for ordinary photos; all are read with the sRGB curve, as viewers do
_H273_ORDINARY = {1, 2, 6, 13, 14, 15}
_H273_HDR = {16: "PQ", 18: "HLG"}


class EngineError(ValueError):
    """A profile the colour engine cannot use."""


def encoding_of(info, exif, grey=False):
    """Return how a file's codes become light, as far as tables and tags tell.

    Parameters
    ----------
    info : dict
        Pillow's metadata: `icc_profile`, `nclx_profile`, `srgb`, `gamma`, `chromaticity`.
    exif : PIL.Image.Exif
        The file's EXIF block.
    grey : bool
        Whether the file holds one channel; only then does a profile for grey fit it.

    Returns
    -------
    encoding : Encoding or None
        None where only a colour engine can use the profile.
    notes : tuple of str
        What had to be assumed.

    Raises
    ------
    EngineError
        For brightness curves that are not of a photo (PQ, HLG).
    """
    profile = info.get("icc_profile")
    if profile:
        try:
            return read_profile(profile, grey), ()
        except ProfileError as fault:
            return SRGB, (f"the colour profile is damaged ({fault}); taken as sRGB",)
    if "nclx_profile" in info:
        return _encoding_of_nclx(info["nclx_profile"])
    if "srgb" in info:
        return SRGB, ()
    if "gamma" in info:
        return _encoding_of_png(info)
    declared = declared_colour(exif)
    if declared == "Adobe RGB":
        return ADOBE_RGB, ("no colour profile in the file; Adobe RGB by the camera's mark",)
    return SRGB, () if declared == "sRGB" else (UNTAGGED,)


def _encoding_of_nclx(nclx):
    """Return the encoding that the code points of a HEIC file name."""
    transfer = nclx.get("transfer_characteristics")
    if transfer in _H273_HDR:
        raise EngineError(f"high dynamic range ({_H273_HDR[transfer]})")
    primaries = nclx.get("color_primaries")
    encoding = _H273_PRIMARIES.get(primaries)
    if encoding is None or transfer not in _H273_ORDINARY:
        return SRGB, (UNTAGGED,)
    return encoding, ()


def _encoding_of_png(info):
    """Return the encoding of a PNG that gives its gamma and perhaps its primaries."""
    gamma = info["gamma"]
    if not 0.2 <= gamma <= 1.2:
        return SRGB, (f"the file's gamma of {gamma:g} is impossible; taken as sRGB",)
    # 1/2.2 is how sRGB files are marked for readers that know no sRGB
    curve = SRGB.curves[0] if abs(gamma - 0.45455) < 0.01 else lambda code: np.asarray(code, dtype=float) ** (1 / gamma)
    chromaticity = info.get("chromaticity")
    if not chromaticity:
        return Encoding(f"gamma {gamma:g}", (curve,)), ()
    white, *primaries = (tuple(chromaticity[at : at + 2]) for at in range(0, 8, 2))
    try:
        return encoding_from_primaries("primaries of the file", primaries, white, curve), ()
    except (ProfileError, ArithmeticError, np.linalg.LinAlgError):
        return SRGB, ("the file's primaries are impossible; taken as sRGB",)


def convert_by_engine(image, profile):
    """Return an image converted through LittleCMS to a wide space.

    Parameters
    ----------
    image : PIL.Image.Image
        Mode "RGB", "L" or "CMYK".
    profile : bytes
        Its ICC profile.

    Returns
    -------
    codes : ndarray of uint8, shape (H, W, 3)
        In Rec. 2020 primaries with the sRGB curve.
    encoding : Encoding
        Of those codes.

    Raises
    ------
    EngineError
        If the engine refuses the profile, or it does not fit the image.
    """
    from PIL import ImageCms

    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        wide = ImageCms.ImageCmsProfile(io.BytesIO(_wide_profile()))
        turned = ImageCms.profileToProfile(
            image, source, wide, renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC, outputMode="RGB"
        )
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError, SyntaxError) as fault:
        raise EngineError(f"the colour engine cannot use the profile ({fault})") from fault
    return np.asarray(turned), REC2020_WIDE


@cache
def _wide_profile():
    """Return the ICC profile of the wide space, built once."""
    return matrix_profile(REC2020_WIDE)

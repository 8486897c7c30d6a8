"""CIELAB under D65 and the 2-degree observer: from and to light, codes, spectra, other whites; and differences.

Differences take their colours as (target, sample).
"""

from functools import cache
from typing import NamedTuple

import numpy as np

__all__ = [
    "LUMINANCE", "WHITE_D65", "Lab", "adapt_lab", "decode_srgb", "delta_e_00", "delta_e_76", "delta_e_94",
    "delta_e_cmc", "encode_srgb", "lab_to_lch", "lab_to_linear_rgb", "lab_to_srgb8", "lab_to_xyz", "linear_rgb_to_lab",
    "reflectance_to_lab", "srgb8_to_lab", "xyz_to_lab",
]  # fmt: skip

# skimage's D65 is the rounded (0.95047, 1, 1.08883); taking it here too keeps both directions exact inverses
WHITE_D65 = np.array([0.95047, 1.0, 1.08883])
# luminance of linear light with Rec. 709 primaries (ITU-R BT.709), 1 for perfect white
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])


class Lab(NamedTuple):
    """A CIE 1976 L*, a*, b* colour under D65, 2-degree observer."""

    L: float
    a: float
    b: float


@cache
def _rgb_to_xyz():
    """Rec. 709 primaries to XYZ, scaled so that (1, 1, 1) is exactly the white above."""
    from skimage.color.colorconv import xyz_from_rgb

    return xyz_from_rgb * (WHITE_D65 / xyz_from_rgb.sum(axis=1))[:, None]


@cache
def _xyz_to_rgb():
    return np.linalg.inv(_rgb_to_xyz())


def xyz_to_lab(xyz) -> np.ndarray:
    """Return L*, a*, b* of tristimulus values.

    `xyz` (..., 3): CIE XYZ under D65, Y = 1 for perfect white.

    References
    ----------
    ISO/CIE 11664-4:2019.
    """
    from skimage.color import xyz2lab

    xyz = np.asarray(xyz, dtype=float)
    return xyz2lab(xyz.reshape(-1, 1, 3)).reshape(xyz.shape)


def lab_to_xyz(lab):
    """Return tristimulus values (Y = 1 for perfect white, D65) of L*, a*, b*; shape (..., 3) in and out."""
    lab = np.asarray(lab, dtype=float)
    fy = (lab[..., 0] + 16) / 116
    f = np.stack([fy + lab[..., 1] / 500, fy, fy - lab[..., 2] / 200], axis=-1)
    # not skimage's lab2xyz: it clips negative Z with a warning, and wide-gamut colours need it
    return np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29)) * WHITE_D65


def linear_rgb_to_lab(rgb) -> np.ndarray:
    """Return L*, a*, b* of linear light.

    `rgb` (..., 3): linear light, Rec. 709 primaries, 1.0 = perfect white; values outside 0..1 are allowed.
    """
    return xyz_to_lab(np.asarray(rgb, dtype=float) @ _rgb_to_xyz().T)


def lab_to_linear_rgb(lab):
    """Return linear Rec. 709 light (..., 3) of L*, a*, b* (..., 3); outside 0..1 where the gamut is left."""
    return lab_to_xyz(lab) @ _xyz_to_rgb().T


def lab_to_srgb8(lab):
    """Return the nearest 8-bit sRGB of a colour for showing on a screen, and whether it had to be clipped.

    Parameters
    ----------
    lab : array_like, shape (..., 3)
        L*, a*, b*.

    Returns
    -------
    codes : ndarray of uint8, shape (..., 3)
    clipped : ndarray of bool, shape (...)
        True where the colour lies outside sRGB by more than half a code.
    """
    rgb = lab_to_linear_rgb(lab)
    clipped = np.any((rgb < -0.0005) | (rgb > 1.004), axis=-1)
    return np.round(encode_srgb(np.clip(rgb, 0, 1)) * 255).astype(np.uint8), clipped


def srgb8_to_lab(codes):
    """Return L*, a*, b* of 8-bit sRGB codes; shape (..., 3) in and out."""
    encoded = np.frombuffer(codes, np.uint8) / 255 if isinstance(codes, bytes) else np.asarray(codes, dtype=float) / 255
    return linear_rgb_to_lab(decode_srgb(encoded))


def encode_srgb(light):
    """Return relative sRGB codes of relative linear light; any shape, its precision is kept.

    Notes
    -----
    0..1 in gives 0..1 out; the straight piece near black goes on below 0, the power beyond 1.

    References
    ----------
    IEC 61966-2-1:1999.
    """
    light = np.asarray(light)
    # negative light, which the power could not take, is on the straight piece
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.abs(light) ** (1 / 2.4) - 0.055)


def decode_srgb(code):
    """Return relative linear light of relative sRGB codes, the inverse of `encode_srgb`."""
    code = np.asarray(code)
    return np.where(code <= 0.04045, code / 12.92, (np.abs(code + 0.055) / 1.055) ** 2.4)


def lab_to_lch(lab):
    """Return lightness, chroma and hue angle in degrees (0..360); shape (..., 3) in and out."""
    lab = np.asarray(lab, dtype=float)
    hue = np.degrees(np.arctan2(lab[..., 2], lab[..., 1])) % 360
    return np.stack([lab[..., 0], np.hypot(lab[..., 1], lab[..., 2]), hue], axis=-1)


def adapt_lab(lab, white, observer="2") -> np.ndarray:
    """Return the D65, 2-degree Lab of a colour stated under another white, by Bradford adaptation.

    Parameters
    ----------
    lab : array_like, shape (..., 3)
        L*, a*, b* under `white`.
    white : str
        Illuminant name known to colour-science, such as ``"D50"`` or ``"A"``.
    observer : {"2", "10"}
        Observer of the stated white.
    """
    import colour

    sets = {"2": "CIE 1931 2 Degree Standard Observer", "10": "CIE 1964 10 Degree Standard Observer"}
    if observer not in sets:
        raise ValueError(f"observer must be '2' or '10', not {observer!r}")
    whites = colour.CCS_ILLUMINANTS[sets[observer]]
    if white not in whites:
        raise ValueError(f"unknown white point {white!r}; known: {', '.join(whites)}")
    xyz = colour.Lab_to_XYZ(np.asarray(lab, dtype=float), whites[white])
    matrix = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        colour.xy_to_XYZ(whites[white]), WHITE_D65, transform="Bradford"
    )
    return xyz_to_lab(xyz @ matrix.T)


def reflectance_to_lab(wavelength_nm, reflectance) -> np.ndarray:
    """Return the D65, 2-degree Lab of a reflectance spectrum.

    `wavelength_nm` (N,): rising, evenly spaced. `reflectance` (N,): 0..1, 1 = perfect white. ValueError if there are
    fewer than eight bands, or they do not cover 430 to 670 nm.

    References
    ----------
    CIE 15:2018, summation at 1 nm after interpolation; the ends are held constant.
    """
    import colour

    wavelength_nm = np.asarray(wavelength_nm, dtype=float)
    if len(wavelength_nm) < 8 or wavelength_nm[0] > 430 or wavelength_nm[-1] < 670:
        raise ValueError("a spectrum needs at least eight bands that cover 430 to 670 nm")
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(colour.SpectralShape(360, 780, 1))
    light = colour.SDS_ILLUMINANTS["D65"].copy().align(cmfs.shape)
    spectrum = colour.SpectralDistribution(np.asarray(reflectance, dtype=float), wavelength_nm).align(cmfs.shape)
    xyz = colour.sd_to_XYZ(spectrum, cmfs, light, method="Integration")
    return xyz_to_lab(xyz / 100)


def delta_e_00(target, sample):
    """Return the CIEDE2000 difference of two colours; arrays (..., 3) broadcast to (...).

    References
    ----------
    Sharma, Wu & Dalal, Color Res. Appl. 30 (2005) 21; ISO/CIE 11664-6.
    """
    from skimage.color import deltaE_ciede2000

    target, sample = np.broadcast_arrays(np.asarray(target, dtype=float), np.asarray(sample, dtype=float))
    return deltaE_ciede2000(target, sample, channel_axis=-1)


def delta_e_76(target, sample):
    """Return the CIE 1976 difference, the straight distance in Lab; arrays (..., 3) broadcast to (...)."""
    return np.linalg.norm(np.asarray(target, dtype=float) - np.asarray(sample, dtype=float), axis=-1)


def delta_e_94(target, sample):
    """Return the CIE 1994 difference for graphic arts weights; arrays (..., 3) broadcast to (...)."""
    import colour

    return colour.delta_E(target, sample, method="CIE 1994")


def delta_e_cmc(target, sample, lightness: float = 2.0, chroma: float = 1.0):
    """Return the CMC(l:c) difference; not symmetric, the target is the standard.

    `target`, `sample` (..., 3): the standard first. `lightness`, `chroma`: the weights l and c; 2:1 for acceptability,
    1:1 for perceptibility.
    """
    import colour

    return colour.delta_E(target, sample, method="CMC", l=lightness, c=chroma)

"""CIELAB under D65 and the 2-degree observer, and the differences between two colours.

Lab and CIEDE2000 come from scikit-image, which loads in a fraction of a second; every other conversion comes
from colour-science, loaded when it is first asked for. The tests hold the two libraries against each other.
"""

from dyebook.lab.space import (
    LUMINANCE,
    WHITE_D65,
    Lab,
    adapt_lab,
    decode_srgb,
    delta_e_00,
    delta_e_76,
    delta_e_94,
    delta_e_cmc,
    encode_srgb,
    lab_to_lch,
    lab_to_linear_rgb,
    lab_to_srgb8,
    lab_to_xyz,
    linear_rgb_to_lab,
    reflectance_to_lab,
    srgb8_to_lab,
    xyz_to_lab,
)
from dyebook.lab.words import describe_colour, describe_difference, looks_like_munsell, munsell_to_lab

__all__ = [
    "LUMINANCE", "WHITE_D65", "Lab", "adapt_lab", "decode_srgb", "delta_e_00", "delta_e_76", "delta_e_94",
    "delta_e_cmc", "describe_colour", "describe_difference", "encode_srgb", "lab_to_lch", "lab_to_linear_rgb",
    "lab_to_srgb8", "lab_to_xyz", "linear_rgb_to_lab", "looks_like_munsell", "munsell_to_lab", "reflectance_to_lab",
    "srgb8_to_lab", "xyz_to_lab",
]  # fmt: skip

"""Fit what cameras usually do to colours: python -m tests.bench.usual_fit, with DYEBOOK_CAMERAS set.

Prints the constants of `dyebook.photo.camera.usual` that come from measured camera sensitivities: the mean matrix from
balanced sensor light to linear Rec. 709, and the error that cameras with their makers' matrices leave on simulated dyed
films under all lights, as a correction of balanced light.
"""

import argparse

import numpy as np

from dyebook.lab import lab_to_linear_rgb
from tests.bench.scenes import cameras_folder
from tests.render.scene import FINISHES, Film
from tests.render.spectra import (
    DYES,
    LIGHTS,
    camera_matrix,
    camera_names,
    film_reflectance,
    raw_white,
    reflectance_lab,
    sensor_weights,
)

__all__ = ["dye_correction", "mean_matrix"]

# absorbances of one pass at which each dye is looked at
_DEPTHS = np.geomspace(0.05, 1.5, 27)
_LEAST_LIGHT = 0.02


def mean_matrix(cameras):
    """Return the mean matrix (3, 3) from balanced sensor light to linear Rec. 709 under D65; rows sum to 1."""
    return np.mean([camera_matrix(camera, 0.0) for camera in cameras], axis=0)


def dye_correction(cameras):
    """Return the matrix (3, 3) for row vectors that takes balanced light, less its grey, to its mean error."""
    films = [Film(bands, float(depth)) for bands in DYES.values() for depth in _DEPTHS]
    films = np.array([film_reflectance(film, FINISHES["satin"])[0] for film in films])
    true = lab_to_linear_rgb(reflectance_lab(films))
    colour, error = [], []
    for light in (name for group in LIGHTS.values() for name in group):
        for camera in cameras:
            seen = films @ sensor_weights(camera, light, fine=True) @ camera_matrix(camera, _warmth(camera, light)).T
            # by how it looks: a cube root's slope, as errors in the dark count for more
            weight = np.maximum(true.mean(axis=1, keepdims=True), _LEAST_LIGHT) ** (-2 / 3)
            colour.append((seen - seen.mean(axis=1, keepdims=True)) * weight)
            error.append((true - seen) * weight)
    return np.linalg.lstsq(np.concatenate(colour), np.concatenate(error), rcond=None)[0]


def _warmth(camera, light):
    """Where a light lies between D65 (0) and illuminant A (1) for a camera."""
    whites = (raw_white(camera, one) for one in ("D65", "A", light))
    cool, warm, own = (np.log(white[0] / white[2]) for white in whites)
    return float(np.clip((own - cool) / (warm - cool), 0, 1))


def main():
    """Print the constants as they stand in the code."""
    argparse.ArgumentParser(description=__doc__).parse_args()
    if cameras_folder() is None:
        raise SystemExit("DYEBOOK_CAMERAS names no folder of camera sensitivities (CSV: wavelength_nm,R,G,B)")
    cameras = camera_names()
    print(f"# {len(cameras)} cameras")
    print("_SENSOR_TO_RGB =", mean_matrix(cameras).round(3).tolist())
    print("_DYE_CORRECTION = 0.6 *", dye_correction(cameras).round(3).tolist())


if __name__ == "__main__":
    main()

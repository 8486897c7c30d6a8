"""Fit what cameras usually do to colours: python -m tests.bench.usual_fit, with DYEBOOK_CAMERAS set.

Prints the constant of `dyebook.photo.camera.usual` that comes from measured camera sensitivities: the mean matrix from
balanced sensor light to linear Rec. 709.
"""

import argparse

import numpy as np

from tests.bench.scenes import cameras_folder
from tests.render.spectra import camera_matrix, camera_names

__all__ = ["mean_matrix"]


def mean_matrix(cameras):
    """Return the mean matrix (3, 3) from balanced sensor light to linear Rec. 709 under D65; rows sum to 1."""
    return np.mean([camera_matrix(camera, 0.0) for camera in cameras], axis=0)


def main():
    """Print the constant as it stands in the code."""
    argparse.ArgumentParser(description=__doc__).parse_args()
    if cameras_folder() is None:
        raise SystemExit("DYEBOOK_CAMERAS names no folder of camera sensitivities (CSV: wavelength_nm,R,G,B)")
    cameras = camera_names()
    print(f"# {len(cameras)} cameras")
    print("_SENSOR_TO_RGB =", mean_matrix(cameras).round(3).tolist())


if __name__ == "__main__":
    main()

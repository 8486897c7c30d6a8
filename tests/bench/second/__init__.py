"""A second, separately written renderer: the score on it tells whether the photo code learned the first one's habits.

It shares nothing with the renderer the project ships. Scenes are solids on a table under area lights: rays meet
signed distances, dyed film and metal answer by their spectra, and a camera of measured sensitivities (a folder of
CSV files named by ``DYEBOOK_CAMERAS``; one that colour-science ships when it is not set) takes the picture.
"""

import json
from pathlib import Path

import cv2
import numpy as np

from .camera import to_jpeg
from .layout import draw_scene
from .scene import paint, photograph
from .truth import describe

__all__ = ["make", "make_jpeg", "write"]


def _make(seed):
    """Return the picture, its truth and the camera."""
    rng = np.random.default_rng([20_240, seed])
    scene, names = draw_scene(rng)
    raw, label, facing, corners_mm = paint(scene, rng)
    _, image = photograph(scene, raw, rng)
    truth = {"seed": seed, **describe(scene, names, label, corners_mm, image), "facing": facing}
    return image, truth, scene.camera


def make(seed):
    """Return a picture before its JPEG coding, and its truth.

    Parameters
    ----------
    seed : int
        The same seed gives the same picture, as long as the folder of cameras is the same.

    Returns
    -------
    image : ndarray of uint8, shape (h, w, 3)
        sRGB, upright, about 1.5 megapixels.
    truth : dict
        ``card`` (None, or quad TL TR BR BL in pixels, lab, rim, share of the frame), ``parts`` from left to right
        (outline, holes, polygon with the holes cut in by slits, box, lab under D65 and 2 degrees with the mirror
        reflection excluded, in_gamut, kind), ``pairs`` of near shades (indices into parts), what the scene was
        made of, and ``label``, uint8 (h, w): 0, or the number of the part seen there, counted from 1;
        and ``facing``, bool (h, w), where a part is lit like a flat piece and mirrors hardly anything.
    """
    return _make(seed)[:2]


def make_jpeg(seed):
    """Return the bytes of a picture's JPEG, and the truth as `make` gives it."""
    image, truth, camera = _make(seed)
    return to_jpeg(image, camera), truth


def write(seed, folder):
    """Write a picture as JPEG, its truth as JSON and its labels as PNG; return the path of the JPEG."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    data, truth = make_jpeg(seed)
    path = folder / f"{seed:05d}.jpg"
    path.write_bytes(data)
    label, _ = truth.pop("label"), truth.pop("facing")
    cv2.imwrite(str(folder / f"{seed:05d}.label.png"), label)
    (folder / f"{seed:05d}.json").write_text(json.dumps({"photo": path.name, **truth}), encoding="utf-8")
    return path

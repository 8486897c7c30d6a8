"""Real photographs of colour charts whose patches are known: the grey patch is the only card, 18 colours are read."""

import json
from pathlib import Path
from unittest.mock import patch

import numpy as np

from dyebook.lab import adapt_lab, delta_e_00, linear_rgb_to_lab
from dyebook.photo.camera import usual
from dyebook.photo.file.read import read_photo
from dyebook.photo.measure import look_at
from dyebook.record import ReadOptions

__all__ = ["chart_errors", "score_charts"]

_GREY = 21
_CONTRASTS = (0.0, 0.1, 0.2, 0.25, 0.3, 0.4)


def chart_errors(folder, photo):
    """CIEDE2000 of the 18 colours of one photo, as (ours, gains only)."""
    truth = adapt_lab(np.array(photo["reference_lab_D50"]), "D50")
    patches = [np.array(quad) for quad in photo["patches"]]
    picture = read_photo(Path(folder) / photo["file"])
    look = look_at(picture, ReadOptions(patches[_GREY], truth[_GREY], patches[:18]))
    ours = np.array([reading.lab for reading in look.measurement.parts])
    plain = linear_rgb_to_lab([_median(picture, quad) * look.card.gains for quad in patches[:18]])
    return delta_e_00(truth[:18], ours), delta_e_00(truth[:18], plain)


def _median(picture, quad):
    x0, y0 = np.ceil(quad.min(axis=0) + 1).astype(int)
    x1, y1 = np.floor(quad.max(axis=0) - 1).astype(int)
    return np.median(picture.crop((x0, y0, x1, y1)).reshape(-1, 3), axis=0)


def _of_others(folder, photos):
    """Mean error of each photo that a camera signed, by file, with the contrast chosen on the other such photos."""
    signed = [p for p in photos if read_photo(Path(folder) / p["file"]).camera.make]
    table = []
    for contrast in _CONTRASTS:
        with patch.object(usual, "_CONTRAST_CAMERA", contrast):
            table.append([chart_errors(folder, photo)[0].mean() for photo in signed])
    table = np.array(table)
    best = [np.delete(table, k, axis=1).mean(axis=1).argmin() for k in range(len(signed))]
    return {photo["file"]: table[row, k] for k, (photo, row) in enumerate(zip(signed, best, strict=True))}


def score_charts(folder):
    """Print the mean error of each photo, ours beside gains only."""
    photos = json.loads((Path(folder) / "truth.json").read_text(encoding="utf-8"))["photos"]
    print("\nreal chart photographs, grey patch as the only card, mean ΔE00 of 18 colours (ours / gains only)")
    means, held_out = [], _of_others(folder, photos)
    for photo in photos:
        ours, plain = chart_errors(folder, photo)
        means.append((ours.mean(), plain.mean()))
        print(f"  {photo['file'][:40]:40s} {ours.mean():5.2f} {plain.mean():5.2f}")
    print(f"  {'mean over photographs':40s} {np.mean(means, axis=0).round(2)}")
    left = [held_out.get(photo["file"], mean[0]) for photo, mean in zip(photos, means, strict=True)]
    print(f"  contrast of signed photos chosen on the others of them: mean {np.mean(left):.2f}")

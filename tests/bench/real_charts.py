"""Real photographs of colour charts whose patches are known: the grey patch is the only card, 18 colours are read."""

import json
from pathlib import Path

import numpy as np

from dyebook.lab import adapt_lab, delta_e_00, linear_rgb_to_lab
from dyebook.photo.measure import look_at
from dyebook.photo.read import read_photo

__all__ = ["chart_errors", "score_charts"]

_GREY = 21


def chart_errors(folder, photo):
    """CIEDE2000 of the 18 colours of one photo, as (ours, gains only)."""
    truth = adapt_lab(np.array(photo["reference_lab_D50"]), "D50")
    patches = [np.array(quad) for quad in photo["patches"]]
    picture = read_photo(Path(folder) / photo["file"])
    look = look_at(picture, card_at=patches[_GREY], card_lab=truth[_GREY], part_at=patches[:18])
    ours = np.array([reading.lab for reading in look.measurement.parts])
    plain = linear_rgb_to_lab([_median(picture, quad) * look.card.gains for quad in patches[:18]])
    return delta_e_00(truth[:18], ours), delta_e_00(truth[:18], plain)


def _median(picture, quad):
    x0, y0 = np.ceil(quad.min(axis=0) + 1).astype(int)
    x1, y1 = np.floor(quad.max(axis=0) - 1).astype(int)
    return np.median(picture.crop((x0, y0, x1, y1)).reshape(-1, 3), axis=0)


def score_charts(folder):
    """Print the mean error of each photo, ours beside gains only."""
    photos = json.loads((Path(folder) / "truth.json").read_text(encoding="utf-8"))["photos"]
    print("\nreal chart photographs, grey patch as the only card, mean ΔE00 of 18 colours (ours / gains only)")
    means = []
    for photo in photos:
        ours, plain = chart_errors(folder, photo)
        means.append((ours.mean(), plain.mean()))
        print(f"  {photo['file'][:40]:40s} {ours.mean():5.2f} {plain.mean():5.2f}")
    print(f"  {'mean over photographs':40s} {np.mean(means, axis=0).round(2)}")

"""Cameras learned from real chart photographs, and judged on the patches that the fit had not seen."""

import json
from pathlib import Path

import numpy as np

from dyebook.lab import adapt_lab, delta_e_00
from dyebook.photo.camera.profile import learn_camera
from dyebook.photo.file.read import read_photo
from dyebook.photo.measure import measure

__all__ = ["score_photos"]

_GREY = 21
_FOLDS = 3
# spoiled by a finger's shadow in that photograph
_SPOILED = {"12_unknowncam_window_sun.jpg": [0]}


def load_charts(folder):
    """Photos of a folder with truth.json: (file, photo, patch quads, Lab of the patches)."""
    for row in json.loads((Path(folder) / "truth.json").read_text(encoding="utf-8"))["photos"]:
        truth = adapt_lab(np.array(row["reference_lab_D50"]), "D50")
        yield row["file"], read_photo(Path(folder) / row["file"]), np.array(row["patches"]), truth


def corners_of(quads):
    """Centres of the four patches that say where a chart is."""
    return quads.mean(axis=1)[[0, 5, 23, 18]]


def read_colours(photo, quads, truth, profile, patches):
    """CIEDE2000 of some patches read with neutral 5 as the card."""
    found = measure(
        photo, card_at=quads[_GREY], card_lab=truth[_GREY], part_at=[quads[k] for k in patches], camera=profile
    )
    return delta_e_00(truth[patches], np.array([part.lab for part in found.parts]))


def score_left_out(file, photo, quads, truth, table):
    """Errors of the 18 colours, each read by a camera that had not seen it; and the camera's own figure."""
    spoiled = _SPOILED.get(file, [])
    errors, own = [], []
    for fold in range(_FOLDS):
        patches = [k for k in range(fold, 18, _FOLDS) if k not in spoiled]
        profile = learn_camera(photo, "bench", corners_of(quads), [*patches, *spoiled], table)
        errors.extend(read_colours(photo, quads, truth, profile, patches))
        own.append(profile.mean)
    whole = learn_camera(photo, "bench", corners_of(quads), spoiled, table)
    return float(np.mean(errors)), float(np.mean(own)), whole


def score_photos(folder, table=None):
    """Print, per photo, the error of colours left out, the camera's own figure, and the table it chose."""
    print("\nreal chart photographs: colours left out of the fit (six at a time), neutral 5 as the card")
    charts, rows, profiles = list(load_charts(folder)), [], {}
    for file, photo, quads, truth in charts:
        error, own, profiles[file] = score_left_out(file, photo, quads, truth, table)
        rows.append((error, own, profiles[file].mean))
        print(f"  {file[:36]:36s} {error:5.2f}  own {own:5.2f}  whole {rows[-1][2]:5.2f}  {profiles[file].table}")
    print("  mean", np.mean(rows, axis=0).round(2))
    by_make = {}
    for file, photo, quads, truth in charts:
        if photo.camera.model:
            by_make.setdefault((photo.camera.make, photo.camera.model), []).append((file, photo, quads, truth))
    for same in by_make.values():
        for learned, used in ((a, b) for a in same for b in same if a[0] != b[0]):
            error = read_colours(*used[1:], profiles[learned[0]], list(range(18)))
            print(f"  {learned[0][:12]} used on {used[0][:12]}: {error.mean():.2f}")

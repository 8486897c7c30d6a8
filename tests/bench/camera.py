"""Cameras learned from charts: simulated cameras, drawn charts for the finder, and real photographs.

    python -m tests.bench.camera [--seeds 0:60] [--find 0:60] [--photos DIR] [--table before-2014]

DYEBOOK_CAMERAS may name a folder of camera sensitivities (CSV: wavelength_nm,R,G,B). `--photos` names a folder of
chart photographs with a truth.json.
"""

import argparse
import time
from pathlib import Path

import numpy as np

from dyebook.errors import PhotoError
from dyebook.lab import delta_e_00, lab_to_linear_rgb
from dyebook.photo.camera.chart_find import find_chart
from dyebook.photo.camera.fit import fit_chart, leave_one_out, mean_error, read_patches
from dyebook.photo.file.read import photo_from_array, read_photo
from tests.bench.camera_real import score_photos
from tests.bench.camera_worlds import printed_chart, random_world, shoot
from tests.bench.chart_scenes import ODD_LAYOUTS, picture_of
from tests.bench.scenes import first_end, load_scenes

_FOLDS = 3
_GREY = 21


def learn(claimed, lab, use):
    """The best of the ways to see a chart, as learn_camera chooses: (mean, fit)."""
    rows = []
    for linear in (False, True):
        for roots_sd in (0.05, 0.2):
            fit = fit_chart(claimed, None, lab, use, linear, roots_sd)
            rows.append((mean_error(leave_one_out(claimed, None, lab, use, fit, linear, roots_sd), lab, use), fit))
    return min(rows, key=lambda row: row[0])


def score_world(seed):
    """(gains only, left out, own figure, another exposure) of one simulated camera, mean ΔE00."""
    rng = np.random.default_rng([seed, 7])
    world, (spectra, lab) = random_world(seed), printed_chart(rng)
    claimed, clipped = shoot(world, spectra, 0.75, rng)
    good = [k for k in range(24) if not clipped[k]]
    gains = lab_to_linear_rgb(lab[_GREY]) / np.maximum(claimed[_GREY], 1e-4)
    from dyebook.lab import linear_rgb_to_lab

    plain = delta_e_00(lab, linear_rgb_to_lab(claimed * gains))[:18].mean()
    errors, own = [], []
    for fold in range(_FOLDS):
        held = list(range(fold, 18, _FOLDS))
        mean, fit = learn(claimed, lab, [k for k in good if k not in held])
        errors.extend(delta_e_00(lab, read_patches(fit, claimed, None, lab, _GREY))[held])
        own.append(mean)
    other, _ = shoot(world, spectra, 0.5, rng)
    again = delta_e_00(lab, read_patches(learn(claimed, lab, good)[1], other, None, lab, _GREY))[:18].mean()
    return plain, float(np.mean(errors)), float(np.mean(own)), float(again)


def print_worlds(seeds):
    """Print the mean errors over simulated cameras."""
    rows = np.array([score_world(seed) for seed in seeds])
    print(f"simulated cameras, {len(rows)} worlds, mean ΔE00 (median, 90 %)")
    for name, column in zip(("gains only", "left out", "own figure", "other exposure"), rows.T, strict=True):
        print(f"  {name:15s} {column.mean():5.2f}  ({np.median(column):.2f}, {np.quantile(column, 0.9):.2f})")
    print(f"  own figure off by {np.abs(rows[:, 1] - rows[:, 2]).mean():.2f} on average")


def background(seed):
    """A rendered bench scene, made smaller, to lay a chart on."""
    scene = next(iter(load_scenes("ab"[seed % 2], [seed % 160])))
    photo = read_photo(scene.data)
    return photo.crop((0, 0, *photo.size), max(1, round(max(photo.size) / 1600)))


def was_found(picture, truth):
    """Whether the chart was found where it is (or anything at all, where there is none)."""
    try:
        corners = find_chart(photo_from_array(picture))
    except PhotoError:
        return False
    return truth is None or np.abs(corners - truth).max() < 0.05 * np.linalg.norm(truth[1] - truth[0])


def print_found(seeds):
    """Print how many charts are found, and how many other layouts are taken."""
    start = time.perf_counter()
    found = [was_found(*picture_of(seed, background(seed))) for seed in seeds]
    print(
        f"\ndrawn charts found {np.mean(found):.3f} of {len(found)}; {time.perf_counter() - start:.0f} s with drawing"
    )
    for layout in ODD_LAYOUTS:
        taken = [was_found(*picture_of(seed + 7000, background(seed), layout)) for seed in seeds]
        print(f"  {layout:15s} taken {sum(taken)} of {len(taken)}")


def main():
    """Run what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", help="simulated cameras, first:last")
    parser.add_argument("--find", help="drawn charts, first:last")
    parser.add_argument("--photos", type=Path, help="folder of chart photographs with truth.json")
    parser.add_argument("--table", help="chart table; the better one if left out")
    options = parser.parse_args()
    if options.seeds:
        print_worlds(first_end(options.seeds))
    if options.find:
        print_found(first_end(options.find))
    if options.photos:
        score_photos(options.photos, options.table)


if __name__ == "__main__":
    main()

"""Stepped coupons: bands found and read against the truth of rendered strips, strips drawn by hand and found.

    python -m tests.bench.steps [--seeds 1000:1030] [--equal] [--find]

A random strip lies on a random scene's bench, with its light, camera, tilt and development. `borders`: error of the
bands' middles as a share of an equal band; `mean`: error of the readings, `perfect`: the same with outlines drawn to
the truth, `apart`: ΔE00 between the two, which is what finding the bands costs.
"""

import argparse
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory

import cv2
import numpy as np

from dyebook import delta_e_00
from dyebook.errors import DyebookError
from dyebook.photo.file.read import read_photo
from dyebook.photo.measure import look_at
from dyebook.record import ReadOptions
from tests.render.cameras import random_camera
from tests.render.render import render, write_photo
from tests.render.scene import Card, Finish, random_scene
from tests.render.strips import band_labs, stepped_strip
from tests.render.wares import random_film


def strip_scene(seed, equal=False):
    """A rendered strip of 3 to 8 bands and the body it was drawn from."""
    rng = np.random.default_rng((seed, 17))
    count = int(rng.integers(3, 9))
    film = random_film(rng)
    film = replace(film, absorbance=max(film.absorbance, 0.3))
    shares = (2.0 ** -np.arange(count)) ** rng.uniform(0.3, 0.6)
    lengths = np.full(count, 90.0 / count) * (1 if equal else np.exp(rng.normal(0, 0.25, count)))
    finish = Finish(
        metallic=float(rng.uniform(0.2, 0.6)), gloss=float(rng.uniform(0, 0.06)), brush=float(rng.uniform(0, 0.06))
    )
    turn = float(rng.uniform(0, 360))
    strip = stepped_strip(film, shares, lengths, x_mm=0.0, y_mm=20.0, turn_deg=turn, finish=finish, seed=seed)
    spec = random_scene(seed, part_count=0)
    card = Card(x_mm=0.0, y_mm=-55.0, turn_deg=float(rng.normal(0, 10)))
    view = replace(
        spec.view, width=1200, height=1200, width_mm=200.0, distance_mm=360.0, tilt_deg=min(spec.view.tilt_deg, 12)
    )
    development = replace(spec.development, turn=1)
    return render(
        replace(spec, view=view, card=card, bodies=(strip,), camera=random_camera(rng), development=development)
    ), strip


def one(seed, equal, found):
    """Figures of one strip: a dict; None where it was refused."""
    rendered, strip = strip_scene(seed, equal)
    truth, view = band_labs(strip), rendered.spec.view
    part = max(rendered.truth.parts[0].outlines, key=lambda line: cv2.contourArea(line.astype(np.float32)))
    with TemporaryDirectory() as folder:
        photo = read_photo(write_photo(rendered, Path(folder) / f"strip_{seed}.jpg"))
    try:
        given = {} if found else {"part_at": [part]}
        look = look_at(photo, ReadOptions(rendered.truth.card_quad, steps=len(truth), **given))
        drawn = look_at(photo, ReadOptions(rendered.truth.card_quad, part_at=_true_bands(strip, view)))
    except DyebookError as error:
        return {"seed": seed, "failed": str(error)[:70]}
    read = np.array([part.lab for part in look.measurement.parts])
    perfect = np.array([part.lab for part in drawn.measurement.parts])
    if len(read) != len(truth):
        return {"seed": seed, "failed": f"{len(read)} parts of {len(truth)}"}
    return {
        "seed": seed,
        "count": len(truth),
        "borders": _border_error(look, strip, view),
        "unseen": any("steps_unseen" in part.flags for part in look.measurement.parts),
        "ordered": _ordered(look, strip, view),
        "mean": float(np.mean(delta_e_00(np.array(truth), read))),
        "perfect": float(np.mean(delta_e_00(np.array(truth), perfect))),
        "apart": float(np.mean(delta_e_00(perfect, read))),
    }


def _ends(strip):
    half = strip.shape.half_x
    return np.array([-half, *(step.x_mm for step in strip.flaws), half])


def _to_photo(strip, view, x, y):
    turn = np.radians(strip.turn_deg)
    bench = np.array(
        [strip.x_mm + x * np.cos(turn) - y * np.sin(turn), strip.y_mm + x * np.sin(turn) + y * np.cos(turn)]
    )
    return view.to_pixels(bench)


def _true_bands(strip, view):
    wide, ends = 0.9 * strip.shape.half_y, _ends(strip)
    bands = []
    for start, stop in pairwise(ends):
        margin = 0.15 * (stop - start)
        corners = [(start + margin, -wide), (stop - margin, -wide), (stop - margin, wide), (start + margin, wide)]
        bands.append([tuple(_to_photo(strip, view, x, y)) for x, y in corners])
    return bands


def _border_error(look, strip, view):
    """Largest miss of a band's middle, as a share of an equal band."""
    ends = _ends(strip)
    middles = np.array([_to_photo(strip, view, x, 0) for x in (ends[:-1] + ends[1:]) / 2])
    found = np.array([_middle(part.outline) for part in look.measurement.parts])
    length = np.linalg.norm(middles[0] - middles[-1]) / max(len(middles) - 1, 1)
    return float(np.max(np.linalg.norm(found - middles, axis=1)) / length)


def _middle(outline):
    moments = cv2.moments(np.asarray(outline, dtype=np.float32))
    return np.array([moments["m10"], moments["m01"]]) / max(moments["m00"], 1e-9)


def _ordered(look, strip, view):
    first = _to_photo(strip, view, _ends(strip)[0], 0)
    far = [np.linalg.norm(_middle(part.outline) - first) for part in look.measurement.parts]
    return bool(np.all(np.diff(far) > 0))


def main():
    """Run the scenes and print the table."""
    import pandas as pd

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", default="1000:1030")
    parser.add_argument("--equal", action="store_true", help="bands of equal length")
    parser.add_argument("--find", action="store_true", help="let the strip be found")
    options = parser.parse_args()
    first, last = map(int, options.seeds.split(":"))
    rows = pd.DataFrame([one(seed, options.equal, options.find) for seed in range(first, last)])
    print(rows.round(2).to_string())
    print(rows.drop(columns="seed").mean(numeric_only=True).round(3).to_string())


if __name__ == "__main__":
    main()

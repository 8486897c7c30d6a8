"""Stepped coupons of the simple world: bands found and read against their truth.

    python -m tests.bench.steps [--seeds 1000:1030] [--find]

`borders`: error of the bands' middles as a share of a band; `mean`: error of the readings, `perfect`: the same with
outlines drawn to the truth, `apart`: ΔE00 between the two, which is what finding the bands costs.
"""

import argparse

import cv2
import numpy as np

from dyebook import delta_e_00
from dyebook.errors import DyebookError
from dyebook.photo.file.read import read_photo
from dyebook.photo.measure import look_at
from dyebook.record import ReadOptions
from tests.bench.scenes import first_end, jpeg_of
from tests.render import make_scenes
from tests.render.photo import picture


def one(seed, found):
    """Figures of one strip: a dict; with the reason where it was refused."""
    drawn = picture(make_scenes(seed, "steps")[0])
    strip = next((part for part in drawn.truth["parts"] if part["bands"]), None)
    if strip is None or not all(band["outline"] for band in strip["bands"]):
        return {"seed": seed, "failed": "no room for the strip"}
    photo, card = read_photo(jpeg_of(drawn)), (drawn.quad, drawn.truth["card"]["lab"])
    inner = [_narrowed(np.array(band["outline"])) for band in strip["bands"]]
    try:
        given = None if found else [strip["outline"]]
        look = look_at(photo, ReadOptions(*card, part_at=given, steps=len(inner)))
        by_hand = look_at(photo, ReadOptions(*card, part_at=inner))
    except DyebookError as error:
        return {"seed": seed, "failed": str(error)[:70]}
    parts = look.measurement.parts
    if len(parts) != len(inner):
        return {"seed": seed, "failed": f"{len(parts)} parts of {len(inner)}"}
    true = np.array([band["lab"] for band in strip["bands"]])
    read, perfect = (np.array([part.lab for part in some]) for some in (parts, by_hand.measurement.parts))
    middles, seen = (np.array([_middle(one) for one in some]) for some in (inner, [part.outline for part in parts]))
    length = np.linalg.norm(middles[0] - middles[-1]) / (len(middles) - 1)
    return {
        "seed": seed,
        "count": len(inner),
        "borders": float(np.linalg.norm(seen - middles, axis=1).max() / length),
        "unseen": any("steps_unseen" in part.flags for part in parts),
        "mean": float(delta_e_00(true, read).mean()),
        "perfect": float(delta_e_00(true, perfect).mean()),
        "apart": float(delta_e_00(perfect, read).mean()),
    }


def _narrowed(outline):
    """An outline drawn in by 15 % on each side."""
    middle = _middle(outline)
    return middle + 0.7 * (outline - middle)


def _middle(outline):
    moments = cv2.moments(np.asarray(outline, dtype=np.float32))
    return np.array([moments["m10"], moments["m01"]]) / max(moments["m00"], 1e-9)


def main():
    """Run the scenes and print the table."""
    import pandas as pd

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=first_end, default=range(1000, 1030), help="first:end")
    parser.add_argument("--find", action="store_true", help="let the strip be found")
    options = parser.parse_args()
    rows = pd.DataFrame([one(seed, options.find) for seed in options.seeds])
    print(rows.round(2).to_string())
    print(rows.drop(columns="seed").mean(numeric_only=True).round(3).to_string())


if __name__ == "__main__":
    main()

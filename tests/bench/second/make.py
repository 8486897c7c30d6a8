"""Write scenes of the second renderer: python -m tests.bench.second.make --seeds 0:20 --out DIR [--sheet FILE]."""

import argparse
import time
from pathlib import Path

import cv2
import numpy as np

from . import make, write


def contact_sheet(seeds, columns=4, side=480):
    """Return one picture (BGR) of many scenes, with outlines of the parts and the card drawn thinly."""
    cells = []
    for seed in seeds:
        image, truth = make(seed)
        picture = image[..., ::-1].copy()
        for part in truth["parts"]:
            cv2.polylines(picture, [np.round(part["outline"]).astype(np.int32)], True, (255, 0, 255), 1)
        if truth["card"]:
            cv2.polylines(picture, [np.round(truth["card"]["quad"]).astype(np.int32)], True, (0, 255, 0), 1)
        scale = side / max(picture.shape[:2])
        small = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        cell = np.full((side, side, 3), 40, np.uint8)
        cell[: small.shape[0], : small.shape[1]] = small
        cells.append(cell)
    cells += [np.full_like(cells[0], 40)] * (-len(cells) % columns)
    return np.concatenate([np.concatenate(cells[i : i + columns], axis=1) for i in range(0, len(cells), columns)])


def main():
    """Write the scenes asked for, and say how long one took."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="0:20", help="first:end, end not included")
    parser.add_argument("--out", type=Path, help="folder for JPEG, JSON and label PNG")
    parser.add_argument("--sheet", type=Path, help="one picture of all, to look at")
    options = parser.parse_args()
    first, end = (int(n) for n in options.seeds.split(":"))
    times = []
    if options.out:
        for seed in range(first, end):
            start = time.perf_counter()
            write(seed, options.out)
            times.append(time.perf_counter() - start)
        print(f"{len(times)} scenes, median {np.median(times):.2f} s each")
    if options.sheet:
        cv2.imwrite(str(options.sheet), contact_sheet(range(first, end)))


if __name__ == "__main__":
    main()

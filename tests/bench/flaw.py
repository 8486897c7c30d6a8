"""Flaws found on photos of both worlds: python -m tests.bench.flaw --seeds 12:20.

A flaw is found when one outline covers it with an intersection over union of at least 0.2 (a pixel of slack for
pits). "Plain to see" is the share of flaws whose own colour differs by ΔE00 2 or more from the sound film. False flaws
are counted on sound parts.
"""

import argparse
from collections import Counter

import cv2
import numpy as np

from dyebook.errors import PhotoError
from dyebook.photo.card.card import fill_polygon
from dyebook.photo.file.read import read_photo
from dyebook.photo.measure import look_at
from dyebook.record import ReadOptions
from tests.bench.flaw_scenes import flaw_scene
from tests.bench.parts import overlap_of
from tests.bench.scenes import first_end

_FOUND = 0.2
_PLAIN_DELTA_E = 2.0


def score(scenes, given):
    """Return counts: flaws by kind, found, of the right kind, plain to see; sound parts and false flaws."""
    tally = Counter()
    for scene in scenes:
        try:
            measured = _measured(scene, given)
        except PhotoError:
            measured = None
        _count(scene, measured, tally)
    return tally


def _measured(scene, given):
    photo = read_photo(scene.data, name=scene.name)
    options = ReadOptions(card_lab=scene.card_lab)
    if given:
        outlines = [part.polygon for part in scene.parts]
        options = ReadOptions(scene.card_quad, scene.card_lab, outlines)
    return look_at(photo, options).measurement


def _count(scene, measured, tally):
    size = scene.parts[0].mask.shape[::-1] if scene.parts else (1, 1)
    readings = () if measured is None else measured.parts
    masks = [fill_polygon(np.array(reading.outline), (0, 0, *size), 1) for reading in readings]
    for part in scene.parts:
        overlaps = [overlap_of(mask, part.mask) for mask in masks]
        best = int(np.argmax(overlaps)) if overlaps and max(overlaps) > 0.5 else None
        flaws = () if best is None else readings[best].flaws
        if not part.flaws:
            tally["sound"] += best is not None
            tally["false"] += len(flaws)
            tally.update(f"false {flaw.kind}" for flaw in flaws)
        for true in part.flaws:
            hits = [flaw for flaw in flaws if _covers(flaw, true, size)]
            tally["flaws"] += 1
            tally[f"all {true.kind}"] += 1
            tally["plain"] += true.delta_e00 >= _PLAIN_DELTA_E
            tally["found"] += bool(hits)
            tally[f"found {true.kind}"] += bool(hits)
            tally["kind"] += any(flaw.kind == true.kind for flaw in hits)


def _covers(flaw, true, size):
    mask = fill_polygon(np.array(flaw.outline), (0, 0, *size), 1)
    if true.kind != "pit":
        return overlap_of(mask, true.mask) >= _FOUND
    wide = cv2.dilate(true.mask.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    return overlap_of(mask, true.mask) >= _FOUND or overlap_of(mask, wide) >= _FOUND


def _print(renderer, given, tally):
    flaws, sound = max(tally["flaws"], 1), max(tally["sound"], 1)
    kinds = [name[4:] for name in sorted(tally) if name.startswith("all ")]
    print(
        f"renderer {renderer}, parts {'given' if given else 'automatic'}: {tally['flaws']} flaws, "
        f"found {tally['found'] / flaws:.2f} (kind right {tally['kind'] / flaws:.2f}, "
        f"plain to see {tally['plain'] / flaws:.2f}); false per sound part {tally['false'] / sound:.2f} of {sound}"
    )
    print("  by kind: " + ", ".join(f"{kind} {tally[f'found {kind}']} of {tally[f'all {kind}']}" for kind in kinds))
    print("  false: " + ", ".join(f"{name[6:]} {n}" for name, n in sorted(tally.items()) if name.startswith("false ")))


def main():
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="12:20", help="set-ups, first:end; keep apart from those of flaw_fit")
    parser.add_argument("--renderers", default="ab")
    options = parser.parse_args()
    seeds = first_end(options.seeds)
    for renderer in options.renderers:
        scenes = [scene for seed in seeds if (scene := flaw_scene(renderer, seed)).card_quad is not None]
        for given in (True, False):
            _print(renderer, given, score(scenes, given))


if __name__ == "__main__":
    main()

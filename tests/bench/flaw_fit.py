"""Fit the trees that judge candidates for flaws: python -m tests.bench.flaw_fit --seeds 0:75 [--out FILE].

The flaw finder reads dyebook/photo/flaw_trees.json. Each scene serves twice: with parts given, and as found.
"""

import argparse
import json
from pathlib import Path

import cv2
import numpy as np

from dyebook.errors import PhotoError
from dyebook.photo.card import card_at
from dyebook.photo.flaw_cues import CUES, part_facts, places_of
from dyebook.photo.flaw_places import fields_of, regions_of
from dyebook.photo.flaw_shading import unshaded
from dyebook.photo.flaw_view import view_part
from dyebook.photo.flaw_whole import WHOLE_CUES, whole_changes
from dyebook.photo.light import fit_light
from dyebook.photo.part import part_at
from dyebook.photo.part_find import find_parts
from dyebook.photo.read import read_photo
from dyebook.photo.reading import read_parts
from tests.bench.boost import fit_trees
from tests.bench.flaw_scenes import flaw_scene
from tests.bench.part_fit import as_table

_WHOLE = ("gradient", "two_tone")
# overlap from which a place is a flaw, and below which it clearly is none
_COVERS, _MISSES = 0.35, 0.12
# a pit is small: this share of a place must lie in true pits
_IN_PIT, _LARGEST_PIT_PX = 0.45, 60
_ALONG = 0.6
_TREES = 90
# the odds may only rise (1) or only fall (-1) with these cues: a fit to two renderers must not learn their habits
_RISING = {
    **dict.fromkeys(("height_mean", "height_top", "height_others", "delta_e", "delta_chroma"), 1),
    **dict.fromkeys(("ring_distance", "ring_chroma", "alone"), 1),
    **dict.fromkeys(("ring_spread", "rivals"), -1),
    **dict.fromkeys(("line_delta_e", "step_delta_e", "line_hue", "step_hue"), 1),
    "rough": -1,
}


def collect(renderer, seeds):
    """Return rows of (cues, name of the flaw or "", weight) of places, and of changes over whole parts."""
    places, wholes = [], []
    for seed in seeds:
        scene = flaw_scene(renderer, seed)
        if scene.card_quad is None:
            continue
        photo = read_photo(scene.data, name=scene.name)
        try:
            card = card_at(photo, scene.card_quad, scene.card_lab)
        except PhotoError:
            continue
        light = fit_light(photo, card)
        given = [part_at(photo, part.polygon) for part in scene.parts]
        for parts in (given, find_parts(photo, card, light)):
            for part, one in zip(parts, read_parts(photo, light, card, parts), strict=True):
                true = _same_part(scene, part, photo.size)
                if true is not None:
                    named = judge(view_part(photo, light, part), one.film, true.flaws)
                    places += named[0]
                    wholes += named[1]
    return places, wholes


def _same_part(scene, part, size):
    mask = part.mask((0, 0, *size))
    overlaps = [np.count_nonzero(mask & p.mask) / np.count_nonzero(mask | p.mask) for p in scene.parts]
    return scene.parts[int(np.argmax(overlaps))] if overlaps and max(overlaps) > 0.5 else None


def judge(view, film, flaws, rest=None):
    """Return rows of (cues, name of the flaw or "", weight) of places, and of changes over the whole part."""
    facts = part_facts(view)
    true = [(flaw.kind, _in_view(flaw.mask, view)) for flaw in flaws]
    fields = fields_of(unshaded(view) if rest is None else rest, view.inner, film)
    places, rows = places_of(regions_of(fields), view, film, facts)
    named = [(row, *_name_of(place.mask(view.mask.shape), true)) for place, row in zip(places, rows, strict=True)]
    wholes = [(row, *_whole_name(view, way, true)) for row, way, _, _ in whole_changes(view, film, facts)]
    return named, wholes


def _in_view(mask, view):
    matrix = view.matrix.copy()
    matrix[:, 2] += 0.5 * matrix[:, :2].sum(axis=1) - 0.5
    return cv2.warpAffine(mask.astype(np.uint8), matrix, view.mask.shape[::-1]) > 0


def _name_of(place, true):
    area = place.sum()
    for kind, mask in true:
        wide = cv2.dilate(mask.view(np.uint8), np.ones((3, 3), np.uint8)).view(bool) if kind == "pit" else mask
        both = (wide & place).sum()
        if kind == "pit":
            share = both / area * (0.5 if area > _LARGEST_PIT_PX else 1)
            return ("pit", 1.0) if share > _IN_PIT else ("", 0.3 if share > _MISSES else 1.0)
        share = both / (mask.sum() + area - both)
        if kind in _WHOLE:  # the paler half is no spot, nor is it nothing
            return "", 0.0 if share > _MISSES else 1.0
        return ("place", 1.0) if share > _COVERS else ("", 0.3 if share > _MISSES else 1.0)
    return "", 1.0


def _whole_name(view, way, true):
    for kind, mask in true:
        if kind in _WHOLE:
            y, x = np.nonzero(view.inner)
            place = way[0] * (2 * x / view.mask.shape[1] - 1) + way[1] * (2 * y / view.mask.shape[0] - 1)
            alike = abs(np.corrcoef(place, mask[view.inner])[0, 1])
            return (kind, 1.0) if alike > _ALONG else ("", 0.2 if alike > _ALONG / 2 else 1.0)
    return "", 1.0


def fit(places, wholes):
    """Return the table of fitted trees of each kind of candidate."""
    out = {}
    for name, rows, cues in (
        ("place", places, CUES),
        ("pit", places, CUES),
        *((n, wholes, WHOLE_CUES) for n in _WHOLE),
    ):
        seen, names, weights = zip(*rows, strict=True)
        wanted = np.array(names) == name
        rising = np.array([_RISING.get(cue, 0) for cue in cues])
        trees = fit_trees(
            np.array(seen), wanted, np.array(weights), count=_TREES, keep=4.0, smallest=4.0, rising=rising
        )
        out[name] = {**as_table(trees), "cues": list(cues)}
    return out


def main():
    """Collect from both renderers, fit, and write the trees."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="0:75", help="first:end, of the first renderer; half as many of the second")
    parser.add_argument("--out", type=Path)
    options = parser.parse_args()
    first, end = (int(n) for n in options.seeds.split(":"))
    places, wholes = collect("a", range(first, end))
    more_places, more_wholes = collect("b", range(first, (first + end) // 2))
    tables = fit(places + more_places, wholes + more_wholes)
    print(f"{len(places) + len(more_places)} places, {len(wholes) + len(more_wholes)} changes over whole parts")
    if options.out:
        options.out.write_text(json.dumps(tables) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()

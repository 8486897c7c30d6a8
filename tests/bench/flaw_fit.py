"""Fit the trees that judge candidates for flaws: python -m tests.bench.flaw_fit --seeds 0:150 [--out FILE].

The flaw finder reads dyebook/photo/flaw_trees.json. Each scene serves with parts given and as found.
"""

import argparse
import json
from dataclasses import dataclass
from itertools import chain
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

__all__ = ["Seen", "fit", "rows_of", "seen_parts"]

_WHOLE = ("gradient", "two_tone")
# overlap from which a place is a flaw, and below which it clearly is none; what lies between is too large or too small,
# and counts less
_COVERS, _MISSES, _BETWEEN = 0.35, 0.1, 0.4
# a pit is small: this share of a place must lie in true pits
_IN_PIT, _LARGEST_PIT_PX = 0.45, 60
_ALONG = 0.6
_TREES, _RATE, _SOUND_SHARE = {"place": 160, "pit": 160, "gradient": 90, "two_tone": 90}, 0.09, 0.25
# the odds may only rise (1) or only fall (-1) with these cues: a fit to two renderers must not learn their habits
_COMPARED = ("delta_e", "delta_chroma", "ring_distance", "ring_chroma", "height_mean")
_RISING = {
    **dict.fromkeys((*_COMPARED, "height_top", "height_others", "alone"), 1),
    **{f"{cue}_usual": 1 for cue in _COMPARED},
    **{f"{cue}_rank": -1 for cue in _COMPARED},
    **dict.fromkeys(("ring_spread", "rivals", "uneven"), -1),
    **dict.fromkeys(("line_delta_e", "step_delta_e", "line_hue", "step_hue"), 1),
    "rough": -1,
}


@dataclass(frozen=True)
class Seen:
    """One part as seen: given or found, its view, film and outline, and its true flaws as (kind, mask in the view)."""

    given: bool
    view: object
    film: np.ndarray
    outline: np.ndarray
    flaws: tuple
    sound: object = None


def seen_parts(scene):
    """Yield the parts of a scene as given, and as found where they are parts; `sound` where the scene has it."""
    photo = read_photo(scene.data, name=scene.name)
    try:
        card = card_at(photo, scene.card_quad, scene.card_lab)
        light = fit_light(photo, card)
        clean = None if scene.sound is None else read_photo(scene.sound, name=scene.name)
        clean_light = None if clean is None else fit_light(clean, card_at(clean, scene.card_quad, scene.card_lab))
    except PhotoError:
        return
    given = [part_at(photo, part.polygon) for part in scene.parts]
    for by_hand, parts in ((True, given), (False, find_parts(photo, card, light))):
        for part, one in zip(parts, read_parts(photo, light, card, parts), strict=True):
            true = _same_part(scene, part, photo.size)
            if true is not None:
                view = view_part(photo, light, part)
                flaws = tuple((flaw.kind, _in_view(flaw.mask, view)) for flaw in true.flaws)
                sound = None if clean is None else view_part(clean, clean_light, part)
                yield Seen(by_hand, view, one.film, np.asarray(part.outline), flaws, sound)


def _same_part(scene, part, size):
    mask = part.mask((0, 0, *size))
    overlaps = [np.count_nonzero(mask & p.mask) / np.count_nonzero(mask | p.mask) for p in scene.parts]
    return scene.parts[int(np.argmax(overlaps))] if overlaps and max(overlaps) > 0.5 else None


def _in_view(mask, view):
    matrix = view.matrix.copy()
    matrix[:, 2] += 0.5 * matrix[:, :2].sum(axis=1) - 0.5
    shrink = 1 / np.sqrt(abs(np.linalg.det(matrix[:, :2])))
    cover = mask.astype(np.float32)
    if shrink > 1.3:
        cover = cv2.GaussianBlur(cover, (0, 0), 0.35 * shrink)
    return cv2.warpAffine(cover, matrix, view.mask.shape[::-1]) > 0.5


def collect(renderer, seeds):
    """Return rows of (cues, name of the flaw or "", weight) of places, and of changes over whole parts."""
    places, wholes = [], []
    for seed in seeds:
        scene = flaw_scene(renderer, seed)
        for seen in seen_parts(scene) if scene.card_quad is not None else ():
            rows = rows_of(seen.view, seen.film, seen.flaws)
            places += rows[0]
            wholes += rows[1]
    return places, wholes


def rows_of(view, film, flaws, rest=None):
    """Return rows of (cues, name of the flaw or "", weight) of a part's places, and of its changes as a whole."""
    facts = part_facts(view)
    fields = fields_of(unshaded(view) if rest is None else rest, view.inner, film)
    places, rows = places_of(regions_of(fields), view, film, facts)
    named = [(row, *_name_of(place.mask(view.mask.shape), flaws)) for place, row in zip(places, rows, strict=True)]
    wholes = [(row, *_whole_name(view, way, flaws)) for row, way, _, _ in whole_changes(view, film, facts)]
    return named, wholes


def _name_of(place, true):
    area = place.sum()
    for kind, mask in true:
        wide = cv2.dilate(mask.view(np.uint8), np.ones((3, 3), np.uint8)).view(bool) if kind == "pit" else mask
        both = (wide & place).sum()
        if kind == "pit":
            share = both / area * (0.5 if area > _LARGEST_PIT_PX else 1)
            return ("pit", 1.0) if share > _IN_PIT else ("", 0.0 if share > _MISSES else 1.0)
        share = both / (mask.sum() + area - both)
        if kind in _WHOLE:  # the paler half is no spot, nor is it nothing
            return "", 0.0 if share > _MISSES else 1.0
        return ("place", 1.0) if share > _COVERS else ("", _BETWEEN if share > _MISSES else 1.0)
    return "", 1.0


def _whole_name(view, way, true):
    for kind, mask in true:
        if kind in _WHOLE:
            y, x = np.nonzero(view.inner)
            place = way[0] * (2 * x / view.mask.shape[1] - 1) + way[1] * (2 * y / view.mask.shape[0] - 1)
            alike = abs(np.corrcoef(place, mask[view.inner])[0, 1])
            return (kind, 1.0) if alike > _ALONG else ("", 0.2 if alike > _ALONG / 2 else 1.0)
    return "", 1.0


def fit(places, wholes, seed=0):
    """Return the table of fitted trees of each kind of candidate; a share of what is no flaw stands for all of it."""
    rng, out = np.random.default_rng(seed), {}
    for name, count in _TREES.items():
        rows, cues, share = (wholes, WHOLE_CUES, 1.0) if name in _WHOLE else (places, CUES, _SOUND_SHARE)
        seen, names, weights = (np.array(column) for column in zip(*rows, strict=True))
        wanted = names == name
        kept = (wanted | (rng.random(len(wanted)) < share)) & (weights > 0)
        weights = np.where(wanted, weights, weights / share)[kept]
        rising = np.array([_RISING.get(cue, 0) for cue in cues])
        trees = fit_trees(seen[kept], wanted[kept], weights, count=count, rate=_RATE, keep=4.0, rising=rising)
        out[name] = {**as_table(trees), "cues": list(cues)}
    return out


def main():
    """Collect from both renderers, fit, and write the trees."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="0:150", help="first:end, of either renderer")
    parser.add_argument("--out", type=Path)
    options = parser.parse_args()
    first, end = (int(n) for n in options.seeds.split(":"))
    rows = [collect(renderer, range(first, end)) for renderer in "ab"]
    places, wholes = (list(chain.from_iterable(part)) for part in zip(*rows, strict=True))
    tables = fit(places, wholes)
    print(f"{len(places)} places, {len(wholes)} changes over whole parts")
    if options.out:
        options.out.write_text(json.dumps(tables) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()

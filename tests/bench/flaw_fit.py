"""Fit the trees that judge candidates for flaws: python -m tests.bench.flaw_fit [--a 0:12] [--b 0:24] [--out FILE].

Seeds are set-ups. Each scene serves with parts given and as found; sound ones serve again with flaws painted over them.
"""

import argparse
from dataclasses import dataclass
from itertools import chain

import cv2
import numpy as np

from dyebook.errors import PhotoError
from dyebook.photo.card.card import card_at
from dyebook.photo.file.read import read_photo
from dyebook.photo.flaw.candidates import fields_of, regions_of
from dyebook.photo.flaw.features import FEATURES, part_facts, places_of
from dyebook.photo.flaw.find import PLACE_KINDS
from dyebook.photo.flaw.view import unshaded, view_part
from dyebook.photo.flaw.whole import WHOLE_FEATURES, whole_changes
from dyebook.photo.light import fit_light
from dyebook.photo.part.find import find_parts
from dyebook.photo.part.part import part_at
from dyebook.photo.reading import read_parts
from tests.bench.boost import as_table, asked, fit_trees, write_weights
from tests.bench.flaw_scenes import flaw_scene
from tests.bench.flaw_strokes import painted
from tests.bench.scenes import first_end

__all__ = ["Seen", "fit", "rows_of", "seen_parts"]

_WHOLE = ("gradient", "two_tone")
# overlap from which a place is a flaw, and below which it clearly is none; what lies between is too large or too small,
# and counts less
_COVERS, _MISSES, _BETWEEN = 0.35, 0.1, 0.4
# a pit is small: this share of a place must lie in true pits
_IN_PIT, _LARGEST_PIT_PX = 0.45, 60
_ALONG = 0.6
# paintings of each sound part
_TAKES = 2
# many small trees: what they tilt on carries over to another world better than what few large ones do
_TREES = {"place": 240, "pit": 240, "gradient": 130, "two_tone": 130, **dict.fromkeys(PLACE_KINDS, 60)}
_LEVELS, _RATE, _SOUND_SHARE = 2, 0.09, 0.15
# whether a spot, streak or pale zone reaches the rim is a painter's habit: it may tell the kinds apart, but not whether
# there is a flaw
_HABITS = {"place": ("open_rim",)}
_KIND_FEATURES = (
    "long_to_wide",
    "wide_to_part",
    "long_to_part",
    "area_share",
    "area_windows",
    "open_rim",
    "edge",
    "paler",
    "filled",
)
# the probability may only rise (1) or only fall (-1) with these: a fit to two worlds must not learn their habits
_COMPARED = ("delta_e", "delta_chroma", "ring_distance", "ring_chroma", "height_mean")
_RISING = {
    **dict.fromkeys((*_COMPARED, "height_top", "height_others", "share_of_all"), 1),
    **{f"{feature}_usual": 1 for feature in _COMPARED},
    **{f"{feature}_rank": -1 for feature in _COMPARED},
    **dict.fromkeys(("ring_spread", "rivals", "uneven", "tilt", "open_rim"), -1),
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
    """Return rows of (features, judge, weight, kind) of places, and of changes over whole parts, as `rows_of` does."""
    places, wholes = [], []
    for seed in seeds:
        scene = flaw_scene(renderer, seed)
        for seen in _with_painted(seed, seen_parts(scene)) if scene.card_quad is not None else ():
            rows = rows_of(seen.view, seen.film, seen.flaws)
            places += rows[0]
            wholes += rows[1]
    return places, wholes


def _with_painted(seed, parts):
    """Yield parts, and the sound ones again with flaws painted over them."""
    rng = np.random.default_rng([seed, 41])
    for seen in parts:
        yield seen
        for _ in range(0 if seen.flaws else _TAKES):
            if (flawed := painted(rng, seen)) is not None:
                yield flawed


def rows_of(view, film, flaws, rest=None):
    """Return rows of (features, judge, weight, kind) of a part's places, and of its changes as a whole.

    The judge is the name of the trees that are to call it a flaw, "" for none; the kind is the flaw's own.
    """
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
            return ("pit", 1.0, kind) if share > _IN_PIT else ("", 0.0 if share > _MISSES else 1.0, "")
        share = both / (mask.sum() + area - both)
        if kind in _WHOLE:  # the paler half is no spot, nor is it nothing
            return "", 0.0 if share > _MISSES else 1.0, ""
        return ("place", 1.0, kind) if share > _COVERS else ("", _BETWEEN if share > _MISSES else 1.0, "")
    return "", 1.0, ""


def _whole_name(view, way, true):
    for kind, mask in true:
        if kind in _WHOLE:
            y, x = np.nonzero(view.inner)
            place = way[0] * (2 * x / view.mask.shape[1] - 1) + way[1] * (2 * y / view.mask.shape[0] - 1)
            covered = mask[view.inner]
            alike = 0.0 if covered.all() or not covered.any() else abs(np.corrcoef(place, covered)[0, 1])
            return (kind, 1.0, kind) if alike > _ALONG else ("", 0.2 if alike > _ALONG / 2 else 1.0, "")
    return "", 1.0, ""


def fit(places, wholes, seed=0):
    """Return the fitted trees by name; a share of what is no flaw stands for all of it."""
    rng, out = np.random.default_rng(seed), {}
    for name, count in _TREES.items():
        rows, features = (wholes if name in _WHOLE else places), features_of(name)
        seen, wanted, weights = _kind_task(rows, name) if name in PLACE_KINDS else _flaw_task(rows, name, rng)
        rising = np.array([0 if name in PLACE_KINDS else _RISING.get(feature, 0) for feature in features])
        allowed = np.array(
            [
                feature in _KIND_FEATURES if name in PLACE_KINDS else feature not in _HABITS.get(name, ())
                for feature in features
            ]
        )
        options = {"count": count, "rate": _RATE, "keep": 4.0, "levels": _LEVELS}
        trees = fit_trees(seen, wanted, weights, rising=rising, allowed=allowed, **options)
        out[name] = trees
    return out


def _flaw_task(rows, name, rng):
    """Features, whether they are of such flaws, and weights."""
    seen, judges, weights, _ = (np.array(column) for column in zip(*rows, strict=True))
    share = 1.0 if name in _WHOLE else _SOUND_SHARE
    wanted = judges == name
    kept = (wanted | (rng.random(len(wanted)) < share)) & (weights > 0)
    return seen[kept], wanted[kept], np.where(wanted, weights, weights / share)[kept]


def _kind_task(rows, name):
    """Features of places that are flaws, whether of this kind, and weights that make all kinds equally common."""
    seen, kinds = (np.array(column) for column in zip(*((r[0], r[3]) for r in rows if r[1] == "place"), strict=True))
    common = {kind: max((kinds == kind).sum(), 1) for kind in PLACE_KINDS}
    return seen, kinds == name, np.array([len(kinds) / (3 * common[kind]) for kind in kinds])


def features_of(name):
    """Return the features that trees of a name look at."""
    return WHOLE_FEATURES if name in _WHOLE else FEATURES


def main():
    """Collect from both worlds, fit, and write the trees if asked to."""
    parser = argparse.ArgumentParser(description=__doc__)
    seeds, out = asked(parser, a="0:12", b="0:24")
    rows = [collect(world, first_end(text)) for world, text in seeds.items()]
    places, wholes = (list(chain.from_iterable(part)) for part in zip(*rows, strict=True))
    trees = fit(places, wholes)
    print(f"{len(places)} places, {len(wholes)} changes over whole parts")
    if out:
        scores = {"not scored": "run python -m tests.bench.flaw and tests.bench.flaw_threshold"}
        tables = {name: as_table(one, features_of(name)) for name, one in trees.items()}
        write_weights(out, "flaw_fit", seeds, scores, tables)


if __name__ == "__main__":
    main()

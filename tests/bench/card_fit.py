"""Fit the weights of `dyebook/photo/card_score.py`.

Run as: python -m tests.bench.card_fit [--first 1000:1060] [--second 50000:50120] [--composite 0:120]

A logistic regression over the patches of rendered scenes and composites: of each photo the patch that is the card
against all that are not. Each rendered scene counts a second time as a poorer camera would have taken it. The sign of
each weight is held to what the trait means, so that an accident of one renderer cannot turn it. Each card also counts
once more in the colour of a painted tag, as what it then is: not a card.
"""

import argparse
import zlib

import cv2
import numpy as np
from scipy.optimize import minimize

from dyebook.photo.card.features import TINT_FREE, TRAITS
from dyebook.photo.card.find import card_candidates
from dyebook.photo.file.read import read_photo

from .composites import disturbed
from .scenes import card_overlap, card_scenes, first_end

NAMES = list(TRAITS)
GOOD = ("support", "support_least", "frame", "level")
# Few scenes show a grey tag, a painted or a dark plate, but what has a hole, a colour of its own or a darkness no card
# comes to is no card, and a rim is no part of the grey area.
AT_MOST = {"holed": -1.5, "lip": -2.0, "tinted": -12.0, "dark": -8.0, "gloom": -2.0}
# And a card lies close by or far off as its owner likes; a thick one may show a lit edge.
AT_LEAST = {"large": -4.0, "small": -3.0, "ridge": -60.0}
_RIDGE = 0.0005
_TWIN = 0.25  # weight of a coloured twin against a patch that was seen


def patches(scenes):
    """Return traits (N, traits), overlap with the true card (N,) and name of the scene (N,) of all patches."""
    rows = []
    for scene in scenes:
        for name, photo, quad in _takes(scene):
            for one in card_candidates(photo, whole=True):
                rows.append((one.traits, 0.0 if quad is None else card_overlap(one.quad, quad), name))
    traits, same, names = zip(*rows, strict=True)
    return np.array(traits), np.array(same), np.array(names)


def _takes(scene):
    """Yield a scene as it is and, if rendered, as a poorer camera would have taken it: name, photo, quad."""
    photo, name = scene.photo(), scene.name + ("-bare" if scene.card_quad is None else "")
    yield name, photo, scene.card_quad
    if not name.startswith("c"):
        small = photo.reduced(1000)
        image = disturbed(small.pixels, np.random.default_rng(zlib.crc32(name.encode())))
        data = cv2.imencode(".png", np.ascontiguousarray(image[..., ::-1]))[1].tobytes()
        yield name + "*", read_photo(data), None if scene.card_quad is None else scene.card_quad / small.scale


def is_card(same, names):
    """Which patches are the card: the one that covers it best, of each scene."""
    chosen = np.zeros(len(same), bool)
    for name in np.unique(names):
        rows = np.flatnonzero(names == name)
        best = rows[np.argmax(same[rows])]
        chosen[best] = same[best] > 0.9
    return chosen


def tinted_twins(traits, rng):
    """Return the traits of cards as they would be in the colour of a painted tag."""
    twins = traits.copy()
    more = rng.uniform(0.2, 0.8, len(twins))
    column = {name: NAMES.index(name) for name in ("cast", "tinted", "green", "warm")}
    twins[:, column["cast"]] += more
    twins[:, column["tinted"]] = np.maximum(twins[:, column["cast"]] - TINT_FREE, 0)
    hue = rng.uniform(0, np.pi / 2, len(twins))
    twins[:, column["green"]] += more * np.sin(hue)
    twins[:, column["warm"]] += more * np.cos(hue)
    return twins


def fit(traits, same, names):
    """Return weights (traits,) and offset of the log odds."""
    card = is_card(same, names)
    kept = card | (same < 0.75)
    twins = tinted_twins(traits[card], np.random.default_rng(0))
    rows = np.concatenate([traits[kept], twins])
    sign = np.concatenate([np.where(card[kept], 1.0, -1.0), -np.ones(len(twins))])
    heft = np.concatenate([np.ones(kept.sum()), np.full(len(twins), _TWIN)])
    heft /= heft.sum()
    middle, spread = rows.mean(axis=0), rows.std(axis=0) + 1e-6
    scaled = (rows - middle) / spread

    def loss(values):
        odds = sign * (scaled @ values[:-1] + values[-1])
        slope = -sign * heft / (1 + np.exp(np.clip(odds, -50, 50)))
        push = np.append(scaled.T @ slope + 2 * _RIDGE * values[:-1], slope.sum())
        return heft @ np.logaddexp(0, -odds) + _RIDGE * (values[:-1] ** 2).sum(), push

    limits = [
        (0, None) if n in GOOD else (AT_LEAST.get(n, -np.inf) * s, AT_MOST.get(n, 0) * s)
        for n, s in zip(NAMES, spread, strict=True)
    ]
    limits.append((None, None))
    best = minimize(loss, np.zeros(len(NAMES) + 1), jac=True, bounds=limits, method="L-BFGS-B").x
    weights = best[:-1] / spread
    return weights, best[-1] - weights @ middle


def main():
    """Print the weights as they stand in the code."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=first_end, default=range(1000, 1060))
    parser.add_argument("--second", type=first_end, default=range(50000, 50120))
    parser.add_argument("--composite", type=first_end, default=range(120))
    options = parser.parse_args()
    parts = [
        patches(card_scenes(renderer, seeds))
        for renderer, seeds in (("a", options.first), ("b", options.second), ("c", options.composite))
        if len(seeds)
    ]
    weights, offset = fit(*(np.concatenate(columns) for columns in zip(*parts, strict=True)))
    print(f"_OFFSET = {offset:.3f}\n_WEIGHTS = {{")
    for name, weight in zip(NAMES, weights, strict=True):
        print(f'    "{name}": {weight:.3f},')
    print("}")


if __name__ == "__main__":
    main()

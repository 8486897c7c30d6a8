"""Fit the weights that judge patches for the card: python -m tests.bench.card_fit [--a 0:96] [--out FILE].

A logistic regression over the patches of rendered scenes and composites: of each photo the patch that is the card
against all that are not. Each rendered scene counts a second time as a poorer camera would have taken it. The sign of
each weight is held to what the feature means, so that an accident of one world cannot turn it. Each card also counts
once more in the colour of a painted tag, as what it then is: not a card.
"""

import argparse
import zlib

import cv2
import numpy as np
from scipy.optimize import minimize

from dyebook.photo.card.features import FEATURES, TINT_FREE
from dyebook.photo.card.find import card_candidates
from dyebook.photo.file.read import read_photo
from tests.bench.boost import asked, write_weights
from tests.bench.composites import disturbed
from tests.bench.scenes import card_overlap, card_scenes, first_end

NAMES = list(FEATURES)
GOOD = ("support", "support_least", "frame", "level")
# Few scenes show a grey tag or a painted plate, but what has a hole or a colour of its own is no card, and a rim is no
# part of the grey area. How dark a card may be is left to the photographs: held to no card's darkness against the
# brightest thing, one in ten was missed beside mirroring metal.
AT_MOST = {"hole": -1.5, "inner_band": -2.0, "tinted": -8.0, "too_dark": -2.0}
# And a card lies close by or far off as its owner likes; a thick one may show a lit edge.
AT_LEAST = {"large": -4.0, "small": -1.0, "ridge": -60.0}
_RIDGE = 0.0005
_TWIN = 0.25  # weight of a coloured twin against a patch that was seen


def patches(scenes):
    """Return features (N, features), overlap with the true card (N,) and name of the scene (N,) of all patches."""
    rows = []
    for scene in scenes:
        for name, photo, quad in _takes(scene):
            for one in card_candidates(photo, whole=True):
                rows.append((one.features, 0.0 if quad is None else card_overlap(one.quad, quad), name))
    features, same, names = zip(*rows, strict=True) if rows else ((), (), ())
    return np.reshape(features, (-1, len(NAMES))), np.array(same, float), np.array(names, str)


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


def tinted_twins(features, rng):
    """Return the features of cards as they would be in the colour of a painted tag."""
    twins = features.copy()
    more = rng.uniform(0.2, 0.8, len(twins))
    column = {name: NAMES.index(name) for name in ("cast", "tinted", "green", "warm")}
    twins[:, column["cast"]] += more
    twins[:, column["tinted"]] = np.maximum(twins[:, column["cast"]] - TINT_FREE, 0)
    hue = rng.uniform(0, np.pi / 2, len(twins))
    twins[:, column["green"]] += more * np.sin(hue)
    twins[:, column["warm"]] += more * np.cos(hue)
    return twins


def fit(features, same, names):
    """Return the weights (features,) and the offset of the log odds."""
    card = is_card(same, names)
    kept = card | (same < 0.75)
    twins = tinted_twins(features[card], np.random.default_rng(0))
    rows = np.concatenate([features[kept], twins])
    sign = np.concatenate([np.where(card[kept], 1.0, -1.0), -np.ones(len(twins))])
    share = np.concatenate([np.ones(kept.sum()), np.full(len(twins), _TWIN)])
    worlds = np.array([name[0] for name in np.concatenate([names[kept], names[card]])])
    for world in np.unique(worlds):  # each counts as much, however many photographs it has
        share[worlds == world] /= share[worlds == world].sum()
    share /= share.sum()
    middle, spread = rows.mean(axis=0), rows.std(axis=0) + 1e-6
    scaled = (rows - middle) / spread

    def loss(values):
        margin = sign * (scaled @ values[:-1] + values[-1])
        slope = -sign * share / (1 + np.exp(np.clip(margin, -50, 50)))
        push = np.append(scaled.T @ slope + 2 * _RIDGE * values[:-1], slope.sum())
        return share @ np.logaddexp(0, -margin) + _RIDGE * (values[:-1] ** 2).sum(), push

    limits = [
        (0, None) if n in GOOD else (AT_LEAST.get(n, -np.inf) * s, AT_MOST.get(n, 0) * s)
        for n, s in zip(NAMES, spread, strict=True)
    ]
    limits.append((None, None))
    best = minimize(loss, np.zeros(len(NAMES) + 1), jac=True, bounds=limits, method="L-BFGS-B").x
    weights = best[:-1] / spread
    return weights, best[-1] - weights @ middle


def separation(features, same, names, weights, start):
    """Return the share of photos with a card whose likeliest patch it is, and those without one that stay below 0.5."""
    log_odds = features @ weights + start
    card, right, empty, quiet = is_card(same, names), 0, 0, 0
    for name in np.unique(names):
        rows = np.flatnonzero(names == name)
        best = rows[log_odds[rows].argmax()]
        if card[rows].any():
            right += card[best]
        else:
            empty, quiet = empty + 1, quiet + (log_odds[best] < 0)
    shown = len(np.unique(names)) - empty
    return [round(float(right / max(shown, 1)), 3), round(float(quiet / max(empty, 1)), 3)]


def main():
    """Fit, print the weights, and write them if asked to."""
    parser = argparse.ArgumentParser(description=__doc__)
    seeds, out = asked(parser, a="0:96", b="0:192", c="0:120")
    parts = [patches(card_scenes(renderer, first_end(text))) for renderer, text in seeds.items()]
    rows = [np.concatenate(columns) for columns in zip(*parts, strict=True)]
    weights, start = fit(*rows)
    scores = {"card is the likeliest, without one all below 0.5 (fitted photos)": separation(*rows, weights, start)}
    print(f"start {start:.3f}", *(f"{name} {one:.3f}" for name, one in zip(NAMES, weights, strict=True)), sep="\n")
    print(scores)
    if out:
        table = {"features": NAMES, "start": round(start, 3), "weights": np.round(weights, 3).tolist()}
        write_weights(out, "card_fit", seeds, scores, {"card": table})


if __name__ == "__main__":
    main()

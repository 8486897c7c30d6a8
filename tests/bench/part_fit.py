"""Fit the trees that judge candidates for parts: python -m tests.bench.part_fit [--a 0:96] [--b 0:192] [--out FILE].

Says how well trees fitted to one world judge the other's candidates; with --out, writes trees fitted to all of them.
"""

import argparse

import numpy as np

from dyebook.photo.part.features import FEATURES
from tests.bench.boost import as_table, asked, fit_trees, write_weights
from tests.bench.part_scenes import candidate_rows, opened
from tests.bench.scenes import first_end

# probability that may only rise (+1) or fall (-1) with a feature, whatever a renderer's habits
RISING = {
    "edge_median": 1,
    "edge_low": 1,
    "edge_least_side": 1,
    "solidity": 1,
    "half_turn": 1,
    "frame_contact": -1,
    "chroma": 1,
    "ground_spread": -1,
    "ground_alike": -1,
    "lobe": 1,
    "rim_spread": 1,
    "shadow_side": -1,
}


def collect(renderer, seeds):
    """Return features (N, K) and overlaps (N,) of all candidates of many scenes."""
    pairs = [candidate_rows(*one) for one in opened(renderer, seeds)]
    rows = np.array([row for rows, _ in pairs for row in rows])
    return rows.reshape(-1, len(FEATURES)), np.array([v for _, vs in pairs for v in vs])


def fit(rows, overlaps):
    """Return the fitted trees: "part" says whether a region is on a part, "outline" whether it ends where a part does.

    For the one a region that covers a third or half of a part says little either way, to the other it says most.
    """
    rising = np.array([RISING.get(feature, 0) for feature in FEATURES])
    weights = np.where((overlaps > 0.3) & (overlaps < 0.5), 0.3, 1.0)
    on = overlaps > 0.25
    # few features for each tree: trees that use many weak features carry over to another world better
    return {
        "part": fit_trees(rows, overlaps > 0.5, weights, count=160, rate=0.07, share=0.4, rising=rising, levels=4),
        "outline": fit_trees(rows[on], overlaps[on] > 0.75, count=120, rate=0.07, share=0.4),
    }


def judged(rows, overlaps, trees):
    """Return the share of regions that are parts, and of others, with a probability above 0.5."""
    likely = trees["part"].probability(rows) > 0.5
    return [round(float(np.mean(likely[group])), 3) for group in (overlaps > 0.6, overlaps < 0.4)]


def main():
    """Collect, cross-check, and write the trees if asked to."""
    parser = argparse.ArgumentParser(description=__doc__)
    seeds, out = asked(parser, a="0:96", b="0:192")
    rows = {world: collect(world, first_end(text)) for world, text in seeds.items()}
    scores = {
        f"{one} judged by {other}": judged(*rows[one], fit(*rows[other]))
        for one, other in ("ab", "ba")
        if len(rows[one][0]) and len(rows[other][0])
    }
    print("share of part regions and of others with a probability above 0.5:", scores)
    if out:
        trees = fit(*(np.concatenate(both) for both in zip(*rows.values(), strict=True)))
        scores = scores or {"not scored": "fitted to one world"}
        write_weights(out, "part_fit", seeds, scores, {name: as_table(one, FEATURES) for name, one in trees.items()})


if __name__ == "__main__":
    main()

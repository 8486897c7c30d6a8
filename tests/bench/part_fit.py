"""Fit the trees that judge candidates for parts: python -m tests.bench.part_fit [--seeds 0:250] [--out FILE].

Says how well trees fitted to one world judge the other's candidates; with --out, writes trees fitted to both.
"""

import argparse
from pathlib import Path

import numpy as np

from dyebook.photo.part.features import FEATURES
from tests.bench.boost import as_table, fit_trees, write_weights
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
    return np.array([row for rows, _ in pairs for row in rows]), np.array([v for _, vs in pairs for v in vs])


def fit(rows, overlaps):
    """Return fitted trees; a region that covers a part by half or so says little either way."""
    weights = np.where((overlaps > 0.5) & (overlaps < 0.75), 0.3, 1.0)
    rising = np.array([RISING.get(feature, 0) for feature in FEATURES])
    # few features for each tree: trees that use many weak features carry over to another world better
    return fit_trees(rows, overlaps > 0.7, weights, count=160, rate=0.07, share=0.4, rising=rising)


def judged(rows, overlaps, trees):
    """Return the share of regions that are parts, and of others, with a probability above 0.4."""
    likely = trees.probability(rows) > 0.4
    return [round(float(np.mean(likely[group])), 3) for group in (overlaps > 0.6, overlaps < 0.4)]


def main():
    """Collect, cross-check, and write the trees if asked to."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="0:250", help="first:end, end not included")
    parser.add_argument("--out", type=Path)
    options = parser.parse_args()
    seeds = first_end(options.seeds)
    a, b = collect("a", seeds), collect("b", seeds)
    scores = {"a judged by b": judged(*a, fit(*b)), "b judged by a": judged(*b, fit(*a))}
    print("share of part regions and of others with a probability above 0.4:", scores)
    if options.out:
        trees = fit(*(np.concatenate(both) for both in zip(a, b, strict=True)))
        command = f"python -m tests.bench.part_fit --seeds {options.seeds}"
        write_weights(
            options.out, command, {"a": options.seeds, "b": options.seeds}, scores, {"part": as_table(trees, FEATURES)}
        )


if __name__ == "__main__":
    main()

"""Fit the trees that judge candidates: python -m tests.bench.part_fit --seeds 0:250 [--out FILE].

The part finder reads dyebook/photo/part_trees.json.

Without --out it only says how well trees fitted to one renderer judge the other's candidates.
"""

import argparse
import json
from pathlib import Path

import numpy as np

from dyebook.photo.part.features import CUES
from tests.bench.boost import fit_trees, odds
from tests.bench.part_scenes import candidate_rows, opened

# odds that may only rise (+1) or fall (-1) with a cue, whatever a renderer's habits
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
    """Return cues (N, K) and overlaps (N,) of all candidates of many scenes."""
    pairs = [candidate_rows(*one) for one in opened(renderer, seeds)]
    return np.array([row for rows, _ in pairs for row in rows]), np.array([v for _, vs in pairs for v in vs])


def fit(rows, overlaps):
    """Return fitted trees; a region that covers a part by half or so says little either way."""
    weights = np.where((overlaps > 0.5) & (overlaps < 0.75), 0.3, 1.0)
    rising = np.array([RISING.get(cue, 0) for cue in CUES])
    # few cues for each tree: trees that lean on many weak cues carry over to another renderer better
    return fit_trees(rows, overlaps > 0.7, weights, count=160, rate=0.07, share=0.4, rising=rising)


def as_table(trees):
    """Return trees as the plain table that the part finder reads."""
    cue, threshold, leaf, start = trees
    # an unused fork sends everything left
    threshold = np.where(np.isfinite(threshold), np.round(threshold, 4), 1e9)
    return {
        "cues": list(CUES),
        "start": round(start, 4),
        "cue": cue.tolist(),
        "threshold": threshold.tolist(),
        "leaf": np.round(leaf, 4).tolist(),
    }


def _report(name, rows, overlaps, trees):
    chance = odds(rows, trees)
    part, clutter = overlaps > 0.6, overlaps < 0.4
    print(
        f"{name}: {np.mean(chance[part] > 0.4):.3f} of part regions and {np.mean(chance[clutter] > 0.4):.3f} of others"
    )


def main():
    """Collect, cross-check, and write the trees if asked to."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="0:250", help="first:end, end not included")
    parser.add_argument("--out", type=Path)
    options = parser.parse_args()
    seeds = range(*(int(n) for n in options.seeds.split(":")))
    a, b = collect("a", seeds), collect("b", seeds)
    _report("fitted to a, odds above 0.4 on b", *b, fit(*a))
    _report("fitted to b, odds above 0.4 on a", *a, fit(*b))
    if options.out:
        trees = fit(*(np.concatenate(both) for both in zip(a, b, strict=True)))
        options.out.write_text(json.dumps(as_table(trees)) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()

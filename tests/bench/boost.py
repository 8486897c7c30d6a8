"""Fit an additive set of small decision trees by gradient boosting, in plain numpy; write classifiers down."""

import json
from pathlib import Path

import numpy as np

from dyebook.photo.classifier import Trees

_BINS = 48
_NEVER = 1e9
# least curvature of the loss in a leaf
_SMALLEST = 1.5


def fit_trees(
    rows, wanted, weights=None, count=120, rate=0.08, keep=5.0, share=0.7, seed=0, rising=None, levels=3, allowed=None
):
    """Return fitted `Trees`.

    Parameters
    ----------
    rows : ndarray of shape (N, K)
    wanted : ndarray of bool, shape (N,)
    weights : ndarray of shape (N,), optional
    rising : ndarray of int, shape (K,), optional
        +1 where the probability may only rise with a feature, -1 where they may only fall, 0 where both are possible.
    count, rate : int, float
        Number of trees, and the share of each step that is taken.
    keep : float
        Ridge on the leaves.
    share : float
        Part of the rows, and of the features, each tree sees.
    seed : int
    levels : int
        Forks from the root of each tree to a leaf.
    allowed : ndarray of bool, shape (K,), optional
        Features that may be used; all if left out.
    """
    allowed = np.ones(np.shape(rows)[1], bool) if allowed is None else allowed
    rising = np.zeros(np.shape(rows)[1], int) if rising is None else rising
    rng = np.random.default_rng(seed)
    rows = np.asarray(rows, float)
    weights = np.ones(len(rows)) if weights is None else np.asarray(weights, float)
    cuts = [np.unique(np.quantile(column, np.linspace(0, 1, _BINS + 1)[1:-1])) for column in rows.T]
    codes = np.stack([np.searchsorted(cut, column) for cut, column in zip(cuts, rows.T, strict=True)], axis=1)
    mean = np.clip(np.average(wanted, weights=weights), 1e-4, 1 - 1e-4)
    start = float(np.log(mean / (1 - mean)))
    score = np.full(len(rows), start)
    trees = []
    for _ in range(count):
        probability = 1 / (1 + np.exp(-score))
        picked = rng.random(len(rows)) < share
        features = np.flatnonzero((rng.random(rows.shape[1]) < share) & allowed)
        slope = weights * (wanted - probability) * picked
        bend = weights * probability * (1 - probability) * picked
        tree = _grow(codes, cuts, features, slope, bend, keep, rising, levels)
        tree = tree[0], tree[1], tree[2] * rate
        score += tree[2][_leaf_of(rows, *tree[:2])]
        trees.append(tree)
    feature, threshold, leaf = (np.stack(part) for part in zip(*trees, strict=True))
    # an unused fork sends everything left
    return Trees(feature, np.where(np.isfinite(threshold), threshold, _NEVER), leaf, start)


def _leaf_of(rows, feature, threshold):
    node = np.zeros(len(rows), int)
    for _ in range(len(feature).bit_length()):
        node = 2 * node + 1 + (rows[np.arange(len(rows)), feature[node]] > threshold[node])
    return node - len(feature)


def _grow(codes, cuts, features, slope, bend, keep, rising, levels):
    leaves = 2**levels
    feature, threshold, leaf = np.zeros(leaves - 1, int), np.full(leaves - 1, np.inf), np.zeros(leaves)
    node = np.zeros(len(codes), int)
    for fork in range(leaves - 1):
        mine = np.flatnonzero((node == fork) & (bend > 0))
        best = _best_split(codes[mine], cuts, features, slope[mine], bend[mine], keep, rising)
        if best is not None:
            feature[fork], cut = best
            threshold[fork] = cuts[feature[fork]][cut]
        here = node == fork
        right = codes[:, feature[fork]] > (best[1] if best is not None else _BINS + 1)
        node[here] = 2 * fork + 1 + right[here]
    for k in range(leaves):
        mine = node == k + leaves - 1
        leaf[k] = slope[mine].sum() / (bend[mine].sum() + keep)
    return feature, threshold, leaf


def _best_split(codes, cuts, features, slope, bend, keep, rising):
    """Cue and cut of the largest gain, or None."""
    best, answer = 1e-6, None
    total, weight = slope.sum(), bend.sum()
    for feature in features:
        if not len(cuts[feature]):
            continue
        low = np.bincount(codes[:, feature], slope, _BINS + 1).cumsum()[: len(cuts[feature])]
        mass = np.bincount(codes[:, feature], bend, _BINS + 1).cumsum()[: len(cuts[feature])]
        gain = low**2 / (mass + keep) + (total - low) ** 2 / (weight - mass + keep) - total**2 / (weight + keep)
        gain[(mass < _SMALLEST) | (weight - mass < _SMALLEST)] = 0
        if rising[feature]:
            gain[rising[feature] * ((total - low) / (weight - mass + keep) - low / (mass + keep)) < 0] = 0
        if len(gain) and gain.max() > best:
            best, answer = gain.max(), (feature, int(gain.argmax()))
    return answer


def as_table(trees, features):
    """Return trees as the plain table that `weights.json` holds."""
    return {
        "features": list(features),
        "start": round(trees.start, 4),
        "feature": trees.feature.tolist(),
        "threshold": np.round(trees.threshold, 4).tolist(),
        "leaf": np.round(trees.leaf, 4).tolist(),
    }


def asked(parser, **usual):
    """Parse the command; return the seeds "first:end" of each world ("0:0" for none), and the file to write or None."""
    for world, text in usual.items():
        parser.add_argument(f"--{world}", default=text, help=f"seeds of world {world}, first:end")
    parser.add_argument("--out", type=Path, help="file to write")
    options = parser.parse_args()
    return {world: getattr(options, world) for world in usual}, options.out


def write_weights(path, module, seeds, scores, tables):
    """Write classifiers with the command, the seeds and the scores they came from, a line for each classifier."""
    command = " ".join([f"python -m tests.bench.{module}", *(f"--{world} {text}" for world, text in seeds.items())])
    fitted_by = json.dumps({"command": command, "seeds": seeds, "scores": scores}, ensure_ascii=False)
    rows = ",\n".join(f"  {json.dumps(name)}: {json.dumps(table)}" for name, table in tables.items())
    text = f'{{\n "fitted_by": {fitted_by},\n "classifiers": {{\n{rows}\n }}\n}}\n'
    path.write_text(text, encoding="utf-8")

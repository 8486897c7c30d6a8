"""Fit an additive set of small decision trees by gradient boosting, in plain numpy."""

import numpy as np

from dyebook.photo.trees import tree_odds

_BINS = 48
# least curvature of the loss in a leaf
_SMALLEST = 1.5


def fit_trees(
    rows, wanted, weights=None, count=120, rate=0.08, keep=5.0, share=0.7, seed=0, rising=None, levels=3, heard=None
):
    """Return (cue, threshold, leaf, start) of trees for log-odds.

    Parameters
    ----------
    rows : ndarray of shape (N, K)
    wanted : ndarray of bool, shape (N,)
    weights : ndarray of shape (N,), optional
    rising : ndarray of int, shape (K,), optional
        +1 where the odds may only rise with a cue, -1 where they may only fall, 0 where both are possible.
    count, rate : int, float
        Number of trees, and the share of each step that is taken.
    keep : float
        Ridge on the leaves.
    share : float
        Part of the rows, and of the cues, each tree sees.
    seed : int
    levels : int
        Forks from the root of each tree to a leaf.
    heard : ndarray of bool, shape (K,), optional
        Cues that have a say; all if left out.
    """
    heard = np.ones(np.shape(rows)[1], bool) if heard is None else heard
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
        chance = 1 / (1 + np.exp(-score))
        picked = rng.random(len(rows)) < share
        cues = np.flatnonzero((rng.random(rows.shape[1]) < share) & heard)
        slope = weights * (wanted - chance) * picked
        bend = weights * chance * (1 - chance) * picked
        tree = _grow(codes, cuts, cues, slope, bend, keep, rising, levels)
        tree = tree[0], tree[1], tree[2] * rate
        score += tree[2][_leaf_of(rows, *tree[:2])]
        trees.append(tree)
    cue, threshold, leaf = (np.stack(part) for part in zip(*trees, strict=True))
    return cue, threshold, leaf, start


def _leaf_of(rows, cue, threshold):
    node = np.zeros(len(rows), int)
    for _ in range(len(cue).bit_length()):
        node = 2 * node + 1 + (rows[np.arange(len(rows)), cue[node]] > threshold[node])
    return node - len(cue)


def _grow(codes, cuts, cues, slope, bend, keep, rising, levels):
    leaves = 2**levels
    cue, threshold, leaf = np.zeros(leaves - 1, int), np.full(leaves - 1, np.inf), np.zeros(leaves)
    node = np.zeros(len(codes), int)
    for fork in range(leaves - 1):
        mine = np.flatnonzero((node == fork) & (bend > 0))
        best = _best_split(codes[mine], cuts, cues, slope[mine], bend[mine], keep, rising)
        if best is not None:
            cue[fork], cut = best
            threshold[fork] = cuts[cue[fork]][cut]
        here = node == fork
        right = codes[:, cue[fork]] > (best[1] if best is not None else _BINS + 1)
        node[here] = 2 * fork + 1 + right[here]
    for k in range(leaves):
        mine = node == k + leaves - 1
        leaf[k] = slope[mine].sum() / (bend[mine].sum() + keep)
    return cue, threshold, leaf


def _best_split(codes, cuts, cues, slope, bend, keep, rising):
    """Cue and cut of the largest gain, or None."""
    best, answer = 1e-6, None
    total, weight = slope.sum(), bend.sum()
    for cue in cues:
        if not len(cuts[cue]):
            continue
        low = np.bincount(codes[:, cue], slope, _BINS + 1).cumsum()[: len(cuts[cue])]
        mass = np.bincount(codes[:, cue], bend, _BINS + 1).cumsum()[: len(cuts[cue])]
        gain = low**2 / (mass + keep) + (total - low) ** 2 / (weight - mass + keep) - total**2 / (weight + keep)
        gain[(mass < _SMALLEST) | (weight - mass < _SMALLEST)] = 0
        if rising[cue]:
            gain[rising[cue] * ((total - low) / (weight - mass + keep) - low / (mass + keep)) < 0] = 0
        if len(gain) and gain.max() > best:
            best, answer = gain.max(), (cue, int(gain.argmax()))
    return answer


def odds(rows, trees):
    """Return the probability that fitted trees give to rows."""
    return tree_odds(np.asarray(rows, float), *trees)

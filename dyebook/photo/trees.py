"""How likely a candidate is a part: a small additive set of decision trees over its cues."""

import json
from functools import cache
from importlib.resources import files

import numpy as np

from dyebook.photo.part.features import CUES

__all__ = ["part_odds"]


@cache
def _trees():
    """The fitted trees: cue and threshold of each fork, value of each leaf, and the starting score."""
    table = json.loads(files("dyebook.photo.part").joinpath("trees.json").read_text(encoding="utf-8"))
    if tuple(table["cues"]) != CUES:
        raise ValueError("part/trees.json was fitted to other cues; fit it again")
    return (
        np.array(table["cue"]),
        np.array(table["threshold"], dtype=float),
        np.array(table["leaf"], dtype=float),
        float(table["start"]),
    )


def part_odds(cues):
    """Return the probability of being a part for each row of cues.

    Parameters
    ----------
    cues : ndarray of shape (N, len(CUES))

    Returns
    -------
    ndarray of shape (N,)
        0 to 1.
    """
    cue, threshold, leaf, start = _trees()
    return tree_odds(np.asarray(cues, dtype=float).reshape(-1, len(CUES)), cue, threshold, leaf, start)


def tree_odds(rows, cue, threshold, leaf, start):
    """Return the probability that full binary trees give to each row; leaf (trees, 2**levels) tells their levels."""
    levels = leaf.shape[1].bit_length() - 1
    forks = np.zeros((len(rows), len(cue)), dtype=int)
    # flat places: looking up by two indices takes twice as long
    starts, first = np.arange(len(rows))[:, None] * rows.shape[1], np.arange(len(cue)) * cue.shape[1]
    for _ in range(levels):
        at = first + forks
        forks = 2 * forks + 1 + (np.take(rows, starts + np.take(cue, at)) > np.take(threshold, at))
    leaves = np.arange(len(leaf)) * leaf.shape[1] - (2**levels - 1)
    score = start + np.take(leaf, leaves + forks).sum(axis=1)
    return 1 / (1 + np.exp(-score))

"""From the features of candidates to probabilities: the classifiers that the finders of card, parts and flaws share.

Each finder keeps a `weights.json` of its own: what was fitted, by which command, on which seeds, with which scores. The
card is judged by a weighted sum of its features, parts and flaws by many small decision trees whose leaves add up;
either sum is a log odds, which the logistic function turns into a probability.
"""

import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np

__all__ = ["Trees", "WeightedSum", "load_classifiers", "log_odds"]


def log_odds(probability):
    """Return the log odds of a probability (0 to 1, both ends left out)."""
    return np.log(probability / (1 - probability))


@dataclass(frozen=True, eq=False)
class WeightedSum:
    """Logistic regression."""

    weights: np.ndarray  # (K,)
    start: float  # log odds where all features are 0

    @classmethod
    def from_table(cls, table):
        """Return the classifier of a table as `weights.json` holds it."""
        return cls(np.array(table["weights"], dtype=float), float(table["start"]))

    def probability(self, rows):
        """Return the probability (N,) of each row (N, K) of features."""
        return 1 / (1 + np.exp(-(self.start + np.asarray(rows, dtype=float) @ self.weights)))


@dataclass(frozen=True, eq=False)
class Trees:
    """An additive set of T full binary decision trees of the same depth D."""

    feature: np.ndarray  # int (T, 2**D - 1): which feature each fork looks at, root first
    threshold: np.ndarray  # (T, 2**D - 1): a fork sends what is above it to the right
    leaf: np.ndarray  # (T, 2**D): what each leaf adds to the log odds
    start: float  # log odds before any tree

    @classmethod
    def from_table(cls, table):
        """Return the classifier of a table as `weights.json` holds it."""
        threshold, leaf = (np.array(table[name], dtype=float) for name in ("threshold", "leaf"))
        return cls(np.array(table["feature"]), threshold, leaf, float(table["start"]))

    def probability(self, rows):
        """Return the probability (N,) of each row (N, K) of features."""
        rows = np.ascontiguousarray(rows, dtype=float)
        depth = self.leaf.shape[1].bit_length() - 1
        node = np.zeros((len(rows), len(self.feature)), dtype=int)
        # places in the flattened arrays: looking up by two indices takes twice as long
        row_start = np.arange(len(rows))[:, None] * rows.shape[1]
        tree_start = np.arange(len(self.feature)) * self.feature.shape[1]
        for _ in range(depth):
            fork = tree_start + node
            above = np.take(rows, row_start + np.take(self.feature, fork)) > np.take(self.threshold, fork)
            node = 2 * node + 1 + above
        leaf_start = np.arange(len(self.leaf)) * self.leaf.shape[1] - (2**depth - 1)
        total = self.start + np.take(self.leaf, leaf_start + node).sum(axis=1)
        return 1 / (1 + np.exp(-total))


@cache
def load_classifiers(package: str, **features):
    """Return the classifiers of a package's `weights.json` by name.

    `**features` (tuple of str): the features that each classifier by that name was to be fitted to, in order.
    """
    tables = json.loads(files(package).joinpath("weights.json").read_text(encoding="utf-8"))["classifiers"]
    for name, wanted in features.items():
        if tuple(tables[name]["features"]) != wanted:
            raise ValueError(f"{package}/weights.json holds a {name} fitted to other features; fit it again")
    return {name: (WeightedSum if "weights" in tables[name] else Trees).from_table(tables[name]) for name in features}

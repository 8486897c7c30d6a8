"""How likely a place, or a change over the whole part, is a flaw: additive sets of small decision trees."""

import json
from functools import cache
from importlib.resources import files

import numpy as np

from dyebook.photo.flaw_cues import CUES
from dyebook.photo.flaw_whole import WHOLE_CUES
from dyebook.photo.part_score import tree_odds

__all__ = ["as_trees", "flaw_odds"]

_CUES = {"place": CUES, "pit": CUES, "gradient": WHOLE_CUES, "two_tone": WHOLE_CUES}


@cache
def _tables():
    """The fitted trees by name: cue and threshold of each fork, value of each leaf, and the starting score."""
    tables = json.loads(files("dyebook.photo").joinpath("flaw_trees.json").read_text(encoding="utf-8"))
    for name, cues in _CUES.items():
        if tuple(tables[name]["cues"]) != cues:
            raise ValueError(f"flaw_trees.json was fitted to other cues of {name}; fit it again")
    return {name: as_trees(tables[name]) for name in _CUES}


def as_trees(table):
    """Return cue and threshold of each fork, value of each leaf, and the starting score of a fitted table."""
    return (
        np.array(table["cue"]),
        np.array(table["threshold"], dtype=float),
        np.array(table["leaf"], dtype=float),
        float(table["start"]),
    )


def flaw_odds(name, rows, trees=None):
    """Return the probability of a flaw for each row of cues.

    Parameters
    ----------
    name : str
        place (spot, streak or pale zone), pit, gradient or two_tone.
    rows : sequence of ndarray
        Cues as `flaw_cues` (place, pit) or `flaw_whole` (gradient, two_tone) gives them.
    trees : dict, optional
        By name, as `as_trees` makes them; the shipped ones if left out.

    Returns
    -------
    ndarray of shape (N,)
        0 to 1.
    """
    rows = np.asarray(rows, dtype=float).reshape(-1, len(_CUES[name]))
    return tree_odds(rows, *(_tables() if trees is None else trees)[name])

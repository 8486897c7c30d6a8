"""How likely a place, or a change over the whole part, is a flaw: additive sets of small decision trees."""

import json
from functools import cache
from importlib.resources import files

import numpy as np

from dyebook.photo.flaw_cues import CUES
from dyebook.photo.flaw_whole import WHOLE_CUES
from dyebook.photo.part_score import tree_odds

__all__ = ["PLACE_KINDS", "as_trees", "flaw_odds", "kind_of_place"]

# what a place that is a flaw may be
PLACE_KINDS = ("spot", "streak", "pale_zone")
_CUES = {
    **dict.fromkeys(("place", "pit", *PLACE_KINDS), CUES),
    **dict.fromkeys(("gradient", "two_tone"), WHOLE_CUES),
}


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
        place (any of `PLACE_KINDS`), pit, gradient or two_tone; or one of `PLACE_KINDS`, given that it is a flaw.
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


def kind_of_place(row, trees=None):
    """Return which of `PLACE_KINDS` a place that is a flaw is, by the form and direction that its cues tell."""
    return max(PLACE_KINDS, key=lambda kind: flaw_odds(kind, row, trees)[0])

"""How the bath's dips just before one came out: a bath that fades or is foul shows it in more than one batch."""

import numpy as np

from dyebook.advice.causes import STATES
from dyebook.advice.changes import CHANGES, change_likelihoods, play_changes
from dyebook.advice.seen import Seen

__all__ = ["LAST_DIPS", "dips_before"]

LAST_DIPS = 4
_LEAST_DIPS = 2
_READING_U = (0.8, 0.8, 0.8)
# dips of one bath share whatever the bath's model gets wrong, so each counts for less than it would alone
_SHARED = 0.5
# what the bath itself can do to all of its dips
_OF_BATH = {"as usual": ("as set",), "weaker": ("weaker bath", "less taken up"), "stronger": ("more dye",),
            "off too": ("foreign dye", "hue shifted", "another dye")}  # fmt: skip
_WORDS = {"as usual": "as they should", "weaker": "pale too, as from a weak bath", "stronger": "deep too",
          "off too": "off in hue too"}  # fmt: skip


def dips_before(model, dips):
    """Return evidence of the bath's last dips, or None where there are too few.

    Parameters
    ----------
    model : BathModel
        Learned from dips of the bath while it was as made up.
    dips : DataFrame
        The bath's dips before the one in question, oldest first, with L, a, b; the last few are looked at.

    Returns
    -------
    Seen or None
    """
    last = dips.tail(LAST_DIPS)
    if len(last) < _LEAST_DIPS:
        return None
    logs = np.sum([_log_chances(model, row) for row in last.to_dict("records")], axis=0)
    chances = np.exp(_SHARED * (logs - logs.max()))
    likeliest = STATES["before"][int(np.argmax(chances))]
    return Seen("before", tuple(chances), f"the {len(last)} dips before it came out {_WORDS[likeliest]}")


def _log_chances(model, row):
    """Log likelihood of one dip under each state of the bath."""
    u = [
        row[f"{axis}_sd"] if row.get(f"{axis}_sd", np.nan) > 0 else d for axis, d in zip("Lab", _READING_U, strict=True)
    ]
    known = {name: value for name, value in row.items() if value is not None and value == value}
    found = change_likelihoods(play_changes(model, known), np.array([row[axis] for axis in "Lab"], float), np.array(u))
    by_name = dict(zip(CHANGES, found, strict=True))
    return np.log([np.mean([by_name[name] for name in _OF_BATH[state]]) for state in STATES["before"]])

"""Parts found by themselves: regions that calm ground leaves over, judged by what they look like."""

import numpy as np

from dyebook.photo.part.candidates import candidates, distinct, overlap, view_of
from dyebook.photo.part.features import cues_of
from dyebook.photo.part.outline import outline_of, trimmed
from dyebook.photo.part.part import Part
from dyebook.photo.trees import part_odds

__all__ = ["find_parts", "part_candidates"]

# odds from which a candidate is reported, and below which the report carries a doubt
_LEAST = 0.42
_SURE = 0.65
_MOST_PARTS = 12


def find_parts(photo, card, light):
    """Return the parts in a photo, from left to right.

    Parameters
    ----------
    photo : LinearPhoto
    card : Card
        Never a part itself.
    light : Light
        Corrects the colours that the search goes by.

    Returns
    -------
    list of Part
        Ordered by the x of their middles; doubtful ones carry the flag `part_doubtful`.
    """
    view = view_of(photo, card, light)
    found = part_candidates(view)
    if not found:
        return []
    odds = part_odds(np.stack([cues_of(view, one) for one in found]))
    parts = [_part(photo, light, view, one, chance) for one, chance in _chosen(found, odds)]
    return sorted(parts, key=lambda part: part.box[0] + part.box[2])


def part_candidates(view):
    """Return the regions of a `PartView` that are judged, clear of shadows."""
    return distinct([trimmed(view, one) for one in candidates(view)])


def _chosen(found, odds):
    """The most likely candidates that do not lie over one another, with their odds."""
    taken = []
    for k in np.argsort(-odds):
        if odds[k] < _LEAST or len(taken) == _MOST_PARTS:
            break
        if all(overlap(found[k], other, of_smaller=True) < 0.3 for other, _ in taken):
            taken.append((found[k], float(odds[k])))
    return taken


def _part(photo, light, view, one, chance):
    flags = () if chance >= _SURE else ("part_doubtful",)
    return Part(outline_of(photo, light, one, view), chance, flags)

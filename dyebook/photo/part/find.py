"""Parts found by themselves: regions that calm ground leaves over, judged by what they look like.

Closed regions at several edge strengths are the candidates, cleared of shadow; small trees fitted to two renderers give
each a probability, and the outlines of those taken are sharpened by graph cut. Nearly every part is among the
candidates (98 in 100): what is missed is misjudged, so that new features and more varied scenes help, finer regions do
not.
"""

import numpy as np

from dyebook.photo.card.card import Card
from dyebook.photo.classifier import load_classifiers
from dyebook.photo.file.linear import LinearPhoto
from dyebook.photo.light import Light
from dyebook.photo.part.candidates import PhotoView, candidates, distinct, overlap, view_of
from dyebook.photo.part.features import FEATURES, features_of
from dyebook.photo.part.outline import outline_of, trimmed
from dyebook.photo.part.part import Part

__all__ = ["find_parts", "part_candidates", "part_probability"]

# probability from which a candidate is reported, and below which the report carries a doubt: set on `tests.bench.parts`
_LEAST, _SURE = 0.42, 0.65
# share of the smaller of two candidates from which they are one part
_SAME_PART = 0.3
_MOST_PARTS = 12


def find_parts(photo: LinearPhoto, card: Card, light: Light) -> list[Part]:
    """Return the parts in a photo, from left to right; doubtful ones carry the flag `part_doubtful`.

    The card is never a part; the light corrects the colours that the search goes by.
    """
    view = view_of(photo, card, light)
    found = part_candidates(view)
    if not found:
        return []
    probability = part_probability(np.stack([features_of(view, one) for one in found]))
    parts = []
    for k in _chosen(found, probability):
        flags = () if probability[k] >= _SURE else ("part_doubtful",)
        parts.append(Part(outline_of(photo, light, found[k], view), float(probability[k]), flags))
    return sorted(parts, key=lambda part: part.box[0] + part.box[2])


def part_candidates(view: PhotoView):
    """Return the regions of a view that are judged, clear of shadows."""
    return distinct([trimmed(view, one) for one in candidates(view)])


def part_probability(rows: np.ndarray) -> np.ndarray:
    """Return the probability (N,) of being a part for each row (N, len(FEATURES)) of features."""
    return load_classifiers("dyebook.photo.part", part=FEATURES)["part"].probability(rows)


def _chosen(found, probability):
    """Indices of the likeliest candidates that do not lie over one another."""
    taken = []
    for k in np.argsort(-probability):
        if probability[k] < _LEAST or len(taken) == _MOST_PARTS:
            break
        if all(overlap(found[k], found[other], of_smaller=True) < _SAME_PART for other in taken):
            taken.append(k)
    return taken

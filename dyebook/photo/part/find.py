"""Parts found by themselves: regions that calm ground leaves over, judged by what they look like.

Closed regions at several edge strengths, and what no shadow makes of the ground, are the candidates, cleared of shadow.
Small trees fitted to two renderers give each a probability of lying on a part, and one of ending where the part does,
by which nested regions are told apart: a part from the same part with its shadow. The outlines of those taken are
sharpened by graph cut. Nearly every part is among the candidates (97 in 100): what is missed is misjudged.
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

# probability from which a candidate is reported, and below which the report carries a doubt: chosen on photographs of
# both worlds, each judged by trees that its set-up had no part in
_LEAST, _SURE = 0.5, 0.7
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
    probability, whole = part_probability(np.stack([features_of(view, one) for one in found]))
    parts = []
    for k in _chosen(found, probability, whole):
        flags = () if probability[k] >= _SURE else ("part_doubtful",)
        parts.append(Part(outline_of(photo, light, found[k], view), float(probability[k]), flags))
    return sorted(parts, key=lambda part: part.box[0] + part.box[2])


def part_candidates(view: PhotoView):
    """Return the regions of a view that are judged, clear of shadows."""
    return distinct([trimmed(view, one) for one in candidates(view)])


def part_probability(rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the probabilities (N,) of lying on a part and of ending where it does, for rows (N, len(FEATURES))."""
    trees = load_classifiers("dyebook.photo.part", part=FEATURES, outline=FEATURES)
    return trees["part"].probability(rows), trees["outline"].probability(rows)


def _chosen(found, probability, whole):
    """Indices of likely candidates that do not lie over one another, those that end where a part does first."""
    taken = []
    for k in np.argsort(-probability * whole):
        clear = probability[k] >= _LEAST and len(taken) < _MOST_PARTS
        if clear and all(overlap(found[k], found[other], of_smaller=True) < _SAME_PART for other in taken):
            taken.append(k)
    return taken

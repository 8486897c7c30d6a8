"""What a thin version and an all-seeing one would read: how hard scenes are, whatever our own code does."""

import numpy as np

from dyebook.lab import delta_e_00, linear_rgb_to_lab
from dyebook.photo.card.card import card_at
from dyebook.photo.file.read import read_photo

__all__ = ["print_anchors"]

_FEWEST = 20


def print_anchors(scenes):
    """Print errors of the median of whole parts and of their right pixels, both with the card's gains alone."""
    rows, pairs = [], []
    for scene in scenes:
        if scene.card_quad is not None and scene.parts:
            errors, apart = _score(scene)
            rows += errors
            pairs += apart
    inside, thin, seeing = (np.array(column) for column in zip(*rows, strict=True))
    gaps = np.median(pairs, axis=0) if pairs else (np.nan, np.nan)
    for name, errors, gap in (("whole part", thin, gaps[0]), ("right pixels", seeing, gaps[1])):
        print(
            f"  {name}, card's gains: in gamut {np.median(errors[inside]):.2f}, all {np.median(errors):.2f}, "
            f"p90 {np.quantile(errors, 0.9):.1f}; near-shade difference {gap:.2f}"
        )


def _score(scene):
    """Rows (in gamut, error of the whole part, of its right pixels), and both errors of each near-shade difference."""
    photo = read_photo(scene.data, name=scene.name)
    gains = card_at(photo, scene.card_quad, scene.card_lab).gains
    true = np.array([part.lab for part in scene.parts])
    seen = np.array([_medians(photo, part) for part in scene.parts]) * gains
    labs = linear_rgb_to_lab(seen)
    rows = [(part.in_gamut, *delta_e_00(part.lab, both)) for part, both in zip(scene.parts, labs, strict=True)]
    pairs = [np.linalg.norm(labs[i] - labs[j] - (true[i] - true[j]), axis=1) for i, j in scene.pairs]
    return rows, pairs


def _medians(photo, part):
    """Median light (2, 3) of a part's pixels and of those that show its film, all pixels where there are too few."""
    light = photo.crop(part.box)
    good = part.good if part.good.sum() >= _FEWEST else part.mask
    return np.array([np.median(light[mask], axis=0) for mask in (part.mask, good)])

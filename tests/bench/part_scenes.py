"""What the benches of the part finder share: scenes with their card given, truth as masks, candidates with features."""

import cv2
import numpy as np

from dyebook.errors import PhotoError
from dyebook.photo.card.card import card_at, no_card
from dyebook.photo.file.read import read_photo
from dyebook.photo.light import fit_light
from dyebook.photo.part.candidates import view_of
from dyebook.photo.part.features import features_of
from dyebook.photo.part.find import part_candidates
from tests.bench.scenes import load_scenes

__all__ = ["candidate_rows", "full_masks", "opened"]


def opened(renderer, seeds):
    """Yield (scene, photo, card, light) with the true card; scenes whose card is blown out are left out."""
    for scene in load_scenes(renderer, seeds):
        photo = read_photo(scene.data, name=scene.name)
        try:
            card = no_card() if scene.card_quad is None else card_at(photo, scene.card_quad, scene.card_lab)
        except PhotoError:
            continue
        yield scene, photo, card, fit_light(photo, card)


def full_masks(scene, size):
    """Return the true masks of a scene over the whole picture."""
    masks = []
    for part in scene.parts:
        x0, y0, x1, y1 = part.box
        masks.append(np.zeros(size[::-1], bool))
        masks[-1][y0:y1, x0:x1] = part.mask
    return masks


def candidate_rows(scene, photo, card, light):
    """Return features (N, K) of all candidates, and the overlap (N,) of each with the true part it covers best."""
    view = view_of(photo, card, light)
    found = part_candidates(view)
    truth = [_filled(mask, view.card.shape) for mask in full_masks(scene, photo.size)]
    rows = [features_of(view, one) for one in found]
    return rows, [max((_overlap(one, mask) for mask in truth), default=0.0) for one in found]


def _filled(mask, shape):
    small = cv2.resize(mask.astype(np.uint8), shape[::-1], interpolation=cv2.INTER_NEAREST)
    contours, _ = cv2.findContours(small, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return cv2.drawContours(np.zeros_like(small), contours, -1, 1, -1)


def _overlap(one, mask):
    x0, y0, x1, y1 = one.box
    both = np.count_nonzero(one.mask & mask[y0:y1, x0:x1])
    return both / (one.area + np.count_nonzero(mask) - both)

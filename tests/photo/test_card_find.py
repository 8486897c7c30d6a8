"""The plain grey card is found by itself, or the photo is refused."""

import cv2
import numpy as np
import pytest

from dyebook.demo.scene import make_scene, render
from dyebook.errors import PhotoError
from dyebook.lab import Lab
from dyebook.photo.card_find import find_card
from dyebook.photo.read import read_photo


def _photo(image):
    """A photo of sRGB codes, through a lossless file."""
    return read_photo(cv2.imencode(".png", image[..., ::-1])[1].tobytes(), name="scene.png")


@pytest.fixture(scope="module")
def scene():
    return render(make_scene(Lab(40, 5, -38), light=3200, noise=0.01))


def test_corners_are_found_within_half_a_percent_of_a_side(scene):
    quad = find_card(_photo(scene.image)).quad
    side = np.linalg.norm(scene.truth.card_quad[0] - scene.truth.card_quad[1])
    assert np.linalg.norm(quad - scene.truth.card_quad, axis=1).max() < 0.005 * side


def test_a_photo_without_a_card_is_refused_in_words():
    empty = render(make_scene(Lab(40, 5, -38), card=None))
    with pytest.raises(PhotoError, match=r"no grey card found in scene\.png"):
        find_card(_photo(empty.image))

"""The second renderer tells the truth about its own pictures."""

import cv2
import numpy as np
import pytest

from dyebook.lab import linear_rgb_to_lab
from tests.bench.second import make
from tests.bench.second.perfect import flat_tag


def test_same_seed_same_picture():
    image, truth = make(3)
    again, truth_again = make(3)
    assert np.array_equal(image, again)
    for layer in ("label", "facing"):
        assert np.array_equal(truth.pop(layer), truth_again.pop(layer))
    assert truth == truth_again


@pytest.mark.parametrize("seed", [1, 4])
def test_outlines_lie_in_the_frame_and_enclose_what_is_labelled(seed):
    image, truth = make(seed)
    height, width = image.shape[:2]
    assert truth["parts"]
    for number, part in enumerate(truth["parts"], start=1):
        polygon = np.array(part["polygon"])
        assert np.all(polygon >= 0)
        assert np.all(polygon <= [width, height])
        drawn = np.zeros((height, width), np.uint8)
        cv2.fillPoly(drawn, [np.floor(polygon).astype(np.int32)], 1)
        labelled = truth["label"] == number
        overlap = np.sum(labelled & (drawn > 0)) / np.sum(labelled | (drawn > 0))
        assert overlap > 0.93  # the rest is the drawn rim of holes, one pixel wide
    if truth["card"]:
        assert 0.03 <= truth["card"]["share"] <= 0.15


@pytest.mark.parametrize("seed", range(3))
def test_perfect_camera_reads_the_stated_colour_of_a_flat_tag(seed):
    linear, truth = flat_tag(seed)
    (part,) = truth["parts"]
    inner = cv2.erode((truth["label"] == 1).astype(np.uint8), np.ones((9, 9))) > 0
    seen = linear_rgb_to_lab(linear[inner].mean(axis=0))
    # 0.7: the ring stands for 45/0, the tag lies a little above the table and off its middle
    assert np.linalg.norm(seen - part["lab"]) < 0.7
    card = np.zeros(inner.shape, np.uint8)
    cv2.fillPoly(card, [np.round(truth["card"]["quad"]).astype(np.int32)], 1)
    card = cv2.erode(card, np.ones((7, 7))) > 0
    assert np.linalg.norm(linear_rgb_to_lab(linear[card].mean(axis=0)) - truth["card"]["lab"]) < 0.7

"""What the part finder measures on a region: each feature answers to what it is named after."""

import cv2
import numpy as np
import pytest

from dyebook.photo.part.candidates import Candidate, PhotoView, edges_of
from dyebook.photo.part.features import FEATURES, features_of

BOX = (60, 80, 160, 140)


def _features(change=None, ground=(70.0, 0.0, 0.0), part=(40.0, 30.0, -20.0)):
    """Features by name of a flat rectangle on flat ground, with a little noise and a change made to the rectangle."""
    colour = np.random.default_rng(5).normal(ground, 0.3, (240, 320, 3)).astype(np.float32)
    x0, y0, x1, y1 = BOX
    colour[y0:y1, x0:x1] += np.subtract(part, ground).astype(np.float32)
    if change is not None:
        change(colour[y0:y1, x0:x1])
    view = PhotoView(8.0, colour, edges_of(colour), np.zeros(colour.shape[:2], np.uint8))
    mask = np.ones((y1 - y0, x1 - x0), np.uint8)
    contour = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0][0] + np.int32((x0, y0))
    return dict(zip(FEATURES, features_of(view, Candidate(BOX, mask, contour)), strict=True))


def _ticks(face):
    face[:, ::8, 0] -= 25


def _tip(face):
    face[:, -25:, 1:] = (5.0, 25.0)


def _slant(face):
    face[..., 0] += np.linspace(-8, 8, face.shape[1])


def _grain(face):
    face[..., 0] += np.random.default_rng(6).normal(0, 3, face.shape[:2])


@pytest.mark.parametrize(
    ("feature", "change"),
    [
        ("inner_high", _ticks),
        ("chroma_end", _tip),
        ("chroma_spread", _tip),
        ("rim_wave", _slant),
        ("light_spread", _slant),
        ("grain", _grain),
    ],
)
def test_a_cue_rises_with_what_it_is_named_after(feature, change):
    assert _features(change)[feature] > _features()[feature] + 0.5


def test_colours_and_steps_are_those_of_region_and_ground():
    features = _features()
    assert features["lightness"] == pytest.approx(40, abs=0.5)
    assert features["light_step"] == pytest.approx(-30, abs=0.5)
    assert features["chroma_step"] == pytest.approx(np.hypot(30, 20), abs=0.5)
    assert features["log_share"] == pytest.approx(np.log(6000 / (240 * 320)), abs=0.01)
    assert features["solidity"] == pytest.approx(1, abs=0.05)


def test_cues_stay_finite_where_there_is_nothing_to_measure():
    assert np.isfinite(list(_features(part=(70.0, 0.0, 0.0)).values())).all()

"""The chart is found wherever it lies, and nothing else is taken for it."""

import cv2
import numpy as np
import pytest

from dyebook.errors import PhotoError
from dyebook.photo.camera.chart_find import find_chart
from dyebook.photo.file.read import photo_from_array
from tests.photo.charts import CORNERS, PITCH, chart_light, chart_picture

PICTURE = chart_picture(chart_light() * 0.8)


def corners_in(picture):
    return find_chart(photo_from_array(picture))


@pytest.mark.parametrize("turn_deg", [0, 30, 90, 180, 251])
def test_found_turned_by_any_angle(turn_deg):
    height, width = PICTURE.shape[:2]
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), -turn_deg, 1.0)
    turn[:, 2] += 60
    picture = cv2.warpAffine(PICTURE, turn, (width + 120, height + 160), borderValue=(0.3, 0.3, 0.3))
    wanted = cv2.transform(CORNERS[None] - 0.5, turn)[0] + 0.5
    assert np.abs(corners_in(picture) - wanted).max() < 0.1 * PITCH


def test_found_in_perspective():
    height, width = PICTURE.shape[:2]
    flat = np.float32([(0, 0), (width, 0), (width, height), (0, height)])
    seen = np.float32([(40, 10), (width - 5, 30), (width - 40, height - 10), (5, height - 45)])
    pose = cv2.getPerspectiveTransform(flat, seen)
    picture = cv2.warpPerspective(PICTURE, pose, (width, height), borderValue=(0.3, 0.3, 0.3))
    assert np.abs(corners_in(picture) - cv2.perspectiveTransform(CORNERS[None], pose)[0]).max() < 0.1 * PITCH


@pytest.mark.parametrize("contrast", [0.45, 0.8, 1.4, 2.2])
def test_found_under_odd_tone_curves_and_casts(contrast):
    picture = PICTURE**contrast * np.array([1.0, 0.7, 0.5], np.float32)
    assert np.abs(corners_in(picture) - CORNERS).max() < 0.1 * PITCH


@pytest.mark.parametrize(
    ("order", "words"),
    [
        (np.arange(24).reshape(4, 6)[:, ::-1].ravel(), "no 24-patch chart"),
        (np.arange(24)[::-1].reshape(4, 6)[::-1].ravel(), "no 24-patch chart"),
        (np.random.default_rng(5).permutation(24), "no 24-patch chart"),
        ([0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 15, 13, 14, 12, *range(16, 24)], "24-patch chart"),
    ],
    ids=["mirrored", "rows turned", "shuffled", "two swapped"],
)
def test_other_layouts_are_refused(order, words):
    with pytest.raises(PhotoError, match=words):
        corners_in(chart_picture(chart_light()[list(order)] * 0.8))


def test_a_chart_cut_off_is_refused():
    with pytest.raises(PhotoError):
        corners_in(np.ascontiguousarray(PICTURE[:, : int(CORNERS[1, 0])]))


def test_a_covered_chart_is_refused():
    picture = PICTURE.copy()
    x, y = CORNERS[1].astype(int)
    picture[y - 20 : y + 90, x - 60 : x + 20] = (0.5, 0.3, 0.2)
    with pytest.raises(PhotoError):
        corners_in(picture)


def test_nothing_is_found_in_noise():
    with pytest.raises(PhotoError, match="--chart-at"):
        corners_in(np.random.default_rng(1).uniform(0, 1, (300, 400, 3)))


def test_a_blown_chart_is_told_from_a_covered_one():
    with pytest.raises(PhotoError, match=r"stand at a channel's limit.*Expose darker"):
        corners_in(np.minimum(PICTURE * 6, 1).astype(np.float32))

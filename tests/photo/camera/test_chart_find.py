"""The chart is found wherever it lies, and nothing else is taken for it."""

import cv2
import numpy as np
import pytest

from dyebook.errors import PhotoError
from dyebook.photo.camera import chart_find
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


def _cloth(side, square):
    """Chequered cloth as light, (side, side, 3)."""
    y, x = np.mgrid[:side, :side] // square
    return np.where(((x + y) % 2)[..., None] == 0, np.float32(0.65), np.float32(0.08)) * np.ones(3, np.float32)


def test_a_chart_is_found_on_chequered_cloth():
    height, width = PICTURE.shape[:2]
    ground = _cloth(1200, 14)
    ground[300 : 300 + height, 250 : 250 + width] = PICTURE
    assert np.abs(corners_in(ground) - CORNERS - (250, 300)).max() < 0.1 * PITCH


def test_the_work_on_regular_patterns_has_a_bound(monkeypatch):
    """12,700 squares: the bounds count squares, steps and grids, so that they hold on any machine."""
    asked = {"squares": 0, "steps": 0, "placements": 0}

    def counted(name, what):
        def count(*arguments):
            asked[name] += 1
            return what(*arguments)

        return count

    for name, what in (("squares", "_squarish"), ("steps", "_nearest"), ("placements", "_guesses")):
        monkeypatch.setattr(chart_find, what, counted(name, getattr(chart_find, what)))
    for cloth in (_cloth(900, 8), _bent(_cloth(900, 8))):
        asked.update(squares=0, steps=0, placements=0)
        assert sum(len(grid.cells) for grid in chart_find.find_grids((255 * cloth).astype(np.uint8))) <= 2000
        chart_find._best_guess(cloth, ())
        # twice: once by hand above, once in the search
        assert asked["squares"] <= 2 * 4 * 2000
        assert asked["steps"] <= 2 * (16_000 + 4 * 2000)
        assert asked["placements"] <= 30


def _bent(cloth):
    """The cloth in folds, where many small grids grow and none is flat."""
    y, x = np.mgrid[: len(cloth), : cloth.shape[1]].astype(np.float32)
    return cv2.remap(cloth, x + 7 * np.sin(y / 32) + 7 * np.sin(x / 40), y + 7 * np.sin(x / 34), cv2.INTER_LINEAR)

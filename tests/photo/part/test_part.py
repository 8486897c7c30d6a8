"""Outlines and masks of parts: shapes whose areas are known in closed form."""

import numpy as np
import pytest
from skimage.measure import points_in_poly

from dyebook.errors import PhotoError
from dyebook.photo.file.read import photo_from_array
from dyebook.photo.part.part import Part, part_at, with_slits


def _circle(x, y, radius, corners=180):
    angle = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    return np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)])


def test_a_slit_cuts_the_hole_out_of_the_mask():
    ring = Part(with_slits(_circle(100, 100, 80), [_circle(100, 100, 50)]))
    mask = ring.mask((0, 0, 200, 200))
    assert np.count_nonzero(mask) == pytest.approx(np.pi * (80**2 - 50**2), rel=0.002)
    assert not mask[70:130, 70:130].any()
    assert mask[[100, 165, 35], [165, 100, 100]].all()


def test_several_holes_are_cut_out():
    plate = np.array([[10, 10], [190, 10], [190, 90], [10, 90]], float)
    holes = [_circle(40, 50, 15, 40), _circle(160, 50, 15, 40), _circle(100, 50, 8, 40)]
    mask = Part(with_slits(plate, holes)).mask((0, 0, 200, 100))
    assert not mask[50, [40, 160, 100]].any()
    assert mask[[50, 20, 80], [70, 40, 160]].all()


def test_the_box_holds_the_mask():
    part = Part(_circle(60.3, 40.8, 20.2))
    assert part.mask().sum() == pytest.approx(part.mask((0, 0, 120, 90)).sum(), rel=0.02)


def test_a_step_keeps_the_share_of_the_box():
    part = Part(_circle(100, 100, 70))
    box = (0, 0, 200, 200)
    assert part.mask(box, 5).mean() == pytest.approx(part.mask(box).mean(), rel=0.01)


@pytest.mark.parametrize("step", [1, 3, 10])
def test_parts_that_touch_share_no_pixel_and_leave_none_out(step):
    rng = np.random.default_rng(4)
    box = (0, 0, 200, 120)
    for _ in range(10):
        seam = np.column_stack([np.sort(rng.uniform(20, 180, 6)), rng.uniform(20, 100, 6)])
        # seams through pixel middles and along pixel rows are the hard ones
        seam = seam if rng.random() < 0.5 else np.round(seam) + 0.5
        seam = np.concatenate([[(0, seam[0, 1])], seam, [(200, seam[-1, 1])]])
        above = Part(np.concatenate([seam, [(200, 0), (0, 0)]])).mask(box, step)
        below = Part(np.concatenate([seam, [(200, 120), (0, 120)]])).mask(box, step)
        assert (above ^ below).all()


def test_a_mask_holds_the_pixels_whose_middles_lie_inside():
    # scikit-image as a second opinion
    rng = np.random.default_rng(5)
    rows, columns = np.mgrid[:80, :100] + 0.5
    for _ in range(10):
        outline = rng.uniform(-20, 120, (7, 2))
        inside = points_in_poly(np.column_stack([columns.ravel(), rows.ravel()]), outline).reshape(80, 100)
        assert (Part(outline).mask((0, 0, 100, 80)) == inside).all()


def test_an_outline_that_encloses_nothing_is_refused():
    photo = photo_from_array(np.full((60, 80, 3), 0.2), name="bench.jpg")
    with pytest.raises(PhotoError, match=r"bench\.jpg"):
        part_at(photo, [(200, 200), (210, 200), (205, 220)])
    with pytest.raises(PhotoError, match="three"):
        part_at(photo, [(1, 1), (5, 5)])


@pytest.mark.parametrize(
    ("outline", "words"),
    [
        ((3, 4), "list of outlines"),
        ([(3, 4), (9, 9)], "2 usable corners of 2"),
        ([(3, 4), (90, 9), (np.nan, 70)], "2 usable corners of 3"),
    ],
)
def test_what_is_no_outline_is_refused_in_words(outline, words):
    with pytest.raises(PhotoError, match=words):
        part_at(photo_from_array(np.full((100, 100, 3), 0.2, np.float32)), outline)

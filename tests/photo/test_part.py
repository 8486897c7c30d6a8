"""Outlines and masks of parts: shapes whose areas are known in closed form."""

import numpy as np
import pytest

from dyebook.errors import PhotoError
from dyebook.photo.part import Part, part_at
from dyebook.photo.part_outline import with_slits
from dyebook.photo.read import photo_from_array


def _circle(x, y, radius, corners=180):
    angle = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    return np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)])


def test_a_slit_cuts_the_hole_out_of_the_mask():
    ring = Part(with_slits(_circle(100, 100, 80), [_circle(100, 100, 50)]))
    mask = ring.mask((0, 0, 200, 200))
    # OpenCV fills the pixels its lines touch too: up to one pixel along both rims and the slit
    assert np.count_nonzero(mask) == pytest.approx(np.pi * (80**2 - 50**2), rel=0.05)
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
    assert part.mask(box, 5).mean() == pytest.approx(part.mask(box).mean(), rel=0.08)


def test_an_outline_that_encloses_nothing_is_refused():
    photo = photo_from_array(np.full((60, 80, 3), 0.2), name="bench.jpg")
    with pytest.raises(PhotoError, match=r"bench\.jpg"):
        part_at(photo, [(200, 200), (210, 200), (205, 220)])
    with pytest.raises(PhotoError, match="three"):
        part_at(photo, [(1, 1), (5, 5)])

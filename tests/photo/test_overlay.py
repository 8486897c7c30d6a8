"""What is drawn over a photo: the flaws with their names, the photo mat."""

import numpy as np

from dyebook.lab import Lab
from dyebook.photo.file.read import photo_from_array
from dyebook.photo.mat import PAPERS, Mat
from dyebook.photo.overlay import draw_overlay
from dyebook.record import Flaw, Measurement, Reading
from tests.photo.scenes import PART_BOX, corners, flat_light

UNKNOWN = (float("nan"),) * 3
SPOT = (340.0, 150.0, 360.0, 170.0)


def measurement_of(*flaws):
    """A measurement of one part with these flaws."""
    reading = Reading(Lab(45, 35, -30), UNKNOWN, UNKNOWN, tuple(map(tuple, corners(PART_BOX))), PART_BOX, flaws=flaws)
    return Measurement("scene", (480, 360), "none", None, Lab(0, 0, 0), (reading,))


def changed(one, other):
    """Pixels (y, x) in which two pictures differ."""
    return np.argwhere((one != other).any(axis=2))


def test_a_flaw_is_ringed_and_named_below():
    photo = photo_from_array(flat_light((45, 35, -30)))
    flaw = Flaw("pale_zone", SPOT, tuple(map(tuple, corners(SPOT))), 4.2, 0.03)
    where = changed(draw_overlay(photo, measurement_of()), draw_overlay(photo, measurement_of(flaw)))
    ring = (where[:, 0] <= SPOT[3] + 1).sum()
    words = where[where[:, 0] > SPOT[3] + 2]
    assert ring > 60
    assert len(words) > 200
    assert words[:, 0].max() < SPOT[3] + 25
    assert words[:, 1].min() >= SPOT[0] - 1


def test_the_mat_is_drawn_where_its_sheet_lies():
    photo = photo_from_array(flat_light((45, 35, -30)))
    to_mm = np.array([[0.7, 0, -20], [0, 0.9, -10], [0, 0, 1]])
    mat = Mat("a4", to_mm, (0, 2), 0.1)
    sheet = mat.rings()[0]
    assert np.allclose(mat.places_mm(sheet).max(axis=0), PAPERS["a4"])
    assert len(mat.rings()) == 3
    where = changed(draw_overlay(photo, measurement_of()), draw_overlay(photo, measurement_of(), mat=mat))
    assert np.abs(where.min(axis=0) - sheet.min(axis=0)[::-1]).max() < 3

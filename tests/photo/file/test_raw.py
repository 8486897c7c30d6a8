"""Camera RAW: a file made here of known light, read through LibRaw."""

import cv2
import numpy as np
import pytest

from dyebook.photo.file.profile import DISPLAY_P3, rec709_to_xyz
from dyebook.photo.file.read import read_photo
from tests.photo.files import dng

pytest.importorskip("rawpy")
LIGHT = (0.3, 0.5, 0.2)


def scene():
    """An even field with one field beyond the sensor's limit."""
    light = np.tile(np.array(LIGHT), (80, 120, 1))
    light[:20, :30] = 3
    return light


def test_the_light_comes_back_white_balanced():
    photo = read_photo(dng(scene()))
    assert photo.size == (120, 80)
    assert photo.bit_depth == 14
    # sensor steps of 1/16000, the file's matrix of four digits
    np.testing.assert_allclose(photo.pixels[40, 60], LIGHT, atol=5e-4)


def test_colours_outside_rec709_are_kept():
    """A camera of P3 primaries sees a green that Rec. 709 has not."""
    light = np.tile(np.array((0.0, 0.5, 0.0)), (80, 120, 1))
    xyz_to_p3 = np.linalg.inv(rec709_to_xyz() @ DISPLAY_P3.matrix)
    photo = read_photo(dng(light, xyz_to_rgb=xyz_to_p3))
    np.testing.assert_allclose(photo.pixels[40, 60], DISPLAY_P3.matrix @ light[0, 0], atol=2e-3)
    assert photo.pixels[40, 60, 0] < -0.1


@pytest.mark.parametrize(("orientation", "corner"), [(1, (0, 0)), (3, (60, 90)), (6, (0, 60)), (8, (90, 0))])
def test_raw_stands_upright_and_so_does_its_clipping(orientation, corner):
    photo = read_photo(dng(scene(), orientation=orientation))
    assert photo.size == ((120, 80) if orientation in (1, 3) else (80, 120))
    mask = photo.clipped((0, 0, *photo.size))
    height, width = (20, 30) if orientation in (1, 3) else (30, 20)
    field = np.zeros(mask.shape[:2], bool)
    field[corner[0] : corner[0] + height, corner[1] : corner[1] + width] = True
    assert mask[field].all()
    # a mosaic's neighbours share its limit, one pixel around
    assert mask.any(axis=-1).sum() <= (height + 1) * (width + 1)
    inside = cv2.erode(field.astype(np.uint8), np.ones((5, 5), np.uint8), borderValue=1).astype(bool)
    assert photo.pixels[inside].min() > 0.98

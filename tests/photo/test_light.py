"""White balance, exposure and fall-off: light of known shape goes in, the same reading comes out."""

import numpy as np
import pytest

from dyebook.errors import PhotoError
from dyebook.photo.card.card import card_at
from dyebook.photo.file.read import photo_from_array
from dyebook.photo.light import fit_light
from tests.photo.scenes import CARD_BOX, SIZE, corners, flat_light


def _light_of(pixels, **options):
    photo = photo_from_array(pixels)
    return fit_light(photo, card_at(photo, corners(CARD_BOX)), **options)


def _lamp(slope_x, slope_y, curve=0.0):
    x, y = (np.arange(n) / SIZE[0] - 0.25 for n in SIZE)
    return np.exp(slope_x * x[None, :] + slope_y * y[:, None] + curve * x[None, :] ** 2).astype(np.float32)[..., None]


def test_a_neutral_of_18_percent_reads_18_percent_whatever_the_exposure_and_balance():
    for gains in ((1, 1, 1), (0.4, 0.4, 0.4), (1.3, 0.9, 0.5)):
        pixels = flat_light((49.5, 0, 0)) * np.array(gains, np.float32)
        corrected = _light_of(pixels).correct(pixels, (0, 0, *SIZE))
        # 0.184187 would be L* 50; 49.5 is 0.18002 by ISO/CIE 11664-4
        assert corrected[170, 360] == pytest.approx([0.18, 0.18, 0.18], abs=0.001)


@pytest.mark.parametrize("lamp", [(0.5, 0.0), (-0.4, 0.3), (0.3, -0.2, 0.6)])
def test_fall_off_over_an_even_ground_is_divided_out(lamp):
    shape = _lamp(*lamp)
    pixels = flat_light((40, 20, -30)) * shape
    light = _light_of(pixels)
    assert light.known
    true = float(np.log(shape[170, 360, 0] / shape[170, 90, 0]))
    assert float(light.fall_off(360, 170)) == pytest.approx(true, abs=0.03)


def test_a_ground_of_many_materials_says_nothing_about_the_light():
    pixels = flat_light((40, 20, -30))
    rng = np.random.default_rng(4)
    blocks = np.exp(rng.normal(0, 0.8, (12, 16, 3))).astype(np.float32)
    pixels *= np.kron(blocks, np.ones((30, 30, 1), np.float32))
    light = _light_of(pixels)
    assert not light.known
    assert not light.surface.any()


def test_strong_fall_off_is_flagged_and_even_light_is_not():
    assert "uneven_light" in _light_of(flat_light((40, 20, -30)) * _lamp(0.9, 0)).flags
    assert _light_of(flat_light((40, 20, -30))).flags == ()


def test_a_photo_of_plain_paper_gives_the_fall_off_where_the_ground_cannot():
    shape = _lamp(0.5, 0.2)
    paper = photo_from_array(np.full((SIZE[1], SIZE[0], 3), 0.7, np.float32) * shape)
    light = _light_of(flat_light((40, 20, -30)) * shape, flat=paper)
    assert float(light.fall_off(360, 170)) == pytest.approx(
        float(np.log(shape[170, 360, 0] / shape[170, 90, 0])), abs=0.02
    )


def test_paper_in_another_shape_is_refused():
    with pytest.raises(PhotoError, match="same camera"):
        _light_of(flat_light((40, 20, -30)), flat=photo_from_array(np.ones((200, 200, 3)), "paper"))


def test_a_step_changes_nothing_but_the_size():
    pixels = flat_light((40, 20, -30)) * _lamp(0.4, 0.2)
    light = _light_of(pixels)
    box = (300, 110, 420, 230)
    fine = light.correct(pixels[110:230, 300:420], box)
    coarse = light.correct(pixels[110:230, 300:420].reshape(30, 4, 30, 4, 3).mean((1, 3)), box, 4)
    assert np.abs(fine.reshape(30, 4, 30, 4, 3).mean((1, 3)) - coarse).max() < 2e-3


def test_doubt_grows_with_the_distance_from_the_card():
    light = _light_of(flat_light((40, 20, -30)))
    assert light.distance((90, 170)) < light.distance((240, 170)) < light.distance((460, 340))

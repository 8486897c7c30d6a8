"""White balance, exposure and fall-off: light of known shape goes in, the same reading comes out."""

import numpy as np
import pytest

from dyebook.errors import PhotoError
from dyebook.photo.card.card import card_at
from dyebook.photo.file.read import photo_from_array
from dyebook.photo.light import fit_light, one_sidedness
from tests.photo.scenes import CARD_BOX, PART_BOX, SIZE, corners, flat_light


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


def _beside(shadow, to=(1, 0), soft=0.0):
    """How far the light comes from one side where a part of height 12 throws a shadow of some depth."""
    light = flat_light((40, 20, -30))
    x0, y0, x1, y1 = PART_BOX
    part = light[y0:y1, x0:x1].copy()
    dx, dy = (12 * one for one in to)
    light[y0 + dy : y1 + dy, x0 + dx : x1 + dx] *= 1 - shadow
    light[y0 - 12 : y1 + 12, x0 - 12 : x1 + 12] *= 1 - soft  # the same all round, as a tent's
    light[y0:y1, x0:x1] = part
    return one_sidedness(photo_from_array(light), [corners(PART_BOX)], corners(CARD_BOX))


@pytest.mark.parametrize("to", [(1, 0), (-1, 1), (0, -1)])
def test_a_shadow_on_one_side_says_that_the_light_comes_from_the_other(to):
    assert _beside(0.7, to) == 1
    assert _beside(0.15, to) == 0
    depths = [_beside(depth, to) for depth in (0.2, 0.4, 0.6)]
    assert depths == sorted(depths)


def test_even_light_and_shade_all_round_come_from_no_side():
    assert _beside(0) == 0
    assert _beside(0, soft=0.5) == 0


def test_a_part_that_hides_the_ground_leaves_the_side_open():
    light = flat_light((40, 20, -30))
    whole = corners((0, 0, *SIZE))
    assert one_sidedness(photo_from_array(light), [whole]) == 0.5
    assert one_sidedness(photo_from_array(light), []) == 0.5

"""Readings of photographs whose colours are known: exact patches, invariances, mirrors, lost channels, near shades."""

from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from dyebook.lab import delta_e_00, delta_e_76, lab_to_linear_rgb, linear_rgb_to_lab
from dyebook.photo.file.read import photo_from_array
from dyebook.photo.measure import look_at
from dyebook.photo.reading import Facing, guess_tilt, level_steps
from dyebook.record import ReadOptions
from tests.photo.scenes import CARD_BOX, PART_BOX, SIZE, as_png, corners, flat_light, read_one

SHADES = [(40, 5, -38), (55, 50, 25), (70, -30, 20), (75, 5, 60), (30, 0, 0)]
# a correction for the usual error of cameras on dyed films acts on exact light too
USUAL_ERROR = 2.0
# the tone correction takes back contrast that a rendering by the bare sRGB curve does not have
USUAL_CONTRAST = 4.0
# how well a curved part's own pixels tell its brightness, log light
LEVEL_SD = 0.2
# Fresnel's reflectance of a clear surface at right angles, ((n - 1) / (n + 1))², for the refractive index 1.5
CLEAR_SURFACE = 0.04


@pytest.mark.parametrize("shade", SHADES)
def test_exact_light_reads_as_it_is(shade):
    assert delta_e_00(shade, read_one(photo_from_array(flat_light(shade))).lab) < USUAL_ERROR


@pytest.mark.parametrize("shade", SHADES)
def test_an_srgb_file_reads_within_the_usual_contrast(shade):
    assert delta_e_00(shade, read_one(as_png(flat_light(shade))).lab) < USUAL_CONTRAST


def test_a_part_of_the_cards_colour_reads_as_the_card_in_any_file():
    for source in (photo_from_array(flat_light((49.5, 0, 0))), as_png(flat_light((49.5, 0, 0)))):
        assert delta_e_00((49.5, 0, 0), read_one(source).lab) < 0.3


def test_exposure_does_not_matter():
    light = flat_light(SHADES[0])
    bright, dark = (read_one(photo_from_array(light * factor)) for factor in (1.0, 0.3))
    assert delta_e_00(bright.lab, dark.lab) < 0.01


def test_wrong_white_balance_is_taken_back():
    light = flat_light(SHADES[1])
    good = read_one(photo_from_array(light))
    for gains in ((1.2, 1, 0.8), (0.85, 1, 1.25)):
        warm = read_one(photo_from_array(light * np.array(gains, np.float32)))
        # gains in the file's primaries are not the gains of a sensor, which are what is undone
        assert delta_e_00(good.lab, warm.lab) < 3.0


def test_a_quarter_turn_and_a_crop_change_nothing():
    light = flat_light(SHADES[2])
    upright = read_one(photo_from_array(light))
    width = SIZE[0]

    def turned(box):
        x0, y0, x1, y1 = box
        return y0, width - x1, y1, width - x0

    aside = read_one(photo_from_array(np.rot90(light)), turned(CARD_BOX), turned(PART_BOX))
    assert delta_e_00(upright.lab, aside.lab) < 0.05
    cut = [tuple(np.array(box) - (20, 60, 20, 60)) for box in (CARD_BOX, PART_BOX)]
    assert delta_e_00(upright.lab, read_one(photo_from_array(light[60:300, 20:460]), *cut).lab) < 0.05


def test_an_exif_turn_changes_nothing():
    light = flat_light(SHADES[2])
    exif = Image.Exif()
    exif[0x0112] = 8
    upright, turned = read_one(as_png(light)), read_one(as_png(np.rot90(light, -1), exif))
    assert delta_e_00(upright.lab, turned.lab) < 0.01


def test_the_part_may_lie_anywhere():
    near, far = (60, 240, 120, 300), (400, 20, 460, 80)
    readings = [read_one(photo_from_array(flat_light(SHADES[0], part_box=b)), part_box=b) for b in (near, far)]
    assert delta_e_00(readings[0].lab, readings[1].lab) < 0.1
    assert readings[1].lab_u[0] > readings[0].lab_u[0]


def test_noise_raises_the_spread_and_hardly_moves_the_colour():
    light = flat_light(SHADES[3])
    x0, y0, x1, y1 = PART_BOX
    light[y0:y1, x0:x1] += CLEAR_SURFACE
    rng = np.random.default_rng(8)
    spreads = []
    for noise in (0.0, 0.01, 0.03):
        reading = read_one(photo_from_array(light + rng.normal(0, noise, light.shape)))
        spreads.append(sum(reading.lab_sd))
        assert delta_e_00(SHADES[3], reading.lab) < USUAL_ERROR + 1.0
    assert spreads == sorted(spreads)


def _cylinder(shade, stripe=0.0, tilt=0.0):
    """A turned bar across the part's box in light from all round: brightness falls with the tilt, a clear surface over
    it, a neutral mirror stripe beside the top."""
    light = flat_light(shade)
    x0, y0, x1, y1 = PART_BOX
    across = (np.arange(x0, x1) + 0.5 - (x0 + x1) / 2) / ((x1 - x0) / 2)
    shading = np.clip(np.sqrt(1 - across**2) + tilt * across, 0.05, None)
    mirror = stripe * np.exp(-(((across - 0.35) / 0.12) ** 2))
    light[y0:y1, x0:x1] = lab_to_linear_rgb(shade) * shading[None, :, None] + mirror[None, :, None] + CLEAR_SURFACE
    return photo_from_array(light)


@pytest.mark.parametrize(("stripe", "tilt"), [(0, 0), (0.5, 0), (0.5, 0.3), (2.0, -0.3)])
def test_a_turned_bar_reads_as_the_flat_film(stripe, tilt):
    # shading over the facing pixels takes a few per cent of the light: L* 2
    assert delta_e_00((45, 30, -35), read_one(_cylinder((45, 30, -35), stripe, tilt)).lab) < 3.5


@pytest.mark.parametrize("shade", [(22, 8, -20), (35, 30, 20)])
def test_what_the_clear_surface_mirrors_is_taken_off_and_given_back_beside(shade):
    bar = read_one(_cylinder(shade))
    mirrored = linear_rgb_to_lab(lab_to_linear_rgb(shade) + CLEAR_SURFACE)
    assert delta_e_00(shade, bar.lab) < 0.4 * delta_e_00(shade, mirrored)
    assert delta_e_00(mirrored, bar.lab_sci) < 2.5


def _beside_a_lamp(gain, shadow, other=None):
    """A bar lit `gain` times as much as the card, its shadow to the right, perhaps another part above the card."""
    light = _cylinder((60, 20, -25)).pixels.copy()
    x0, y0, x1, y1 = PART_BOX
    light[y0:y1, x0:x1] *= gain
    light[y0:y1, x1 : x1 + 20] *= 1 - shadow
    boxes = [PART_BOX]
    if other is not None:
        boxes.append((160, 20, 260, 80))
        light[20:80, 160:260] = lab_to_linear_rgb(other) * (1 + 0.05 * np.sin(np.arange(100))[:, None])
    options = ReadOptions(corners(CARD_BOX), part_at=[corners(box) for box in boxes])
    return look_at(photo_from_array(light), options).measurement.parts


def test_a_lamp_on_metal_is_named_and_widens_lightness_alone():
    soft, lamp = (_beside_a_lamp(1.0, shadow)[0] for shadow in (0.0, 0.8))
    assert "directed_light" in lamp.flags
    assert "directed_light" not in soft.flags
    assert lamp.lab_u[0] > 1.5 * soft.lab_u[0]
    shares = [np.sqrt(np.array(one.lab_cov_parts["shape"])[0, 0]) for one in (soft, lamp)]
    assert shares[1] > 2 * shares[0]
    # its surface mirrors less of a dim room, and the film is lighter than it looks
    assert lamp.lab[0] > soft.lab[0] + 1


def test_no_film_outshines_bare_aluminium():
    bright = _beside_a_lamp(3.0, 0.0)[0]
    assert max(lab_to_linear_rgb(bright.lab)) <= 0.9 + 1e-9
    assert "directed_light" in bright.flags
    # what lights one part more than the card lights others too, by half as much as far as one can tell
    beside, alone = (_beside_a_lamp(gain, 0.0, (50, 30, 20))[1] for gain in (3.0, 1.0))
    assert beside.lab[0] < alone.lab[0] - 3
    assert beside.lab_u[0] > alone.lab_u[0]


def test_a_part_more_than_half_in_shade_is_read_from_the_rest():
    light = flat_light(SHADES[1])
    x0, y0, x1, y1 = PART_BOX
    light[y0:y1, x0:x1] *= 1 + 0.05 * np.sin(np.arange(x1 - x0))[:, None]  # as uneven as metal
    light[y0:y1, x0:x1] += CLEAR_SURFACE
    shaded = light.copy()
    shaded[y0:y1, x0 : x0 + (x1 - x0) * 55 // 100] *= 0.5
    lit, half = (read_one(photo_from_array(one)).lab for one in (light, shaded))
    assert delta_e_00(lit, half) < 2.0


def test_lean_is_nought_in_the_middle_and_one_at_the_rim_of_bar_ring_and_disc():
    y, x = np.mgrid[:240, :240] - 119.5
    radius = np.hypot(x, y)
    ring = (radius < 100) & (radius > 60)
    tilt, depth = guess_tilt(ring)
    assert np.nanmax(np.abs(tilt - np.abs(radius - 80) / 20)) < 0.15
    bar = (np.abs(x) < 100) & (np.abs(y) < 20)
    tilt, _ = guess_tilt(bar)
    middle = bar & (np.abs(x) < 70)
    assert np.abs(tilt - np.abs(y) / 20)[middle].max() < 0.15
    assert np.isnan(tilt[~bar]).all()
    assert depth.max() == pytest.approx(20, abs=1)


def test_lost_channels_are_flagged_and_raise_the_doubt():
    good = read_one(as_png(flat_light((60, 10, 10)) * 0.8))
    blown = read_one(as_png(flat_light((80, 30, 60)) * 1.6))
    assert good.flags == ()
    assert "clipped" in blown.flags
    assert blown.lab_u[0] > good.lab_u[0] + 2
    beyond = read_one(as_png(np.clip(flat_light((55, -45, -40)), 0, 1)))
    assert "out_of_gamut" in beyond.flags
    assert beyond.lab_u[1] > good.lab_u[1] + 4
    cut_off = linear_rgb_to_lab(np.clip(lab_to_linear_rgb((55, -45, -40)), 0, 1))
    assert beyond.lab[1] < cut_off[1] - 5


def test_darkness_is_flagged():
    assert "dark" in read_one(photo_from_array(flat_light((1, 0, 0)))).flags


def _film(dye, amount, undyed=0.7):
    return undyed * 10 ** (-amount * np.array(dye))


def test_near_shades_of_one_dye_borrow_each_others_brightness():
    dye = (0.1, 0.8, 0.5)
    films = np.array([_film(dye, 0.5), _film(dye, 0.6)])
    seen = films * np.array([[1.15], [0.9]])  # as different shapes would show them
    settled = seen * np.exp(level_steps(seen, LEVEL_SD))[:, None]
    true, before, after = (np.subtract(*linear_rgb_to_lab(pair)) for pair in (films, seen, settled))
    assert delta_e_76(true, before) > 5
    assert delta_e_76(true, after) < 1.5
    assert np.log(settled).mean() == pytest.approx(np.log(seen).mean(), abs=0.01)


def test_near_shades_agree_even_where_one_part_mirrors_a_lamp():
    dye = (0.1, 0.8, 0.5)
    films = np.array([_film(dye, 0.5), _film(dye, 0.6)])
    seen = films * np.array([[1.6], [0.8]])
    settled = seen * np.exp(level_steps(seen, LEVEL_SD))[:, None]
    true, before, after = (np.subtract(*linear_rgb_to_lab(pair)) for pair in (films, seen, settled))
    assert delta_e_76(true, before) > 15
    assert delta_e_76(true, after) < 2.5


def test_the_more_doubtful_of_two_near_shades_moves_more():
    dye = (0.1, 0.8, 0.5)
    seen = np.array([_film(dye, 0.5) * 1.3, _film(dye, 0.5)])
    steps = np.abs(level_steps(seen, [0.1, 0.3]))
    assert steps[1] == pytest.approx(9 * steps[0], rel=0.01)


def test_other_dyes_and_single_parts_are_left_alone():
    films = np.array([_film((0.1, 0.8, 0.5), 0.5), _film((0.8, 0.3, 0.1), 0.5)])
    assert np.abs(level_steps(films, LEVEL_SD)).max() < 0.01
    assert level_steps(films[:1], LEVEL_SD) == pytest.approx([0])
    assert level_steps(np.empty((0, 3)), []).shape == (0,)


def test_light_and_dark_grey_are_no_near_shades():
    assert np.abs(level_steps(np.array([[0.4] * 3, [0.1] * 3]), LEVEL_SD)).max() < 0.01


def test_a_sensors_own_light_saved_without_a_profile_is_seen_as_such():
    # half a stop of red and one of blue are what a balance usually makes up
    light = flat_light((50, 30, 20)) * np.array([0.6, 1.0, 0.45], np.float32)
    with BytesIO() as buffer:
        Image.fromarray(np.round(np.clip(light, 0, 1) * 255).astype(np.uint8)).save(buffer, "PNG")
        reading = read_one(buffer.getvalue())
    # the matrix raises chroma, as it would for a real sensor; brightness and hue stay
    assert reading.lab[0] == pytest.approx(50, abs=4)
    assert np.degrees(np.arctan2(reading.lab[2], reading.lab[1])) == pytest.approx(
        np.degrees(np.arctan2(20, 30)), abs=12
    )


def test_a_pixel_worked_on_stands_for_all_of_the_photo_in_it():
    """A step of 3 takes 9 pixels of the photo into one."""
    empty = np.zeros(7)
    seven = Facing(np.zeros((7, 3)), empty, empty, (0, 0, 9, 9), 3, empty, empty, empty, 0.0, 0.0, 0.0)
    assert seven.count == 63

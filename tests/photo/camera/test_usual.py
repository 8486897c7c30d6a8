"""What cameras usually do to colours, taken back: contrast, a balance for another light, a sensor's black level."""

from types import SimpleNamespace

import numpy as np
import pytest

from dyebook.lab import Lab, decode_srgb, delta_e_00, encode_srgb, lab_to_linear_rgb, linear_rgb_to_lab
from dyebook.photo.camera.usual import camera_balance, lost_channels, sensor_light, usual_contrast, without_contrast
from dyebook.photo.file.read import photo_from_array
from tests.render.scene import FINISHES, Film
from tests.render.spectra import (
    DYES,
    camera_matrix,
    film_reflectance,
    paint_reflectance,
    raw_white,
    reflectance_lab,
    sensor_weights,
)

CARD = (49.5, 0.0, 0.0)


@pytest.mark.parametrize("contrast", [0.0, 0.06, 0.25, 0.5])
def test_contrast_drawn_into_codes_is_taken_back(contrast):
    light = np.linspace(0, 1, 101)
    code = encode_srgb(light)
    drawn = decode_srgb(code - contrast * np.sin(2 * np.pi * code) / (2 * np.pi))
    # 2e-5: the curve is kept as a ladder of 2049 codes
    assert without_contrast(drawn, contrast) == pytest.approx(light, abs=2e-5)


def test_contrast_leaves_what_lies_beyond_black_and_white():
    outside = np.array([-0.2, 0.0, 1.0, 1.7])
    assert without_contrast(outside, 0.3) == pytest.approx(outside, abs=1e-12)


def test_signed_photos_have_more_contrast_and_linear_ones_none():
    def photo(make, linear=False):
        return SimpleNamespace(encoding=SimpleNamespace(is_linear=linear), camera=SimpleNamespace(make=make))

    assert usual_contrast(photo("Some maker")) > usual_contrast(photo(None)) > 0
    assert usual_contrast(photo("Some maker", linear=True)) == 0


def _seen_by_daylight_balance(reflectances):
    """Linear Rec. 709 of reflectances under tungsten, by a measured camera left on daylight."""
    white, preset = (raw_white("reflex", name) for name in ("A", "D65"))
    gains = (white / white[1]) / (preset / preset[1])
    return reflectances @ sensor_weights("reflex", "A", fine=True) * gains @ camera_matrix("reflex", 0.0).T


def test_a_balance_for_another_light_is_taken_back_better_than_by_gains():
    # the camera's sensitivities are measured ones that colour-science ships (Nikon 5100, NPL)
    films = [Film(bands, amount) for bands in DYES.values() for amount in (0.15, 0.4)]
    films = np.array([film_reflectance(film, FINISHES["satin"])[0] for film in films])
    true = reflectance_lab(films)
    card = _seen_by_daylight_balance(paint_reflectance(Lab(*CARD)))
    gains = lab_to_linear_rgb(CARD) / card
    plain = _seen_by_daylight_balance(films) * gains
    balanced = camera_balance(plain, gains, lab_to_linear_rgb(CARD))
    errors = [delta_e_00(true, linear_rgb_to_lab(light)).mean() for light in (plain, balanced)]
    assert errors[1] < 0.9 * errors[0]


def test_balance_leaves_the_card_and_an_even_gain_alone():
    card_light = lab_to_linear_rgb(CARD)
    gains = np.array([0.6, 1.1, 2.0])
    assert camera_balance(card_light, gains, card_light) == pytest.approx(card_light)
    light = np.array([0.3, 0.2, 0.05])
    assert camera_balance(light, np.full(3, 1.7), card_light) == pytest.approx(light)


def test_a_sensors_black_level_does_not_lighten_dark_parts():
    pedestal, mix = 0.02, np.array([0.6, 1.0, 0.5])
    card_light = lab_to_linear_rgb(CARD)

    def claimed(light):
        """What the sRGB curve makes of codes that are a sensor's own light above its black level."""
        return decode_srgb(light * mix + pedestal)

    picture = np.empty((40, 40, 3))
    picture[:] = claimed(card_light)
    # the darkest thing is not wholly black
    picture[:4] = claimed(np.full(3, 0.02))
    card = claimed(card_light)
    gains = card_light / card
    part = lab_to_linear_rgb((25.0, 0.0, 0.0))
    read = linear_rgb_to_lab(sensor_light(claimed(part) * gains, gains, card_light, photo_from_array(picture)))
    with_pedestal = linear_rgb_to_lab(card_light * ((part * mix + pedestal) / (card_light * mix + pedestal)))
    assert abs(read[0] - 25) < 1.0
    assert abs(with_pedestal[0] - 25) > 3.0


def test_a_lost_channel_is_put_below_nought_by_degrees_and_black_stays_grey():
    turquoise, none = lab_to_linear_rgb((60, -50, -10)), np.zeros(3)
    kept = np.maximum(turquoise, 0)  # what a file in Rec. 709 holds of it
    reds = [lost_channels(kept, np.array([share, 0, 0]), none)[0] for share in (0, 0.1, 0.2, 0.4, 1.0)]
    assert reds[0] == 0
    assert reds == sorted(reds, reverse=True)
    assert reds[-1] == pytest.approx(turquoise[0], abs=0.03)
    black = np.full(3, 0.002)
    assert lost_channels(black, np.full(3, 0.8), none) == pytest.approx(black)

"""A card whose corners are given: order of corners, what is read, what is refused."""

import numpy as np
import pytest

from dyebook.errors import PhotoError
from dyebook.photo.card.card import card_at, fill_polygon, no_card, order_corners
from dyebook.photo.file.read import photo_from_array

QUAD = np.array([[20.0, 30.0], [120.0, 30.0], [120.0, 100.0], [20.0, 100.0]])


def _plain(light=(0.2, 0.18, 0.15), height=140, width=180):
    return np.broadcast_to(np.float32(light), (height, width, 3)).copy()


@pytest.mark.parametrize("shuffle", [(0, 1, 2, 3), (2, 0, 3, 1), (3, 2, 1, 0)])
def test_corners_come_back_clockwise_from_the_top_left(shuffle):
    np.testing.assert_array_equal(order_corners(QUAD[list(shuffle)]), QUAD)


def test_a_polygon_fills_its_area():
    assert fill_polygon(QUAD, (0, 0, 180, 140)).sum() == 100 * 70


def test_the_light_of_an_even_card_is_read_as_it_is():
    card = card_at(photo_from_array(_plain()), QUAD)
    np.testing.assert_allclose(card.rgb, (0.2, 0.18, 0.15), rtol=1e-5)
    assert card.kind == "grey"
    assert not card.flags


def test_gains_undo_a_cast_whatever_the_exposure():
    gains = [card_at(photo_from_array(_plain() * factor), QUAD).gains * factor for factor in (0.5, 1, 2)]
    np.testing.assert_allclose(gains[0], gains[1], rtol=1e-5)
    np.testing.assert_allclose(gains[2], gains[1], rtol=1e-5)


def test_dirt_is_seen_against_the_slope_of_light_across_the_card():
    pixels = _plain() * np.exp(0.004 * (np.arange(180) - 70))[None, :, None].astype(np.float32)
    clean = card_at(photo_from_array(pixels), QUAD).rgb
    # as light as the card's other end: no stray by itself, but one where it lies
    pixels[50:80, 33:43] = pixels[50, 105]
    # leaving these pixels out moves the mean by 1 %, counting them by 2 %
    np.testing.assert_allclose(card_at(photo_from_array(pixels), QUAD).rgb, clean, rtol=0.012)


def test_dirt_and_glare_on_the_card_do_not_count():
    pixels = _plain()
    pixels[50:60, 50:70] = 0.01
    pixels[70:78, 80:90] = 0.9
    np.testing.assert_allclose(card_at(photo_from_array(pixels), QUAD).rgb, (0.2, 0.18, 0.15), rtol=1e-3)


def test_strays_do_not_push_the_rest_out():
    # so even that a few strays move a mean plane by more than the card's own scatter
    pixels = _plain()
    pixels[np.random.default_rng(3).random(pixels.shape[:2]) < 0.1] *= 0.8
    np.testing.assert_allclose(card_at(photo_from_array(pixels), QUAD).rgb, (0.2, 0.18, 0.15), rtol=1e-5)


def test_a_card_of_two_halves_is_a_doubt():
    pixels = _plain()
    pixels[:, 70:] *= 0.05
    assert "card_doubtful" in card_at(photo_from_array(pixels), QUAD).flags


@pytest.mark.parametrize(
    ("pixels", "quad", "words"),
    [
        (_plain(), QUAD + 100, "pixels of the upright photo"),
        (_plain(), QUAD[[0, 0, 1, 1]], "enclose almost nothing"),
        (_plain(), QUAD[:3], "four corners"),
        (_plain(), QUAD * np.nan, "four corners"),
        (_plain((0.0005, 0.0005, 0.0005)), QUAD, "is black"),
        (_plain((1.0, 1.0, 1.0)), QUAD, "blown out"),
    ],
)
def test_a_card_that_cannot_serve_is_refused_in_words(pixels, quad, words):
    with pytest.raises(PhotoError, match=words):
        card_at(photo_from_array(pixels, limit=1.0), quad)


@pytest.mark.parametrize("lab", [(0, 0, 0), (200, 0, 0), (49.5, 0), (49.5, np.nan, 0)])
def test_a_colour_that_no_card_has_is_refused_in_words(lab):
    with pytest.raises(PhotoError, match="the card's own colour is"):
        card_at(photo_from_array(_plain()), QUAD, lab)


def test_going_without_a_card_is_a_loud_doubt():
    card = no_card()
    assert (card.kind, card.quad, card.flags) == ("none", None, ("no_card",))
    np.testing.assert_array_equal(card.gains, 1)

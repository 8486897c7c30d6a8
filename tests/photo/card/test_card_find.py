"""The plain grey card is found by itself, or the photo is refused."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from dyebook.errors import PhotoError
from dyebook.lab import Lab
from dyebook.photo.card.features import FEATURES
from dyebook.photo.card.find import _working_picture, card_candidates, card_probability, find_card, in_a_grid
from dyebook.photo.file.read import photo_from_array, read_photo
from tests.render.photo import picture
from tests.render.plan import card_things, make_scenes, plain_scene
from tests.render.scene import Ground

# half a per cent of the card's side: what the light correction can bear
CORNER = 0.005
BLUE = Lab(40, 5, -38)


def _photo(image):
    """A photo of sRGB codes, through a lossless file."""
    return read_photo(cv2.imencode(".png", image[..., ::-1])[1].tobytes(), name="scene.png")


def _corner_error(quad, true):
    """Largest distance of a corner, in sides of the card."""
    side = np.linalg.norm(np.roll(true, -1, axis=0) - true, axis=1).mean()
    return np.linalg.norm(quad - true, axis=1).max() / side


@pytest.fixture(scope="module")
def scene():
    return picture(plain_scene(BLUE, light=3200, noise=0.01))


CARDS = {
    "plain": card_things(x_mm=-35),
    "white edge": card_things(rim_mm=4, x_mm=-35),
    "black edge": card_things(rim_mm=3, rim_lab=Lab(13, 0, 0), x_mm=-35),
    "turned by 40 degrees": card_things(25, 21, x_mm=-35, turn_deg=40),
}


@pytest.mark.parametrize("name", CARDS)
def test_corners_of_the_grey_area_are_found_within_half_a_percent_of_a_side(name):
    spec = plain_scene(BLUE, light=3200, noise=0.01, ground=Ground("plain", Lab(80, 2, 8), Lab(80, 2, 8)))
    drawn = picture(replace(spec, things=(*CARDS[name], *spec.parts)))
    card = find_card(_photo(drawn.codes))
    assert _corner_error(card.quad, drawn.quad) < CORNER
    assert "card_doubtful" not in card.flags


@pytest.mark.parametrize("turns", [1, 2])
def test_a_turned_photo_gives_the_same_card(scene, turns):
    quad = find_card(_photo(np.rot90(scene.codes, turns))).quad
    height, width = scene.codes.shape[:2]
    true = scene.quad
    turned = np.stack([true[:, 1], width - true[:, 0]], axis=1) if turns == 1 else (width, height) - true
    assert min(_corner_error(quad, np.roll(turned, k, axis=0)) for k in range(4)) < CORNER


def test_a_large_photo_is_refined_on_its_own_pixels(scene):
    large = cv2.resize(scene.codes, None, fx=3, fy=3, interpolation=cv2.INTER_LINEAR)
    assert _corner_error(find_card(_photo(large)).quad, 3 * scene.quad) < CORNER / 2


@pytest.mark.parametrize("gains", [(0.45, 0.8, 1.2), (1.3, 0.8, 0.35), (0.3, 0.3, 0.3)])
def test_balance_and_exposure_do_not_matter(scene, gains):
    photo = photo_from_array(_photo(scene.codes).pixels * np.float32(gains), limit=1.0)
    assert _corner_error(find_card(photo).quad, scene.quad) < CORNER


def test_the_cards_own_lab_is_kept(scene):
    assert find_card(_photo(scene.codes), (60, 1, 2)).lab == Lab(60, 1, 2)


def test_a_photo_without_a_card_is_refused_in_words():
    empty = plain_scene(BLUE)
    empty = picture(replace(empty, things=empty.parts))
    with pytest.raises(PhotoError, match=r"no grey card found in scene\.png: .* at least 2% of the frame"):
        find_card(_photo(empty.codes))


def test_nothing_at_all_is_refused():
    with pytest.raises(PhotoError, match="no even four-sided patch"):
        find_card(photo_from_array(np.full((300, 400, 3), 0.2, np.float32)))


@pytest.mark.parametrize("size", [(1, 1), (5, 3), (15, 40), (40, 15), (300, 20)])
def test_a_scrap_of_a_photo_is_refused_in_words(size):
    light = np.random.default_rng(1).uniform(0, 1, (*size, 3)).astype(np.float32)
    with pytest.raises(PhotoError, match="no grey card found"):
        find_card(photo_from_array(light))


def test_a_patch_of_a_chart_is_not_taken_for_the_card():
    rng = np.random.default_rng(5)
    pixels = np.full((480, 680, 3), 0.03, np.float32)
    for i in range(24):
        y, x = 20 + 110 * (i // 6), 20 + 110 * (i % 6)
        pixels[y : y + 90, x : x + 90] = 0.18 if i == 21 else rng.uniform(0.05, 0.7, 3)
    with pytest.raises(PhotoError, match="colour chart"):
        find_card(photo_from_array(pixels))


def test_two_equal_cards_are_a_doubt():
    both = (*card_things(x_mm=-35), *card_things(x_mm=35))
    ground = Ground("plain", Lab(80, 2, 8), Lab(80, 2, 8))
    photo = _photo(picture(plain_scene(BLUE, noise=0.01, ground=ground, things=both)).codes)
    card = find_card(photo)
    assert "card_doubtful" in card.flags
    best, second = card_candidates(photo)[:2]
    assert best.probability >= second.probability > 0.5


def _drawn(hole=False, size=(900, 600), bare=False):
    """A grey rectangle on rough brown ground with a white sheet, in flat light, as no renderer draws it."""
    rng = np.random.default_rng(3)
    pixels = np.float32((0.3, 0.22, 0.15)) * np.exp(rng.normal(0, 0.3, (size[1], size[0], 1))).astype(np.float32)
    cv2.fillPoly(pixels, [np.array([[40, 60], [300, 40], [320, 250], [60, 280]])], (0.85, 0.85, 0.84))
    quad = np.array([[480.0, 220.0], [740.0, 250.0], [718.0, 430.0], [462.0, 400.0]])
    if not bare:
        cv2.fillPoly(pixels, [np.int32(quad * 16)], (0.18, 0.18, 0.18), cv2.LINE_AA, 4)
    if hole:
        cv2.circle(pixels, (510, 260), 13, (0.02, 0.02, 0.02), -1, cv2.LINE_AA)
    pixels = cv2.GaussianBlur(pixels, (0, 0), 0.8)
    pixels += rng.normal(0, 0.004, pixels.shape).astype(np.float32)
    return photo_from_array(pixels, limit=1.0), quad + 0.5


def test_a_card_drawn_by_hand_is_found_without_a_doubt():
    photo, quad = _drawn()
    card = find_card(photo)
    assert _corner_error(card.quad, quad) < CORNER
    assert "card_doubtful" not in card.flags


@pytest.mark.parametrize("options", [{"hole": True}, {"bare": True}])
def test_a_grey_tag_with_a_hole_and_a_white_sheet_are_no_cards(options):
    with pytest.raises(PhotoError, match="no grey card found"):
        find_card(_drawn(**options)[0])


def test_a_picture_of_any_size_is_worked_on_at_about_one_size():
    light = np.full((1080, 1440, 3), 0.2, np.float32)
    light[300:700, 300:900] = 0.4
    assert max(_working_picture(photo_from_array(light))[0].shape) == 800
    assert max(_working_picture(photo_from_array(light[:700, :900]))[0].shape) == 900


def test_only_neighbours_of_one_size_make_a_grid():
    square = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]])
    row = [square + np.array([12 * k, 0]) for k in range(1, 4)]
    assert in_a_grid(square, row)
    assert not in_a_grid(square, [one * (1, 2) for one in row])
    assert not in_a_grid(square, row[:2])


def test_a_tint_or_a_hole_never_speaks_for_a_card():
    sound = np.zeros(len(FEATURES))
    for name in ("tinted", "cast", "spots", "hole", "rough", "alike", "streak", "ridge", "skew", "too_bright", "cut"):
        spoiled = sound.copy()
        spoiled[list(FEATURES).index(name)] = 0.5
        assert card_probability(spoiled) <= card_probability(sound)


def test_a_busy_bench_keeps_its_card_on_top():
    drawn = picture(make_scenes(11, "parts", 960, 720, camera="reflex")[0])
    best = card_candidates(_photo(drawn.codes))[0]
    assert _corner_error(best.quad, drawn.quad) < 2 * CORNER

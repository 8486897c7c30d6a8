"""Flaws painted over plain parts: found where they are, named by their form; texture and shading are none."""

import numpy as np
import pytest

from dyebook.lab import lab_to_linear_rgb
from dyebook.photo.card.card import fill_polygon
from dyebook.photo.file.read import photo_from_array
from dyebook.photo.flaw.candidates import depth_direction
from dyebook.photo.flaw.features import change_delta_e
from dyebook.photo.flaw.view import CHROMA, DARK, NEUTRAL, unshaded, view_part
from dyebook.photo.light import Light
from dyebook.photo.measure import measure
from dyebook.photo.part.part import part_at
from tests.photo.scenes import as_png, corners, flat_light, read_one

SHADE = (45, 35, -30)
BOX = (200, 110, 440, 230)
METAL = 0.85


def bar(depth=None, shade=SHADE, noise=0.01, seed=1):
    """Light of a lit bar with a shaded profile, brushed; `depth` is a function of x and y that multiplies its dye."""
    light = flat_light(shade, part_box=BOX)
    y, x = np.mgrid[: light.shape[0], : light.shape[1]].astype(float)
    film = lab_to_linear_rgb(shade)
    amount = np.ones_like(x) if depth is None else depth(x, y)
    colour = METAL * (film / METAL) ** amount[..., None]
    profile = np.clip(1 - 0.5 * ((y - 170) / 60) ** 2, 0.3, 1)
    rng = np.random.default_rng(seed)
    brushing = 1 + 0.01 * np.repeat(rng.standard_normal(light.shape[0])[:, None], light.shape[1], axis=1)
    x0, y0, x1, y1 = BOX
    inside = np.s_[y0:y1, x0:x1]
    light[inside] = (colour * (profile * brushing)[..., None])[inside]
    return (light * (1 + noise * rng.standard_normal(light.shape))).astype(np.float32)


def read_bar(light):
    """The reading of the bar."""
    return read_one(as_png(light), part_box=BOX)


def part_at_box():
    """The bar as outlined by hand."""
    return part_at(photo_from_array(bar()), corners(BOX))


def disc(x, y):
    return np.where(np.hypot(x - 330, y - 165) < 16, 0.5, 1.0)


def line(x, y):
    return np.where((np.abs(y - 180) < 4) & (np.abs(x - 320) < 45), 1.9, 1.0)


def masks(flaw, depth, box=BOX):
    """The found and the true region as bool over the picture."""
    y, x = np.mgrid[:360, :480] + 0.5
    return fill_polygon(np.array(flaw.outline), (0, 0, 480, 360), 1), depth(x, y) != 1


@pytest.mark.parametrize(("depth", "kinds"), [(disc, {"spot", "pale_zone"}), (line, {"streak"})])
def test_a_painted_flaw_is_found_in_its_place(depth, kinds):
    reading = read_bar(bar(depth))
    assert reading.flaws
    found, true = masks(reading.flaws[0], depth)
    assert (found & true).sum() > 0.5 * (found | true).sum()
    assert reading.flaws[0].kind in kinds
    # the window that finds a streak widens it
    assert reading.flaws[0].area_fraction == pytest.approx(true.sum() / (240 * 120), rel=0.8)
    assert "uneven_part" in reading.flags


def test_a_sound_brushed_and_shaded_bar_has_none():
    reading = read_bar(bar())
    assert reading.flaws == ()
    assert "uneven_part" not in reading.flags
    assert reading.uniformity < 1.5


def test_a_pale_end_stays_in_the_hue_though_shading_may_take_its_brightness():
    light = bar(lambda x, y: np.where(x < 262, 0.6, 1.0))
    view = view_part(photo_from_array(light), Light(np.ones(3), np.zeros(2)), part_at_box())
    hue = unshaded(view) @ CHROMA.T
    columns = np.flatnonzero(view.inner.any(axis=0))
    ends = [np.median(hue[:, part][view.inner[:, part]], axis=0) for part in (columns[:40], columns[-120:])]
    way = CHROMA @ depth_direction(lab_to_linear_rgb(SHADE))
    both = sorted(float(end @ way / np.linalg.norm(way)) for end in ends)
    assert both[1] - both[0] > 0.1


def test_the_directions_of_log_light_are_square_to_each_other():
    axes = np.vstack([NEUTRAL, CHROMA])
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-6)


def test_flaws_are_left_out_on_asking():
    assert read_one(as_png(bar(disc)), part_box=BOX, flaws=False).flaws == ()


def test_a_photo_tells_flaws_not_sought_from_flaws_not_found():
    photo, options = as_png(bar()), {"no_card": True, "part_at": [corners(BOX)]}
    found = {sought: measure(photo, flaws=sought, **options).to_dict() for sought in (True, False)}
    assert [found[sought]["parts"][0]["flaws"] for sought in (True, False)] == [[], []]
    assert ["flaws_not_sought" in found[sought]["flags"] for sought in (True, False)] == [False, True]


def test_places_go_to_the_grid_and_back():
    view = view_part(photo_from_array(bar()), Light(np.ones(3), np.zeros(2)), part_at_box())
    there = view.unrolled(view.p, 40, 60)
    assert np.abs(view.rolled(there)[view.inner] - view.p[view.inner]).max() < 0.03


def test_an_uneven_bar_has_a_larger_spread():
    patchy = bar(lambda x, y: 1 + 0.3 * np.sin(x / 9) * np.sin(y / 9))
    assert read_bar(patchy).uniformity > 2 * read_bar(bar()).uniformity


def test_shading_is_taken_away_but_a_spot_stays():
    part = part_at_box()
    plain = Light(np.ones(3), np.zeros(2))
    view = view_part(photo_from_array(bar(disc, noise=0)), plain, part)
    rest = unshaded(view)
    y, x = np.mgrid[: view.mask.shape[0], : view.mask.shape[1]] + 0.5
    places = view.to_photo(np.stack([x.ravel(), y.ravel()], axis=1)).reshape(*view.mask.shape, 2)
    spot = (disc(places[..., 0], places[..., 1]) != 1) & view.inner
    film = lab_to_linear_rgb(SHADE)
    other = METAL * (film / METAL) ** 0.5
    expected = np.log((other + DARK) / (film + DARK))
    assert np.median(rest[spot], axis=0) == pytest.approx(expected, abs=0.12)
    assert np.abs(np.median(rest[view.inner & ~spot], axis=0)).max() < 0.03


def test_less_dye_is_the_direction_towards_metal():
    film = lab_to_linear_rgb(SHADE)
    other = METAL * (film / METAL) ** 0.999
    way = np.log((other + DARK) / (film + DARK))
    assert depth_direction(film) @ (way / np.linalg.norm(way)) > 0.999


def test_no_change_is_no_difference():
    film = lab_to_linear_rgb(SHADE)
    assert change_delta_e(film, np.zeros(3)) == pytest.approx(0, abs=1e-6)
    assert change_delta_e(film, np.array([0.2, 0.1, 0.1])) > change_delta_e(film, np.array([0.1, 0.05, 0.05])) > 0

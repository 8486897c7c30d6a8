"""Stepped coupons: bands of rendered strips against their truth, and profiles whose borders are known."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from dyebook import measure
from dyebook.errors import PhotoError
from dyebook.lab import delta_e_00, lab_to_linear_rgb, linear_rgb_to_lab
from dyebook.photo.file.read import photo_from_array
from dyebook.photo.steps import order_bands, split_profile
from tests.render.photo import picture
from tests.render.plan import card_things, plain_scene
from tests.render.scene import FINISHES, Film, Thing, View, shaped
from tests.render.stage import Camera

BLUE = Film(((615, 40, 1.0), (580, 35, 0.4)), 0.6)
VIEW = View(900, 900, 150.0, 0.0)
# what readings of rendered photos miss on the whole; and what finding the bands may add to it
USUAL, FOUND = 4.0, 0.5


def strip_of(lengths, turn=0.0, index=1.5):
    """A strip of bands of these lengths, the deepest first."""
    shape = shaped("plate", half_x=sum(lengths) / 2, half_y=8.0, corner=1.0)
    finish = replace(FINISHES["satin"], index=index, along=0.4, across=0.4, even=0.6)
    pale = replace(BLUE, absorbance=0.1 * BLUE.absorbance)
    steps = "steps:" + ",".join(map(str, lengths))
    return Thing(shape, BLUE, finish, y_mm=20.0, turn_deg=turn, role="part", pattern=steps, other=pale)


def photo_of(strip):
    """A photo of a strip beside the card, and its picture."""
    spec = plain_scene(BLUE, view=VIEW, things=(*card_things(y_mm=-45.0), strip))
    drawn = picture(replace(spec, light=replace(spec.light, room=0.8)))
    return photo_from_array(drawn.linear.astype(np.float32), name="strip"), drawn


def drawn_bands(strip, lengths):
    """The middle of each true band, in pixels."""
    ends = np.cumsum([0, *lengths]) - sum(lengths) / 2
    turn, bands = np.radians(strip.turn_deg), []
    for start, stop in pairwise(ends):
        x = start + (stop - start) * np.array([0.15, 0.85, 0.85, 0.15])
        y = 7.6 * np.array([-1, -1, 1, 1])
        at = x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn) + 20, np.full(4, 1.6)
        bands.append(Camera(VIEW).project(np.stack(at, axis=1)))
    return bands


@pytest.mark.parametrize(
    ("lengths", "turn", "index"),
    [((30, 30, 30), 0, 1.0), ((12, 20, 14, 24, 18), 35, 1.3), ((9, 13, 10, 15, 8, 12, 11, 14), 160, 1.5)],
)
def test_bands_are_read_from_the_longest_dwell_on(lengths, turn, index):
    strip = strip_of(lengths, turn, index)
    photo, drawn = photo_of(strip)
    found = measure(photo, card_at=drawn.quad, steps=len(lengths)).parts
    assert len(found) == len(lengths)
    assert not any({"steps_unseen", "step_odd"} & set(part.flags) for part in found)
    read = np.array([part.lab for part in found])
    by_hand = measure(photo, card_at=drawn.quad, part_at=drawn_bands(strip, lengths)).parts
    assert delta_e_00(np.array([part.lab for part in by_hand]), read).max() < FOUND
    true = np.array([band["lab"] for band in drawn.truth["parts"][0]["bands"]])
    assert delta_e_00(true, read).mean() < USUAL
    assert np.all(np.diff(read[:, 0]) > 0)


def test_the_same_bands_in_the_same_order_whichever_end_is_deep():
    one, other = (photo_of(strip_of((25, 35, 20), turn)) for turn in (0.0, 180.0))
    one, other = (measure(photo, card_at=drawn.quad, steps=3).parts for photo, drawn in (one, other))
    assert delta_e_00(np.array([a.lab for a in one]), np.array([b.lab for b in other])).max() < 1.5, (
        "the lamp stands aside"
    )
    assert one[0].box[0] < one[-1].box[0]
    assert other[0].box[0] > other[-1].box[0]


def test_edges_between_bands_are_left_out():
    """Neighbouring bands keep apart by the 15 % of a band that is left out on each side."""
    photo, drawn = photo_of(strip_of((30, 30, 30)))
    boxes = [part.box for part in measure(photo, card_at=drawn.quad, steps=3).parts]
    for one, after in pairwise(boxes):
        assert after[0] - one[2] > 0.25 * 30 * photo.size[0] / 150


def _bands(depths, size=300, lengths=None, seed=0):
    """Profile of a blue strip in CIELAB with a little noise; depths as multiples of one load."""
    lengths = np.full(len(depths), 1.0) if lengths is None else np.array(lengths, float)
    ends = np.round(np.cumsum(lengths / lengths.sum()) * size).astype(int)
    which = np.searchsorted(ends, np.arange(size), side="right")
    lab = linear_rgb_to_lab(0.7 * np.exp(-np.array(depths)[which, None] * np.array([1.5, 0.7, 0.2])))
    return lab + np.random.default_rng(seed).normal(0, 0.3, lab.shape), ends[:-1]


def test_borders_come_from_the_colours():
    lab, true = _bands((2.0, 1.2, 0.7, 0.3), lengths=(1, 2, 0.7, 1.3))
    borders, seen = split_profile(lab, 4)
    assert np.abs(borders - true).max() <= 2
    assert seen.all()


def test_where_no_step_is_seen_lengths_are_equal_and_it_is_said():
    lab, _ = _bands((1.0, 1.0, 1.0, 1.0))
    borders, seen = split_profile(lab, 4)
    assert borders == pytest.approx([75, 150, 225], abs=12)
    assert not seen.any()


def test_a_full_film_hides_only_its_own_border():
    """The two longest dips have filled the film: that border is halved, the others are found."""
    lab, true = _bands((2.0, 2.0, 1.0, 0.5), lengths=(1, 1, 1.5, 0.8))
    borders, seen = split_profile(lab, 4)
    assert list(seen) == [False, True, True]
    assert np.abs(borders - true)[1:].max() <= 2
    assert abs(borders[0] - true[0]) < 20


def test_shading_along_the_strip_moves_no_border():
    lab, true = _bands((1.6, 1.1, 0.7, 0.4))
    lab[:, 0] += np.linspace(-3, 3, len(lab))
    borders, _ = split_profile(lab, 4)
    assert np.abs(borders - true).max() <= 4


@pytest.mark.parametrize(
    ("depths", "order", "odd"),
    [
        ([5, 4, 3, 2], [0, 1, 2, 3], []),
        ([1, 2, 3, 5], [3, 2, 1, 0], []),
        ([1, 2, 6, 3, 4], [4, 3, 2, 1, 0], [2]),
        ([5, 1, 4, 3, 2], [0, 1, 2, 3, 4], [1]),
        ([5, 4.95, 5, 3], [0, 1, 2, 3], []),
    ],
)
def test_the_order_stands_against_one_odd_band(depths, order, odd):
    found, strange = order_bands(np.array(depths, float))
    assert list(found) == order
    assert list(np.flatnonzero(strange)) == odd


def _drawn(labs, long_px=400):
    """A strip of flat patches in even linear light."""
    light = np.full((300, 560, 3), 0.05, np.float32)
    light[20:120, 20:160] = 0.18
    for place, lab in enumerate(labs):
        side = long_px // len(labs)
        light[180:240, 80 + place * side : 80 + (place + 1) * side] = lab_to_linear_rgb(lab)
    return photo_from_array(light, name="drawn")


CARD = [(20, 20), (160, 20), (160, 120), (20, 120)]
STRIP = [(80, 180), (480, 180), (480, 240), (80, 240)]


def test_an_odd_band_keeps_its_place_and_is_flagged():
    labs = [(25, 15, -45), (45, 0, -30), (33, 10, -42), (40, 5, -38), (60, -5, -20)]
    found = measure(_drawn(labs), card_at=CARD, part_at=[STRIP], steps=5).parts
    assert ["step_odd" in part.flags for part in found] == [False, True, False, False, False]


def test_bands_found_one_by_one_are_one_strip():
    labs = [(25, 15, -45), (40, 5, -38), (60, -5, -20), (75, -6, -8)]
    pieces = [[(80 + 100 * k, 180), (180 + 100 * k, 180), (180 + 100 * k, 240), (80 + 100 * k, 240)] for k in range(4)]
    found = measure(_drawn(labs), card_at=CARD, part_at=pieces, steps=4).parts
    assert delta_e_00(np.array(labs), np.array([part.lab for part in found])).max() < 2.0


def test_a_strip_too_short_for_its_bands_is_refused():
    short = [(80, 180), (120, 180), (120, 200), (80, 200)]
    with pytest.raises(PhotoError, match="too short for 6 bands"):
        measure(_drawn([(30, 0, 0)]), card_at=CARD, part_at=[short], steps=6)


def test_no_strip_gives_no_parts():
    found = measure(photo_from_array(np.full((300, 560, 3), 0.3, np.float32), name="bare"), no_card=True, steps=3)
    assert found.parts == ()
    assert "no_part" in found.flags


@pytest.mark.parametrize("steps", [0, 1, 21, 2.5])
def test_so_many_bands_are_a_mistake(steps):
    with pytest.raises(ValueError, match="steps"):
        measure(_drawn([(30, 0, 0)]), card_at=CARD, part_at=[STRIP], steps=steps)

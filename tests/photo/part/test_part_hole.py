"""Small holes through tags belong to the outline, on several grounds and in both worlds."""

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from dyebook.lab import Lab
from dyebook.photo.card.card import card_at
from dyebook.photo.file.read import photo_from_array, read_photo
from dyebook.photo.light import fit_light
from dyebook.photo.measure import look_at, measure
from dyebook.photo.part.find import find_parts
from dyebook.photo.part.outline import holes_cut, see_through
from dyebook.photo.part.part import Part, part_at
from dyebook.record import ReadOptions
from tests.bench.pictures import SCENES
from tests.render.photo import picture
from tests.render.plan import plain_scene
from tests.render.scene import Ground, shaped

SAMPLE = Path(__file__).parents[3] / "samples" / "orange_tags_on_wood.jpg"
HOLES = ((-19.5, 0.0, 1.6), (19.5, 0.0, 2.0))
HOLED = shaped("plate", half_x=24.0, half_y=14.0, holes=HOLES, bevel=0.5, thickness=2.0)
WOOD = Ground("wood", Lab(58, 8, 22), Lab(44, 11, 25), seed=3)
GROUNDS = (
    Ground("paper", Lab(90, 0, 2), Lab(88, 0, 2)),
    Ground("cloth", Lab(20, 0, 0), Lab(17, 0, 0)),
    WOOD,
    Ground("plastic", Lab(45, -5, -25), Lab(44, -5, -25)),
)
# L*, chroma over lightness: a violet part on grey ground
PART, GROUND = (40, 30, -40), (60, 0, 0)


def holes_in(mask, least=30):
    """Each hole of a mask as a mask of its own."""
    contours, tree = cv2.findContours(mask.astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    inner = [c for c, own in zip(contours, tree[0], strict=True) if own[3] >= 0 and cv2.contourArea(c) >= least]
    return [(cv2.drawContours(np.zeros(mask.shape, np.uint8), [c], -1, 1, -1) > 0) & ~mask for c in inner]


def least_overlap(found, true):
    """Smallest over true holes of the largest intersection over union with a found one."""
    return min(max(((f & t).sum() / (f | t).sum() for f in found), default=0.0) for t in true)


def picture_of(ground):
    scene = plain_scene(Lab(45, 50, 35), noise=0.01, ground=ground)
    drawn = picture(replace(scene, things=(scene.card, replace(scene.parts[0], shape=HOLED))))
    return photo_from_array(drawn.linear), drawn


@pytest.mark.parametrize("ground", GROUNDS, ids=lambda ground: ground.kind)
def test_the_holes_of_a_tag_are_cut_out_whatever_lies_below(ground):
    photo, drawn = picture_of(ground)
    (reading,) = look_at(photo, ReadOptions(drawn.quad)).measurement.parts
    found = holes_in(Part(np.array(reading.outline)).mask((0, 0, *photo.size)))
    assert len(found) == 2
    assert least_overlap(found, holes_in(drawn.mask(0))) > 0.6
    assert reading.flaws == ()


def test_a_hole_that_a_drawn_outline_runs_across_is_no_flaw():
    photo, drawn = picture_of(WOOD)
    (outline,), _ = cv2.findContours(drawn.mask(0).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = outline[:, 0] + 0.5
    (reading,) = look_at(photo, ReadOptions(drawn.quad, part_at=[outline])).measurement.parts
    assert reading.flaws == ()
    light = fit_light(photo, card_at(photo, drawn.quad, drawn.spec.card.material.lab))
    found = holes_in(holes_cut(photo, light, part_at(photo, outline)).mask((0, 0, *photo.size)))
    assert least_overlap(found, holes_in(drawn.mask(0))) > 0.6


def test_holes_are_cut_out_in_a_photo_of_the_physical_world():
    photo, truth = read_photo(SCENES / "s005-parts.jpg"), json.loads((SCENES / "s005-parts.json").read_text())
    card = card_at(photo, truth["card"]["quad"], truth["card"]["lab"])
    found = [part.mask((0, 0, *photo.size)) for part in find_parts(photo, card, fit_light(photo, card))]
    labels = cv2.imread(str(SCENES / "s005-parts.png"), cv2.IMREAD_UNCHANGED) % 128
    masks = [labels == number for number in range(1, labels.max() + 1)]
    holed = [(mask, holes_in(mask)) for mask in masks if holes_in(mask)]
    assert holed
    for mask, true in holed:
        nearest = max(found, key=lambda other: (mask & other).sum() / (mask | other).sum())
        assert least_overlap(holes_in(nearest), true) > 0.5


def test_the_holes_of_the_sample_are_no_pits():
    reading = measure(SAMPLE).parts[0]
    assert len(holes_in(Part(np.array(reading.outline)).mask((0, 0, 1600, 1067)))) == 2
    assert reading.flaws == ()


def marked(cover, colour):
    """A plate (200 × 140) on grey ground with a mark of a colour, and where the plate is."""
    y, x = np.mgrid[:140, :200].astype(np.float32)
    plate = (x > 20) & (x < 180) & (y > 20) & (y < 120)
    picture = np.where(plate[..., None], np.float32(PART), np.float32(GROUND))
    share = (cover(x, y) * plate)[..., None].astype(np.float32)
    noise = np.random.default_rng(5).normal(0, 0.5, picture.shape)
    return (picture + share * (np.float32(colour) - picture) + noise).astype(np.float32), plate.astype(np.uint8)


def disc(radius, soft=1.0, x0=60, y0=70):
    return lambda x, y: np.clip((radius - np.hypot(x - x0, y - y0)) / soft + 0.5, 0, 1)


def test_a_hole_in_the_parts_shadow_is_seen_through():
    picture, plate = marked(disc(6), (30, 0, 0))
    found = see_through(picture, plate)
    assert found.sum() == pytest.approx(np.pi * 6**2, rel=0.15)
    assert found[70, 60]


@pytest.mark.parametrize(
    ("cover", "colour"),
    [
        (disc(6), (60, 20, -20)),  # paler dye
        (disc(12, soft=14), GROUND),  # fades out
        (disc(6), (85, 0, 0)),  # mirror light, lighter than the ground
        (disc(1.5), (30, 0, 0)),  # a pit
        (lambda x, y: (np.abs(y - 70) < 2.5) & (np.abs(x - 100) < 40), GROUND),  # a groove
        (disc(6, x0=20), GROUND),  # open to the side
    ],
    ids=["spot", "faded", "mirror", "pit", "groove", "notch"],
)
def test_what_only_looks_like_a_hole_is_none(cover, colour):
    assert not see_through(*marked(cover, colour)).any()

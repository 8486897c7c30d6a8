"""Parts found by themselves in rendered scenes whose truth is known."""

from dataclasses import replace

import numpy as np
import pytest

from dyebook.lab import Lab
from dyebook.photo.card.card import card_at, no_card
from dyebook.photo.file.read import photo_from_array
from dyebook.photo.light import fit_light
from dyebook.photo.part.find import find_parts
from tests.render.photo import picture
from tests.render.plan import card_things, plain_scene
from tests.render.scene import shaped


def _found(scene):
    drawn = picture(scene)
    photo = photo_from_array(drawn.linear, name="bench.jpg")
    card = card_at(photo, drawn.quad, drawn.spec.card.material.lab)
    return find_parts(photo, card, fit_light(photo, card)), drawn, photo


def _overlap(part, drawn, photo):
    found, true = part.mask((0, 0, *photo.size)), drawn.mask(0)
    return np.count_nonzero(found & true) / np.count_nonzero(found | true)


@pytest.mark.parametrize("shade", [Lab(35, 10, -40), Lab(45, 55, 30), Lab(20, 8, -25), Lab(70, -30, 40)])
def test_a_tag_beside_the_card_is_found(shade):
    parts, drawn, photo = _found(plain_scene(shade, noise=0.01))
    assert len(parts) == 1
    assert _overlap(parts[0], drawn, photo) > 0.85
    assert len(parts[0].outline) <= 220


def test_the_hole_of_a_ring_is_cut_out():
    scene = plain_scene(Lab(40, 50, 20), noise=0.01)
    shape = shaped("ring", outer=18.0, inner=10.0, thickness=3.0, rounding=0.4)
    ring = replace(scene.parts[0], shape=shape)
    parts, drawn, photo = _found(replace(scene, things=(scene.card, ring)))
    assert len(parts) == 1
    assert _overlap(parts[0], drawn, photo) > 0.85


def test_parts_come_from_left_to_right():
    scene = plain_scene(Lab(35, 10, -40), noise=0.01)
    one = replace(scene.parts[0], shape=shaped("plate", half_x=14.0, half_y=8.0))
    tags = (replace(one, x_mm=x, y_mm=y) for x, y in ((48, 35), (5, -38), (30, 0)))
    parts, _, photo = _found(replace(scene, things=(scene.card, *tags)))
    assert len(parts) == 3
    middles = [part.mask((0, 0, *photo.size)).nonzero()[1].mean() for part in parts]
    assert middles == sorted(middles)


def test_the_card_alone_is_no_part():
    parts, _, _ = _found(plain_scene(Lab(50, 0, 0), noise=0.01, things=card_things(x_mm=-35.0)))
    assert parts == []


def test_an_empty_frame_without_a_card_has_no_part():
    photo = photo_from_array(np.full((480, 640, 3), 0.3), name="bench.jpg")
    card = no_card()
    assert find_parts(photo, card, fit_light(photo, card)) == []


def test_twice_the_exposure_finds_the_same_part():
    drawn = picture(plain_scene(Lab(35, 10, -40), noise=0.01))
    found = []
    for factor in (0.5, 1.0):
        photo = photo_from_array(drawn.linear * factor, name="bench.jpg")
        card = card_at(photo, drawn.quad, drawn.spec.card.material.lab)
        found.append(find_parts(photo, card, fit_light(photo, card)))
    masks = [parts[0].mask((0, 0, *photo.size)) for parts in found]
    assert np.count_nonzero(masks[0] & masks[1]) / np.count_nonzero(masks[0] | masks[1]) > 0.97

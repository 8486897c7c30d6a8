"""Every finder has a limit on what it looks at, whatever the picture: counted on patterns, as seconds differ.

Seconds and memory of the same patterns at 12 megapixels: `python -m tests.bench.textures`.
"""

import numpy as np
import pytest

from dyebook.photo.card import candidates as patches
from dyebook.photo.card.card import card_at
from dyebook.photo.card.find import card_candidates
from dyebook.photo.file.read import photo_from_array
from dyebook.photo.flaw.candidates import fields_of, regions_of
from dyebook.photo.flaw.view import unshaded, view_part
from dyebook.photo.light import fit_light
from dyebook.photo.part import candidates as regions
from dyebook.photo.part import outline
from dyebook.photo.part.find import find_parts
from dyebook.photo.part.part import part_at
from tests.bench.textures import TEXTURES, texture

SIZE = (640, 480)
# of four fields in two kinds, three levels and two signs, eight of the finest and four of the others: see `regions_of`
MOST_PLACES = 2 * 3 * 2 * (8 + 3 * 4)


@pytest.fixture(scope="module", params=TEXTURES)
def photo(request):
    codes = texture(request.param, *SIZE, scale=SIZE[0] / 4000)
    return photo_from_array((codes / 255.0) ** 2.2, name=f"{request.param}.png")


@pytest.fixture
def seen(photo):
    card = card_at(photo, [(280, 200), (360, 200), (360, 260), (280, 260)])
    return card, fit_light(photo, card)


def test_outlines_refined_for_the_card_are_limited(photo):
    found = patches.even_patches(photo.pixels, patches.bright_end(photo.pixels))
    assert len(found) <= patches._MOST_OUTLINES
    assert len(card_candidates(photo)) <= 24


def test_regions_judged_for_parts_are_limited(photo, seen):
    view = regions.view_of(photo, *seen)
    assert len(regions.candidates(view)) <= regions._MOST_REGIONS
    assert len(find_parts(photo, *seen)) <= 12


def test_patches_looked_at_for_holes_are_limited(photo, seen, monkeypatch):
    tried = []
    add = outline._add
    monkeypatch.setattr(outline, "_add", lambda *given: tried.append(1) or add(*given))
    outline.small_holes(photo, seen[1], np.array([(60.0, 60), (580, 60), (580, 420), (60, 420)]))
    assert len(tried) <= outline._MOST_SEEDS


def test_places_judged_for_flaws_are_limited(photo, seen):
    view = view_part(photo, seen[1], part_at(photo, [(60, 60), (580, 60), (580, 420), (60, 420)]))
    found = regions_of(fields_of(unshaded(view), view.inner, np.array([0.2, 0.3, 0.4])))
    assert sum(one.count for one in found) <= MOST_PLACES

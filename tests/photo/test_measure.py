"""The chain as its callers see it: the contract's JSON, doubts that the whole shows, and what goes wrong in words."""

import json
from pathlib import Path

import numpy as np
import pytest

from dyebook import measure
from dyebook.errors import PhotoError
from dyebook.photo.file.read import photo_from_array
from dyebook.photo.measure import look_at
from dyebook.record import ReadOptions

SAMPLE = Path(__file__).parents[2] / "samples" / "orange_tags_on_wood.jpg"


@pytest.fixture(scope="module")
def bench():
    """An even dark bench with a grey card on the left and a pale tag on the right, in linear light."""
    pixels = np.full((480, 640, 3), 0.05, dtype=np.float32)
    pixels[150:330, 60:260] = 0.18
    pixels[180:300, 380:560] = (0.55, 0.5, 0.4)
    return photo_from_array(pixels, name="bench")


CARD = [(60, 150), (260, 150), (260, 330), (60, 330)]
TAG = [(380, 180), (560, 180), (560, 300), (380, 300)]
DARK = [(300, 20), (340, 20), (340, 60), (300, 60)]


def test_json_has_the_shape_of_the_contract(bench):
    result = json.loads(json.dumps(measure(bench, card_at=CARD, part_at=[TAG]).to_dict(), allow_nan=False))
    assert set(result) == {"photo", "size", "card", "parts", "flags", "warnings", "options", "next_step"}
    assert result["size"] == [640, 480]
    assert set(result["card"]) == {"kind", "quad", "lab"}
    (part,) = result["parts"]
    keys = {"outline", "box", "lab", "lab_sci", "lab_sd", "lab_u", "uniformity", "area_mm2", "flags", "flaws"}
    shared = {"setup", "photo_sha256", "shape_key", "finish", "lab_cov_parts", "lab_u_parts"}
    assert set(part) == keys | shared
    assert set(part["setup"]) == {"name", "key"}
    for parts, shape in (("lab_cov_parts", (3, 3)), ("lab_u_parts", (3,))):
        assert set(part[parts]) == {"camera", "shape", "photo", "own"}
        assert all(np.shape(value) == shape for value in part[parts].values())
    assert len(part["lab"]) == len(part["lab_sci"]) == len(part["lab_sd"]) == len(part["lab_u"]) == 3


def test_json_names_the_options_that_were_used(bench):
    used = {"card_at": np.array(CARD), "card_lab": (48, 0, 1), "part_at": [np.array(TAG)], "flaws": False}
    options = ReadOptions(**used)
    assert hash(options) == hash(ReadOptions(CARD, [48, 0, 1], [TAG], flaws=False))
    named = json.loads(json.dumps(look_at(bench, options).measurement.to_dict()["options"]))
    assert named == {
        "card_at": [list(corner) for corner in CARD],
        "card_lab": [48, 0, 1],
        "part_at": [[list(corner) for corner in TAG]],
        "camera": None,
        "flat": None,
        "no_card": False,
        "mat_line_mm": None,
        "flaws": False,
        "steps": None,
        "setup": None,
        "finish": None,
        "twin_at": None,
        "twin_lab": None,
    }


def test_parts_keep_the_order_in_which_they_were_given(bench):
    there = measure(bench, card_at=CARD, part_at=[TAG, DARK]).parts
    back = measure(bench, card_at=CARD, part_at=[DARK, TAG]).parts
    assert [round(part.lab.L, 1) for part in there] == [round(part.lab.L, 1) for part in reversed(back)]


def test_a_part_lighter_than_white_casts_doubt_on_the_card(bench):
    assert "card_doubtful" not in measure(bench, card_at=CARD, part_at=[TAG]).flags
    assert "card_doubtful" in measure(bench, card_at=DARK, part_at=[TAG]).flags


def test_without_a_card_the_colour_is_a_guess_and_says_so(bench):
    assert "no_card" in measure(bench, part_at=[TAG], no_card=True).flags


def test_no_part_is_not_an_error():
    pixels = np.full((480, 640, 3), 0.4, dtype=np.float32)
    pixels[150:330, 60:260] = 0.18
    found = measure(photo_from_array(pixels, name="bare"), card_at=CARD)
    assert found.parts == ()
    assert "no_part" in found.flags


@pytest.mark.parametrize("name", ["found.txt", "found"])
def test_an_overlay_of_no_known_kind_is_refused(bench, tmp_path, name):
    look = look_at(bench, ReadOptions(CARD, part_at=[TAG]))
    with pytest.raises(PhotoError, match=r"endings \.png"):
        look.save_overlay(tmp_path / name)


def test_an_overlay_that_cannot_be_written_is_an_error_in_words(bench, tmp_path):
    with pytest.raises(PhotoError, match="cannot write the overlay"):
        look_at(bench, ReadOptions(CARD, part_at=[TAG])).save_overlay(tmp_path / "nowhere" / "x.png")

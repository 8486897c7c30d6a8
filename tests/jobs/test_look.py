"""A look at a photo for a screen: measured, refused but shown, and drawn again from the book."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from dyebook.book.store import open_book
from dyebook.errors import PhotoError
from dyebook.jobs.photo import draw_kept, draw_plain, read_options, see_photo
from dyebook.record import DyeRecord

SAMPLE = Path(__file__).parents[2] / "samples" / "tags_one_streaked.jpg"


def _picture(jpeg):
    return cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)


@pytest.fixture(scope="module")
def plain():
    return _picture(draw_plain(SAMPLE.read_bytes()))


@pytest.fixture(scope="module")
def seen():
    return see_photo(SAMPLE.read_bytes(), read_options(None), SAMPLE.name)


def test_a_look_gives_readings_and_pictures(seen, plain):
    assert seen.problem == ""
    assert seen.measurement.photo == SAMPLE.name
    overlay = _picture(seen.overlay)
    assert plain.shape == overlay.shape
    assert np.abs(plain.astype(int) - overlay.astype(int)).max() > 100, "something is drawn in"


def test_a_look_can_be_given_up_between_its_stages():
    answer = []

    def tell(words):
        answer.append(words)
        if len(answer) == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        see_photo(SAMPLE.read_bytes(), read_options(None), "tags.jpg", tell)
    assert answer == ["Reading tags.jpg", "Looking for card and parts in tags.jpg"]


def test_a_photo_without_a_card_is_still_shown():
    plain = np.full((600, 800, 3), (60, 120, 60), np.uint8)
    content = cv2.imencode(".png", plain)[1].tobytes()
    seen = see_photo(content, read_options(None), "lawn.png")
    assert seen.measurement is None
    assert "lawn.png" in seen.problem
    assert seen.size == (800, 600)
    assert np.abs(_picture(seen.overlay).astype(int) - plain).max() < 8


def test_what_is_no_photo_is_refused():
    with pytest.raises(PhotoError):
        see_photo(b"a letter", read_options(None), "letter.jpg")


def test_a_kept_photo_is_drawn_with_the_part_that_was_kept(seen, plain, tmp_path):
    with open_book(tmp_path / "shop.dyebook", who="Ada") as book:
        record = DyeRecord("Ember", film_um=12, dye_g_per_l=3, bath_temp_c=50, dwell_min=6)
        number = book.add_batch(record, SAMPLE.read_bytes(), seen.measurement, 1)
        ((name, jpeg),) = draw_kept(book, number)
    assert name == SAMPLE.name
    drawn = np.abs(_picture(jpeg).astype(int) - plain).max(axis=2) > 60
    scale = drawn.shape[1] / seen.size[0]

    def marked(box):
        x0, y0, x1, y1 = (round(value * scale) for value in box)
        return drawn[y0:y1, x0:x1].mean()

    first, second = (part.box for part in seen.measurement.parts[:2])
    assert marked(second) > 3 * marked(first)

"""A book of each test's own, a made-up bath in it, a photo to measure, and workers that are quick."""

import cv2
import pytest

from dyebook.book.store import open_book
from dyebook.jobs import baths
from dyebook.jobs import remeasure as job
from dyebook.lab import Lab
from tests.render.photo import picture
from tests.render.plan import plain_scene


@pytest.fixture(autouse=True)
def baths_learned_once(monkeypatch, learn_once):
    """The same baths are learned once for all tests."""
    monkeypatch.setattr("dyebook.advice.learn.learn_model", learn_once)


@pytest.fixture
def book(tmp_path):
    """An empty book."""
    with open_book(tmp_path / "shop.dyebook") as opened:
        yield opened


@pytest.fixture
def ember(book):
    """Number of a bath of 2 L at 3 g/L, made up on 1 March 2026."""
    bath_id = baths.find_bath(book, "Ember", "E1", 2.0)
    baths.note_bath(book, bath_id, "made_up", "2026-03-01T08:00", dye_g_per_l=3.0, bath_volume_l=2.0)
    return bath_id


@pytest.fixture(scope="session")
def jpeg():
    """A small photo of a grey card and one tag of L* 45, a* 10, b* -40."""
    drawn = picture(plain_scene(Lab(45, 10, -40), noise=0.01, seed=3))
    image = cv2.resize(drawn.codes, (480, 360), interpolation=cv2.INTER_AREA)
    return cv2.imencode(".jpg", cv2.cvtColor(image, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, 92])[1].tobytes()


@pytest.fixture
def in_here(monkeypatch):
    """Workers within this process, behind the same face, so that a test is quick."""
    from concurrent.futures import ThreadPoolExecutor
    from contextlib import contextmanager

    @contextmanager
    def workers(*_):
        with ThreadPoolExecutor(1) as pool:
            yield pool, 1

    monkeypatch.setattr(job, "open_workers", workers)

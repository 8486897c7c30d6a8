"""A book of each test's own, and a made-up bath in it."""

import pytest

from dyebook.book.store import open_book
from dyebook.jobs import baths


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

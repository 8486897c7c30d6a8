"""The app at a database server that goes away: it says so in words, and goes on once the server is back."""

import pytest

from dyebook.book.store import open_book
from dyebook.record import DyeRecord
from dyebook.screens import session
from tests.own_server import started_server

pytestmark = pytest.mark.postgres
PAGES = ("today", "bench", "shade", "photo", "book", "orders", "baths", "trouble", "camera")


@pytest.fixture(scope="module")
def server():
    """A server that tests may stop and start."""
    yield from started_server()


@pytest.fixture
def shop(server, tmp_path, monkeypatch):
    """The screens look into a book with one batch on it."""
    monkeypatch.setenv("DYEBOOK_PHOTOS", str(tmp_path))
    monkeypatch.setenv("DYEBOOK_BOOK", server.url)
    session.shared_book.clear()
    settings = {"film_um": 12, "dye_g_per_l": 3, "bath_temp_c": 50, "dwell_min": 6}
    with open_book(server.url) as book:
        book.add_batch(DyeRecord("Ember", bath="E1", dyed_at="2026-03-01", **settings))
    yield server.url
    session.shared_book.clear()


def _told(screen):
    return " ".join(one.value for one in screen.error)


def _check(screen, gone):
    """No traceback either way, and words about the server where it is gone, and only there."""
    assert not screen.exception
    assert ("does not answer" in _told(screen)) is gone


@pytest.mark.parametrize("name", PAGES)
def test_a_page_in_use_says_that_the_server_is_gone_and_goes_on_when_it_is_back(server, shop, open_page, name):
    screen = open_page(name)
    _check(screen, gone=False)
    server.stop()
    try:
        _check(screen.run(), gone=True)
    finally:
        server.start()
    _check(screen.run(), gone=False)


def test_an_app_that_is_opened_while_the_server_is_away_says_so_and_then_opens(server, shop, open_page):
    server.stop()
    try:
        screen = open_page("today")
        _check(screen, gone=True)
    finally:
        server.start()
    _check(screen.run(), gone=False)

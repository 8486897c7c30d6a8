"""The demo book's place and making: apart from the user's own book, and removed at will."""

import shutil
import threading
from pathlib import Path

from dyebook.book.store import open_book
from dyebook.jobs import say_nothing
from dyebook.record import DEMO_MARK

__all__ = ["demo_place", "is_laid_out", "make_demo_book", "throw_demo_away"]

_MAKING_DEMO = threading.Lock()


def demo_place():
    """Return the folder of the demo book, in the user's cache."""
    from platformdirs import user_cache_path

    return Path(user_cache_path("dyebook", appauthor=False)) / "demo.dyebook"


def make_demo_book(progress=say_nothing, place=None):
    """Return the folder of a whole demo book, made now unless it is there already.

    One that was given up half-way is no demo book yet: the next time it is laid out from the beginning.
    """
    from dyebook.demo.shop import EDITION, fill_book

    place = place or demo_place()
    # two sessions that look for the first time at once
    with _MAKING_DEMO:
        if not is_laid_out(place):
            _remove(place)
            with _opened(place) as book:
                fill_book(book, progress=progress)
                book.set_setting(DEMO_MARK, EDITION)
    return place


def is_laid_out(place=None):
    """Whether the demo book was finished by this edition of the shop."""
    from dyebook.demo.shop import EDITION

    place = place or demo_place()
    if not (place / "book.sqlite").exists():
        return False
    with _opened(place) as book:
        return book.setting(DEMO_MARK) == EDITION


def throw_demo_away(place=None):
    """Remove the demo book."""
    with _MAKING_DEMO:
        _remove(place or demo_place())


def _opened(place):
    return open_book(place, photos=place / "photos", who="demo")


def _remove(place):
    if place.exists():
        shutil.rmtree(place)

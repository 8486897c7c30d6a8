"""The demo book's place and making; apart from anybody's own book, to be thrown away at will."""

import shutil
import threading
from pathlib import Path

from dyebook.book.store import open_book

__all__ = ["DEMO_MARK", "demo_place", "is_laid_out", "make_demo_book", "throw_demo_away"]

# the setting that says a book is the demo, finished, and of which edition
DEMO_MARK = "demo"
_MAKING_DEMO = threading.Lock()


def demo_place():
    """Return the folder of the demo book, in the user's cache."""
    from platformdirs import user_cache_path

    return Path(user_cache_path("dyebook", appauthor=False)) / "demo.dyebook"


def make_demo_book(progress=None, place=None):
    """Return the folder of a whole demo book, made now unless it is there already.

    One that was given up half-way is no demo book yet: the next time it is laid out from the beginning.
    """
    place = place or demo_place()
    # two who look for the first time at once
    with _MAKING_DEMO:
        if not is_laid_out(place):
            _lay_out(place, progress)
    return place


def throw_demo_away(place=None):
    """Throw the demo book away."""
    place = place or demo_place()
    with _MAKING_DEMO:
        if place.exists():
            shutil.rmtree(place)


def _lay_out(place, progress):
    from dyebook.demo.shop import EDITION, fill_book

    if place.exists():
        shutil.rmtree(place)
    with open_book(place, photos=place / "photos", who="demo") as book:
        fill_book(book, progress=progress)
        book.set_setting(DEMO_MARK, EDITION)


def is_laid_out(place=None):
    """Whether the demo book was finished by this edition of the shop."""
    from dyebook.demo.shop import EDITION

    place = place or demo_place()
    if not (place / "book.sqlite").exists():
        return False
    with open_book(place, photos=place / "photos", who="demo") as book:
        return book.setting(DEMO_MARK) == EDITION

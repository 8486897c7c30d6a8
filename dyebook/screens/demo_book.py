"""The demo book's place and making; apart from anybody's own book, to be thrown away at will."""

import shutil
from pathlib import Path

from dyebook.book.store import open_book

__all__ = ["DEMO_MARK", "demo_place", "make_demo_book", "remake_demo_book"]

# the setting that says a book is the demo, finished, and of which edition
DEMO_MARK = "demo"


def demo_place():
    """Return the folder of the demo book, in the user's cache."""
    from platformdirs import user_cache_path

    return Path(user_cache_path("dyebook", appauthor=False)) / "demo.dyebook"


def make_demo_book(place=None):
    """Return the folder of a whole demo book, made now unless it is there already."""
    place = place or demo_place()
    if not _is_whole(place):
        remake_demo_book(place)
    return place


def remake_demo_book(place=None):
    """Throw the demo book away and lay out a fresh one; return its folder."""
    from dyebook.demo.shop import EDITION, fill_book

    place = place or demo_place()
    if place.exists():
        shutil.rmtree(place)
    with open_book(place, photos=place / "photos", who="demo") as book:
        fill_book(book)
        book.set_setting(DEMO_MARK, EDITION)
    return place


def _is_whole(place):
    """Whether the demo book was finished by this edition of the shop."""
    from dyebook.demo.shop import EDITION

    if not (place / "book.sqlite").exists():
        return False
    with open_book(place, photos=place / "photos", who="demo") as book:
        return book.setting(DEMO_MARK) == EDITION

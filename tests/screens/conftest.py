"""One demo book and one empty book for all tests of the screens."""

import pytest
from streamlit.testing.v1 import AppTest

from dyebook.screens import demo_book


@pytest.fixture(scope="session")
def demo_place(tmp_path_factory):
    """Folder of a demo book, made once."""
    return demo_book.remake_demo_book(tmp_path_factory.mktemp("demo") / "demo.dyebook")


@pytest.fixture
def empty_book(tmp_path, monkeypatch):
    """The screens look into an empty book of this test."""
    return _look_into(tmp_path / "shop.dyebook", monkeypatch)


@pytest.fixture
def demo_shop(demo_place, monkeypatch):
    """The screens look into the demo book; tests that write take `empty_book`."""
    return _look_into(demo_place, monkeypatch)


def _look_into(place, monkeypatch):
    from dyebook.screens import shelf

    shelf.open_shelf.clear()
    monkeypatch.setenv("DYEBOOK_BOOK", str(place))
    return place


@pytest.fixture
def open_page():
    """Open one page of the app by its name, with parts of its address as keywords."""

    def open_page(name, **address):
        test = AppTest.from_function(_page, args=(name,), default_timeout=60)
        for key, value in address.items():
            test.query_params[key] = value
        return test.run()

    return open_page


def _page(name):
    from dyebook.screens.router import show

    show(first=name)

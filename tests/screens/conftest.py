"""One demo book, one empty book, one app and one real browser for all tests of the screens."""

import os
import shutil
import socket
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import pytest
from streamlit.testing.v1 import AppTest

from dyebook.book.store import open_book
from dyebook.demo.place import make_demo_book
from dyebook.record import DyeRecord
from dyebook.screens import apart, session, tasks
from tests.screens.big_book import fill_big_book

ROOT = Path(__file__).parents[2]
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
_MAIN = sys.modules["__main__"]


@pytest.fixture(autouse=True)
def _own_main_module():
    """Streamlit leaves the page as the main module, which processes that later tests start would run first."""
    yield
    sys.modules["__main__"] = _MAIN


@pytest.fixture(scope="session")
def demo_place(tmp_path_factory):
    """Folder of a demo book, made once."""
    return make_demo_book(place=tmp_path_factory.mktemp("demo") / "demo.dyebook")


@pytest.fixture(autouse=True)
def no_work_left():
    """What one test had done is not remembered by the next."""
    yield
    tasks.stop_all()


@pytest.fixture(autouse=True)
def baths_learned_once(monkeypatch, learn_once):
    """The baths of the demo book and of the big one are learned once for all tests."""
    monkeypatch.setattr("dyebook.advice.learn.learn_model", learn_once)


class InPlace:
    """A worker that is no process: the tests of the pages look into what it does."""

    def __init__(self):
        self.process = SimpleNamespace(kill=lambda: None, communicate=lambda: None)
        self.is_fit = False

    def do(self, *asked):
        return apart.perform(*asked)


@pytest.fixture(autouse=True)
def work_in_place(monkeypatch, request):
    """Pages of this process do their work in it; the served app has its workers, and so have tests of them."""
    if "workers" not in request.fixturenames:
        monkeypatch.setattr("dyebook.screens.apart._take", InPlace)
        monkeypatch.setattr("dyebook.screens.tasks.warm_worker", lambda: None)


@pytest.fixture(autouse=True)
def own_drafts(tmp_path, monkeypatch):
    """Drafts of a test stay its own."""
    monkeypatch.setenv("DYEBOOK_DRAFTS_DIR", str(tmp_path / "drafts"))


@pytest.fixture
def empty_book(tmp_path, monkeypatch):
    """The screens look into an empty book of this test."""
    return _look_into(tmp_path / "shop.dyebook", monkeypatch)


@pytest.fixture
def begun_book(empty_book):
    """A book with one batch: AppTest can choose a name from a list, but not write a new one."""
    with open_book(empty_book) as book:
        settings = {"film_um": 12, "dye_g_per_l": 3, "bath_temp_c": 50, "dwell_min": 6}
        book.add_batch(DyeRecord("Ember", bath="E1", dyed_at="2026-03-01", **settings))
    return empty_book


@pytest.fixture(scope="session")
def big_place(tmp_path_factory):
    """Folder of a book of 100,000 batches, made once."""
    return fill_big_book(tmp_path_factory.mktemp("big") / "big.dyebook", baths=3)


@pytest.fixture
def big_shop(big_place, monkeypatch):
    """The screens look into the book of 100,000 batches."""
    return _look_into(big_place, monkeypatch)


@pytest.fixture
def demo_shop(demo_place, monkeypatch):
    """The screens look into the demo book; tests that write take `empty_book`."""
    return _look_into(demo_place, monkeypatch)


def _look_into(place, monkeypatch):

    session.shared_book.clear()
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


class ServedApp:
    """The app, opened by its own command on a book, that can be stopped and started again at the same address."""

    def __init__(self, home, book, program=("-m", "dyebook")):
        self.home, self.book, self.program = home, book, program
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.address = f"http://127.0.0.1:{self.port}"

    def start(self):
        """Start it, and wait until it answers."""
        options = ["--book", str(self.book), "--port", str(self.port), "--no-browser"]
        environment = {**os.environ, "HOME": str(self.home), "PYTHONPATH": str(ROOT)}
        log = self.home / "log"
        with log.open("wb") as answer:
            command = [sys.executable, *self.program, "open", *options]
            streams = {"stdin": subprocess.DEVNULL, "stdout": answer, "stderr": answer}
            self.process = subprocess.Popen(command, cwd=self.home, env=environment, **streams)
        end = time.monotonic() + 60
        while time.monotonic() < end and self.process.poll() is None:
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.1)
        pytest.fail(f"the app did not start: {log.read_text()}")

    def stop(self):
        """Stop it, as a power cut would not but a restart does."""
        self.process.terminate()
        self.process.wait(20)


@pytest.fixture(scope="module")
def served(demo_place, tmp_path_factory):
    """The app on a copy of the demo book."""
    home = tmp_path_factory.mktemp("home")
    app = ServedApp(home, shutil.copytree(demo_place, home / "shop.dyebook"))
    app.start()
    yield app
    app.stop()


@pytest.fixture(scope="module")
def address(served):
    """Where the app is."""
    return served.address


@pytest.fixture(scope="module")
def chromium():
    """Debian's Chromium, driven by Playwright."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        pytest.skip("no chromium is installed")
    sync_api = pytest.importorskip("playwright.sync_api", reason="Playwright for Python is not installed")
    with sync_api.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=program, args=FLAGS)
        yield browser
        browser.close()

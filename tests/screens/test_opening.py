"""The command that opens the screens: its settings, its port, its books."""

import socket
import tomllib
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dyebook.book.store import open_book
from dyebook.demo import place
from dyebook.errors import DyebookError
from dyebook.screens import app as app_module
from dyebook.server import doors, serve
from dyebook.shell.main import app

ROOT = Path(__file__).parents[2]


def test_the_shim_and_the_command_share_their_settings():
    in_repo = tomllib.loads((ROOT / ".streamlit" / "config.toml").read_text(encoding="utf-8"))
    assert in_repo == tomllib.loads(app_module.SETTINGS_FILE.read_text(encoding="utf-8"))


def test_the_screens_stay_on_this_machine_and_tell_nobody():
    answer = app_module.streamlit_options(8765)
    assert answer["server.address"] == "127.0.0.1"
    assert answer["server.port"] == 8765
    assert answer["server.headless"] is True
    assert answer["server.enableXsrfProtection"] is True
    assert answer["server.allowedHosts"] == ["127.0.0.1", "localhost"]
    assert answer["browser.gatherUsageStats"] is False


def test_every_setting_is_known_to_streamlit():
    from streamlit import config

    known = set(config.get_config_options())
    assert set(app_module.streamlit_options(1)) <= known


def test_a_taken_port_is_said_and_a_free_one_found():
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(DyebookError, match=f"port {port} is taken"):
            serve.free_port(port)
    assert serve.free_port() >= serve.FIRST_PORT


def test_a_machine_without_display_is_left_alone(monkeypatch):
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "SSH_CONNECTION"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr("sys.platform", "linux")
    assert not serve.has_display()
    monkeypatch.setenv("DISPLAY", ":0")
    assert serve.has_display()
    monkeypatch.setenv("SSH_CONNECTION", "somewhere else")
    assert not serve.has_display()


@pytest.fixture
def served(monkeypatch):
    """Calls that would have started the server."""
    calls = []
    monkeypatch.setattr(doors, "serve_desk", lambda _served, port, browser: calls.append((port, browser)))
    return calls


def test_the_demo_never_touches_the_own_book(served, monkeypatch, tmp_path):
    own, cache = tmp_path / "own.dyebook", tmp_path / "cache"
    monkeypatch.setenv("DYEBOOK_BOOK", str(own))
    monkeypatch.setattr("platformdirs.user_cache_path", lambda *_, **__: cache)
    monkeypatch.setattr("dyebook.demo.shop.fill_book", lambda book, **_: book.set_setting("shop", "invented"))
    answer = CliRunner().invoke(app, ["open", "--demo", "--no-browser"])
    assert answer.exit_code == 0, answer.output
    assert served == [(None, False)]
    assert not own.exists()
    assert (cache / "demo.dyebook" / "book.sqlite").exists()


def test_demo_and_book_together_are_wrong_usage(served):
    assert CliRunner().invoke(app, ["open", "--demo", "--book", "x"]).exit_code == 2
    assert not served


def test_a_book_that_cannot_be_opened_stops_the_command(served, monkeypatch, tmp_path):
    (tmp_path / "letter.sqlite").write_text("Dear sir, this is no database, and it is long enough to be read as one.")
    answer = CliRunner().invoke(app, ["open", "--book", str(tmp_path / "letter.sqlite")])
    assert isinstance(answer.exception, DyebookError)
    assert not served


def test_a_whole_demo_book_is_not_made_twice(demo_place, monkeypatch):
    monkeypatch.setattr("dyebook.demo.shop.fill_book", lambda *_, **__: pytest.fail("made again"))
    assert place.make_demo_book(place=demo_place) == demo_place


def test_the_demo_book_is_sound(demo_place):
    with open_book(demo_place) as book:
        assert book.check() == []
        rows = book.batches()
    assert 60 <= len(rows) <= 100
    assert sum(row.photo is not None for row in rows) == 8
    assert len({row.dye for row in rows}) == 4

"""The phone's door as it is really served: by raw requests, and by two browsers, one at the desk and one as phone."""

import http.client
import os
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import pytest
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import connect

from dyebook.book.store import open_book
from dyebook.server.doors import remembered_base
from tests.screens.ports import free_port, listens

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "samples" / "tags_one_streaked.jpg"
# stands for the shop's network: another address of this machine, which only this machine reaches
ADDRESS = "127.0.0.2"
CODE = """
import sys
from dyebook.screens.app import the_screens
from dyebook.server.doors import open_phone_door
open_phone_door(the_screens(), sys.argv[1], int(sys.argv[2]), f"http://{sys.argv[1]}:{sys.argv[2]}")
"""
PATHS = ["/", "/book?batch=3", "/static/index.html", "/_stcore/health", "/_stcore/host-config", "/media/x.jpg"]
# what a proxy would have to unravel before it asks
PATHS += ["//", "/./", "/pair/../", "/pair/..%2f", "/%70air/x", "/pair/x/../../_stcore/health", "/PAIR/x", "/?/pair/x"]


@pytest.fixture(scope="module")
def bench(demo_place, tmp_path_factory):
    """The app with both doors open, on a copy of the demo book."""
    home, port = tmp_path_factory.mktemp("home"), free_port(ADDRESS)
    book = shutil.copytree(demo_place, home / "shop.dyebook")
    environment = {**os.environ, "HOME": str(home), "PYTHONPATH": str(ROOT), "DYEBOOK_BOOK": str(book)}
    log = home / "log"
    with log.open("wb") as outcome:
        command = [sys.executable, "-c", CODE, ADDRESS, str(port)]
        process = subprocess.Popen(command, env=environment, stdin=subprocess.DEVNULL, stdout=outcome, stderr=outcome)
    end = time.monotonic() + 60
    while "/pair/" not in log.read_text() or not listens(ADDRESS, port):
        assert process.poll() is None, log.read_text()
        assert time.monotonic() < end, log.read_text()
        time.sleep(0.1)
    link = re.search(r"http://\S+/pair/\S+", log.read_text())[0]
    yield SimpleNamespace(port=port, desk=f"http://127.0.0.1:{port}", phone=f"http://{ADDRESS}:{port}", link=link)
    process.terminate()
    process.wait(20)


def _ask(bench, path, method="GET", address=ADDRESS, own="127.0.0.4", **headers):
    connection = http.client.HTTPConnection(address, bench.port, timeout=20, source_address=(own, 0))
    connection.request(method, path, headers={name.replace("_", "-"): value for name, value in headers.items()})
    answer = connection.getresponse()
    body = answer.read()
    connection.close()
    return answer, body


def _stream(bench, address=ADDRESS, origin=None, cookie=None):
    headers = {"Cookie": cookie} if cookie else {}
    uri = f"ws://{address}:{bench.port}/_stcore/stream"
    return connect(uri, origin=origin, additional_headers=headers, subprotocols=["streamlit"], open_timeout=20)


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize("method", ["GET", "PUT"])
def test_over_the_wire_no_path_leads_round_the_gate(bench, path, method):
    headers = {"Origin": bench.phone, "X_Forwarded_For": "127.0.0.1"}
    answer, body = _ask(bench, path, method, own="127.0.0.5", **headers)
    assert answer.status in (403, 429)
    assert b"streamlit" not in body.lower()


def test_over_the_wire_no_stream_opens_unpaired_nor_to_pages_elsewhere(bench):
    for address, origin in ((ADDRESS, bench.phone), (ADDRESS, bench.desk), ("127.0.0.1", "http://evil.example")):
        with pytest.raises(InvalidStatus) as refused, _stream(bench, address, origin):
            pass
        assert refused.value.response.status_code == 403


def test_a_name_turned_to_this_machine_gets_nothing(bench):
    for address in ("127.0.0.1", ADDRESS):
        answer, body = _ask(bench, "/", address=address, Host=f"evil.example:{bench.port}")
        assert answer.status == 421
        assert b"streamlit" not in body.lower()


def test_the_desk_is_served_without_pairing(bench):
    assert _ask(bench, "/_stcore/health", address="127.0.0.1")[0].status == 200
    with _stream(bench, "127.0.0.1", bench.desk) as stream:
        assert stream.subprotocol == "streamlit"


def test_other_addresses_of_this_machine_are_not_listened_at(bench):
    assert not listens("127.0.0.3", bench.port)


@pytest.mark.browser
def test_a_phone_is_paired_by_the_code_works_and_is_let_go(bench, chromium):
    desk = chromium.new_context(viewport={"width": 1400, "height": 900}).new_page()
    phone = chromium.new_context(viewport={"width": 390, "height": 800}, has_touch=True).new_page()
    for page in (desk, phone):
        page.set_default_timeout(20_000)
    desk.goto(bench.desk)
    desk.get_by_role("button", name="More").click()
    desk.get_by_role("button", name="Phone").click()
    desk.get_by_text("Point the phone's camera at the code").wait_for()
    _look(desk, "desk_shows_code")
    link = desk.locator("[role=dialog] code").inner_text().strip()
    # the link of the terminal works no longer once the desk made another
    assert _ask(bench, "/pair/" + bench.link.rsplit("/", 1)[1])[0].status == 403

    assert phone.goto(bench.phone).status == 403
    phone.goto(link)
    _look(phone, "phone_asks")
    phone.get_by_role("button", name="Pair this phone").click()
    phone.get_by_role("heading", name=re.compile("Today")).wait_for()
    phone.get_by_role("button", name="More").click()
    phone.get_by_role("link", name="Settings").wait_for()
    assert phone.get_by_role("button", name="Phone", exact=True).count() == 0
    phone.keyboard.press("Escape")
    assert phone.evaluate("document.cookie").find("dyebook_phone") == -1
    _take_photo(phone, bench)
    _look(phone, "phone_measures")
    assert not _loads(phone, "http://127.0.0.3:9/x.png")
    # the code of a printed card
    phone.goto(f"{bench.phone}/book?batch=3")
    phone.get_by_text(re.compile("Batch 3")).first.wait_for()
    assert phone.goto(link).status == 403

    _let_go(bench, desk, phone)


def _take_photo(phone, bench):
    phone.goto(f"{bench.phone}/photo")
    phone.locator("input[type=file]").first.set_input_files(SAMPLE)
    phone.get_by_text("Part 1", exact=True).first.wait_for()


def _loads(page, address):
    """Whether the page's policy lets a picture from elsewhere be asked for, as a note could name one."""
    return page.evaluate(
        """address => new Promise(told => {
            document.addEventListener('securitypolicyviolation', () => told(false));
            const picture = new Image();
            picture.onload = picture.onerror = () => setTimeout(() => told(true), 500);
            picture.src = address;
        })""",
        address,
    )


def _let_go(bench, desk, phone):
    (secret,) = [one["value"] for one in phone.context.cookies() if one["name"] == "dyebook_phone"]
    cookie = f"dyebook_phone={secret}"
    assert _ask(bench, "/_stcore/health", Cookie=cookie)[0].status == 200
    desk.reload()
    desk.get_by_role("button", name="More").click()
    desk.get_by_role("button", name="Phone").click()
    desk.get_by_text("Paired now: 1").wait_for()
    with _stream(bench, origin=bench.phone, cookie=cookie) as stream:
        desk.get_by_role("button", name="Let go of all").click()
        desk.get_by_text("Paired now: 0").wait_for()
        with pytest.raises(ConnectionClosed):
            _talk(stream)
    assert _ask(bench, "/_stcore/health", Cookie=cookie)[0].status == 403
    assert phone.reload().status == 403


def _talk(stream):
    """Say something and listen, again and again, as the page does."""
    for _ in range(20):
        stream.send(b"")
        stream.recv(timeout=5)


def _look(page, name):
    """Keep a picture for the eye where a folder is named."""
    if folder := os.environ.get("DYEBOOK_SCREENSHOTS"):
        page.wait_for_timeout(700)
        page.screenshot(path=Path(folder) / f"{name}_{page.viewport_size['width']}.png")


def test_cards_printed_from_now_on_open_where_phones_come_in(tmp_path, capsys):
    with open_book(tmp_path / "shop.dyebook") as book:
        assert remembered_base(book, "192.168.1.5", 8640) == "http://192.168.1.5:8640"
        assert book.setting("address") == "http://192.168.1.5:8640"
        assert "from now on" in capsys.readouterr().err
        # the router gave another address: what the cards name is left, and said
        assert remembered_base(book, "192.168.1.9", 8640) == "http://192.168.1.9:8640"
        assert book.setting("address") == "http://192.168.1.5:8640"
        assert "phones find the app at http://192.168.1.9:8640" in capsys.readouterr().err
        book.set_setting("address", "http://bench.local:8640/")
        assert remembered_base(book, "192.168.1.9", 8640) == "http://bench.local:8640"
        assert capsys.readouterr().err == ""


def test_an_address_that_is_not_private_is_refused_before_anything_is_served(tmp_path, monkeypatch):
    from typer.testing import CliRunner

    from dyebook.errors import DyebookError
    from dyebook.shell.main import app

    monkeypatch.setenv("DYEBOOK_BOOK", str(tmp_path / "shop.dyebook"))
    for address in ("0.0.0.0", "8.8.8.8", "127.0.0.1"):
        outcome = CliRunner().invoke(app, ["open", "--phone", "--at", address, "--no-browser"])
        assert isinstance(outcome.exception, DyebookError)
        assert "private" in str(outcome.exception)
    assert CliRunner().invoke(app, ["open", "--at", "192.168.1.5"]).exit_code == 2

"""A shared book as it is really served: signed in through OpenID Connect, and by nobody else."""

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
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from dyebook.book.people import set_person
from dyebook.book.store import open_book
from tests.screens.ports import free_port, listens

pytest.importorskip("authlib", reason="the libraries for sign-in are not installed")
pytest.importorskip("joserfc", reason="the library for the tests' own sign-in service is not installed")

ROOT = Path(__file__).parents[2]
ADDRESS, SERVICE = "127.0.0.2", "127.0.0.3"
PEOPLE = {"mara@shop.example": "owner", "ivo@shop.example": "maker", "tess@shop.example": "reader"}


@pytest.fixture(scope="module")
def service():
    """The sign-in service."""
    sys.path.insert(0, str(Path(__file__).parent))
    try:
        from sign_in_service import SignInService
    finally:
        sys.path.pop(0)
    served = SignInService(SERVICE, free_port(SERVICE))
    served.start()
    yield served
    served.stop()


@pytest.fixture(scope="module")
def shop(demo_place, tmp_path_factory, service):
    """The shared app on a copy of the demo book."""
    from sign_in_service import CLIENT, SECRET

    home, port = tmp_path_factory.mktemp("home"), free_port(ADDRESS)
    book, base = shutil.copytree(demo_place, home / "shop.dyebook"), f"http://{ADDRESS}:{port}"
    with open_book(book) as opened:
        for email, role in PEOPLE.items():
            set_person(opened, email, role)
    outcome = {"DYEBOOK_SHARE_ADDRESS": base, "DYEBOOK_SIGN_IN_ID": CLIENT, "DYEBOOK_SIGN_IN_SECRET": SECRET}
    outcome |= {"DYEBOOK_SIGN_IN_URL": f"{service.base}/.well-known/openid-configuration"}
    environment = {**os.environ, **outcome, "HOME": str(home), "PYTHONPATH": str(ROOT), "DYEBOOK_BOOK": str(book)}
    command = [sys.executable, "-m", "dyebook", "open", "--share", "--at", ADDRESS, "--port", str(port), "--no-browser"]
    log = home / "log"
    with log.open("wb") as out:
        process = subprocess.Popen(command, env=environment, stdin=subprocess.DEVNULL, stdout=out, stderr=out)
    end = time.monotonic() + 60
    while not listens(ADDRESS, port):
        assert process.poll() is None, log.read_text()
        assert time.monotonic() < end, log.read_text()
        time.sleep(0.1)
    yield SimpleNamespace(base=base, port=port, book=book, log=log, secret=SECRET)
    process.terminate()
    process.wait(20)


def _ask(shop, path, method="GET", **headers):
    connection = http.client.HTTPConnection(ADDRESS, shop.port, timeout=20)
    connection.request(method, path, headers={"Origin": shop.base, **headers})
    answer = connection.getresponse()
    body = answer.read()
    connection.close()
    return answer.status, body


def test_a_stranger_sends_no_files_and_reads_no_figures(shop):
    assert _ask(shop, "/_stcore/upload_file/a/b", "PUT")[0] == 403
    assert _ask(shop, "/_stcore/metrics")[0] == 403
    assert _ask(shop, "/media/0f.jpg")[0] == 403
    assert _ask(shop, "/media/0f.jpg", Cookie="_streamlit_user=made up")[0] == 403
    assert _ask(shop, "/", Host="evil.example")[0] == 421
    with (
        pytest.raises(InvalidStatus),
        connect(f"ws://{ADDRESS}:{shop.port}/_stcore/stream", origin="http://evil.example"),
    ):
        pass


def test_a_code_that_was_made_up_signs_nobody_in(shop):
    connection = http.client.HTTPConnection(ADDRESS, shop.port, timeout=20)
    connection.request("GET", "/oauth2callback?code=guess&state=guess")
    answer = connection.getresponse()
    cookies = [value for name, value in answer.getheaders() if name.lower() == "set-cookie"]
    assert not [one for one in cookies if one.startswith("_streamlit_user") and "Max-Age=0" not in one]
    connection.close()


@pytest.mark.browser
def test_people_come_in_with_their_roles_and_nobody_else(shop, service, chromium):
    stranger = _page(chromium, shop)
    stranger.get_by_role("button", name="Sign in").wait_for()
    seen = stranger.locator("body").inner_text()
    assert "Today" not in seen
    assert "Heather" not in seen
    for email, verified in (("eve@elsewhere.example", True), ("mara@shop.example", False)):
        page = _sign_in(chromium, shop, service, email, verified)
        page.get_by_text(f"You signed in with {email}").wait_for()
        assert page.get_by_role("heading", name=re.compile("Today")).count() == 0

    reader = _sign_in(chromium, shop, service, "tess@shop.example")
    reader.get_by_text("tess@shop.example, reader").wait_for()
    _drop_batch(reader, shop)
    reader.get_by_text("has the role reader").wait_for()
    maker = _sign_in(chromium, shop, service, "ivo@shop.example")
    _drop_batch(maker, shop)
    maker.get_by_text("has the role maker").wait_for()
    with open_book(shop.book) as book:
        assert 3 in {row.batch for row in book.batches()}
    owner = _sign_in(chromium, shop, service, "mara@shop.example")
    _drop_batch(owner, shop)
    owner.get_by_role("button", name="Bring this batch back").wait_for()
    # a picture is shown to whoever is signed in, and its address is worth nothing elsewhere
    owner.goto(f"{shop.base}/book?batch=80")
    picture = owner.locator("[data-testid=stImage] img").first
    picture.wait_for()
    assert picture.evaluate("one => one.complete && one.naturalWidth > 0")
    address = picture.get_attribute("src").removeprefix(shop.base)
    assert address.startswith("/media/")
    assert _ask(shop, address)[0] == 403

    with open_book(shop.book) as book:
        assert book.history("batches", 3)[-1]["who"] == "mara@shop.example"
        set_person(book, "tess@shop.example", None)
    reader.reload()
    reader.get_by_text("which is not on this book's list").wait_for()
    assert shop.secret not in shop.log.read_text()


def _page(chromium, shop):
    page = chromium.new_context(viewport={"width": 1400, "height": 900}).new_page()
    page.set_default_timeout(20_000)
    page.goto(shop.base)
    return page


def _sign_in(chromium, shop, service, email, verified=True):
    service.person = {"email": email, "email_verified": verified}
    page = _page(chromium, shop)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_text(email).first.wait_for()
    return page


def _drop_batch(page, shop):
    page.goto(f"{shop.base}/book?batch=3")
    page.get_by_text(re.compile("Batch 3")).first.wait_for()
    page.get_by_role("button", name="Mark this batch as deleted").click()

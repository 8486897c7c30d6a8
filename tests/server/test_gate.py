"""Nothing is served to a phone that is not paired: guessing, replay, expiry, missing cookie, wrong names."""

import asyncio
import re

import pytest

from dyebook.server.gate import COOKIE, Door, Gate, RateLimit
from dyebook.server.pairing import (
    DOOR_HEADER,
    LINK_LASTS_S,
    PHONE_STAYS_S,
    Pairing,
    admit,
    let_go,
    send_away,
    take_refused,
)

PHONE = "http://127.0.0.2:8640"
DESK = "http://127.0.0.1:8640"
# a page, a page by its address, a script, a picture of the book, an upload, the stream's siblings, the sign-in, no path
PATHS = ["/", "/book?batch=3", "/static/js/index.js", "/media/0f.jpg", "/_stcore/upload_file/a/b", "/_stcore/health"]
PATHS += ["/_stcore/host-config", "/component/x/index.html", "/auth/login", "/oauth2callback", "/favicon.png", "//", ""]
PATHS += ["/pair", "/pairing/", "/%2e%2e/pair/", "/PAIR/x"]


class Clock:
    """Seconds that pass when told to."""

    now = 1000.0

    def __call__(self):
        return self.now


class App:
    """Stands for the app: answers everything, remembers what reached it."""

    def __init__(self):
        self.reached = []

    async def __call__(self, scope, receive, send):
        self.reached.append(scope)
        if scope["type"] == "http":
            await send({"type": "http.response.start", "status": 200, "headers": [(b"x-app", b"1")]})
            await send({"type": "http.response.body", "body": b"the book"})
            return
        await send({"type": "websocket.accept"})
        while (await receive())["type"] != "websocket.disconnect":
            await send({"type": "websocket.send", "text": "the book"})


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def pairing(clock):
    return Pairing(PHONE, clock)


@pytest.fixture
def app():
    return App()


@pytest.fixture
def gate(app, pairing, clock):
    doors = [Door("desk", "127.0.0.1", (DESK, "http://localhost:8640")), Door("phone", "127.0.0.2", (PHONE,))]
    return Gate(app, doors, pairing, clock)


def visit(gate, path="/", base=PHONE, method="GET", kind="http", client="127.0.0.9", heard=(), **headers):
    """What the gate answers: status or close code, headers, body."""
    host = headers.pop("host", base.split("//")[1])
    listed = [("host", host), *headers.items()]
    raw = [(name.replace("_", "-").encode(), value.encode()) for name, value in listed if value is not None]
    path, _, query = path.partition("?")
    scope = {"type": kind, "path": path, "query_string": query.encode(), "headers": raw, "client": (client, 5)}
    scope |= {"server": (base.split("//")[1].split(":")[0], 8640), "scheme": "http"}
    scope |= {"method": method} if kind == "http" else {}
    said, waiting = [], [{"type": "websocket.connect"}, *heard] if kind == "websocket" else [{"type": "http.request"}]

    async def receive():
        message = waiting.pop(0) if waiting else {"type": "websocket.disconnect"}
        return message() if callable(message) else message

    async def send(message):
        said.append(message)

    asyncio.run(gate(scope, receive, send))
    return said


def status(said):
    return said[0].get("status", said[0].get("code"))


def answer_headers(said):
    return {name.decode(): value.decode() for name, value in said[0]["headers"]}


def pair(gate, pairing):
    token = pairing.fresh_link().rsplit("/", 1)[1]
    said = visit(gate, f"/pair/{token}", method="POST", origin=PHONE)
    assert status(said) == 303
    return re.fullmatch(rf"{COOKIE}=([\w-]+); .*", answer_headers(said)["set-cookie"])[1]


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize("method", ["GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS", "PATCH", "TRACE"])
def test_without_cookie_nothing_of_the_app_answers(gate, app, path, method):
    said = visit(gate, path, method=method, origin=PHONE)
    assert status(said) == 403
    assert b"the book" not in said[1].get("body", b"")
    assert app.reached == []


@pytest.mark.parametrize("path", [*PATHS, "/_stcore/stream", "/pair/x"])
@pytest.mark.parametrize("cookie", [None, f"{COOKIE}=guess", f"{COOKIE}=", "other=1"])
def test_without_cookie_no_stream_opens(gate, app, path, cookie):
    assert visit(gate, path, kind="websocket", origin=PHONE, cookie=cookie) == [
        {"type": "websocket.close", "code": 1008}
    ]
    assert app.reached == []


def test_the_open_link_opens_no_stream_and_no_page(gate, app, pairing):
    path = "/pair/" + pairing.fresh_link().rsplit("/", 1)[1]
    assert visit(gate, path, kind="websocket", origin=PHONE)[0]["type"] == "websocket.close"
    assert status(visit(gate, path)) == 200
    assert app.reached == []


def test_a_paired_phone_is_served_everything(gate, app, pairing):
    cookie = f"{COOKIE}={pair(gate, pairing)}"
    for path in PATHS:
        assert status(visit(gate, path, cookie=f"other=1; {cookie}")) == 200
    assert status(visit(gate, "/_stcore/upload_file/a/b", method="PUT", origin=PHONE, cookie=cookie)) == 200
    stream = visit(gate, "/_stcore/stream", kind="websocket", origin=PHONE, cookie=cookie)
    assert [message["type"] for message in stream] == ["websocket.accept", "websocket.send"]
    assert {dict(scope["headers"])[DOOR_HEADER.encode()] for scope in app.reached} == {b"phone"}


def test_the_cookie_is_kept_from_scripts_and_other_sites(gate, pairing):
    token = pairing.fresh_link().rsplit("/", 1)[1]
    answer = answer_headers(visit(gate, f"/pair/{token}", method="POST", origin=PHONE))
    assert {"HttpOnly", "SameSite=strict", "Path=/", f"Max-Age={PHONE_STAYS_S}"} <= set(
        answer["set-cookie"].split("; ")
    )
    assert "Domain" not in answer["set-cookie"]
    assert answer["cache-control"] == "no-store"
    assert token not in answer["location"]


def test_looking_at_a_link_does_not_use_it_up_and_using_it_does(gate, pairing):
    path = "/pair/" + pairing.fresh_link().rsplit("/", 1)[1]
    assert [status(visit(gate, path)) for _ in range(3)] == [200] * 3
    assert status(visit(gate, path, method="POST", origin=PHONE)) == 303
    assert status(visit(gate, path, method="POST", origin=PHONE)) == 403
    assert status(visit(gate, path)) == 403
    assert len(pairing.phones()) == 1


def test_a_link_is_over_in_time_and_with_the_next(gate, pairing, clock):
    first = "/pair/" + pairing.fresh_link().rsplit("/", 1)[1]
    second = "/pair/" + pairing.fresh_link().rsplit("/", 1)[1]
    assert first != second
    assert status(visit(gate, first, method="POST", origin=PHONE)) == 403
    clock.now += LINK_LASTS_S + 1
    assert status(visit(gate, second, method="POST", origin=PHONE)) == 403
    assert pairing.phones() == []


def test_a_link_from_elsewhere_pairs_nobody(gate, pairing):
    path = "/pair/" + pairing.fresh_link().rsplit("/", 1)[1]
    for origin in (None, "null", "http://evil.example", "http://127.0.0.2:8641", DESK):
        assert status(visit(gate, path, method="POST", origin=origin)) == 421
    assert status(visit(gate, path, base=DESK)) == 200  # the desk knows no pairing: the app's own page
    assert pairing.phones() == []


def test_guessing_is_cut_short_even_with_the_right_link(gate, pairing, clock):
    right = "/pair/" + pairing.fresh_link().rsplit("/", 1)[1]
    assert [status(visit(gate, f"/pair/{guess}")) for guess in range(7)] == [403] * 5 + [429] * 2
    said = visit(gate, right, method="POST", origin=PHONE)
    assert status(said) == 429
    assert answer_headers(said)["retry-after"] == "60"
    # somebody else is not held up, and in a minute nobody is
    assert status(visit(gate, right, client="127.0.0.10")) == 200
    clock.now += 61
    assert status(visit(gate, right, method="POST", origin=PHONE)) == 303


def test_guessing_from_many_addresses_is_cut_short_too(gate):
    seen = [status(visit(gate, "/pair/guess", client=f"127.0.1.{one}")) for one in range(35)]
    assert seen == [403] * 30 + [429] * 5


def test_cookies_are_not_guessed_either_and_a_paired_phone_beside_the_guesser_goes_on(gate, pairing):
    cookie = f"{COOKIE}={pair(gate, pairing)}"
    seen = [status(visit(gate, "/", cookie=f"{COOKIE}=guess{one}")) for one in range(32)]
    assert seen == [403] * 30 + [429] * 2
    assert status(visit(gate, "/", cookie=cookie)) == 200


def test_an_old_cookie_is_taken_away(gate):
    assert "Max-Age=0" in answer_headers(visit(gate, "/", cookie=f"{COOKIE}=of-yesterday"))["set-cookie"]
    assert "set-cookie" not in answer_headers(visit(gate, "/"))


def test_a_paired_phone_goes_when_its_day_is_over(gate, pairing, clock):
    cookie = f"{COOKIE}={pair(gate, pairing)}"
    clock.now += PHONE_STAYS_S - 1
    assert status(visit(gate, "/", cookie=cookie)) == 200
    clock.now += 2
    assert status(visit(gate, "/", cookie=cookie)) == 403
    assert pairing.phones() == []


def test_letting_go_of_a_phone_ends_its_open_stream_and_no_other(gate, pairing):
    gone, stays = pair(gate, pairing), pair(gate, pairing)
    name = pairing.phones()[0].name
    word = {"type": "websocket.receive", "text": "more"}

    def let_go():
        pairing.let_go(name)
        return word

    streams = {"kind": "websocket", "path": "/_stcore/stream", "origin": PHONE}
    said = visit(gate, cookie=f"{COOKIE}={gone}", heard=[word, let_go, word], **streams)
    kinds = [message["type"] for message in said]
    assert kinds == ["websocket.accept", "websocket.send", "websocket.send", "websocket.close"]
    assert status(visit(gate, "/", cookie=f"{COOKIE}={gone}")) == 403
    assert status(visit(gate, "/", cookie=f"{COOKIE}={stays}")) == 200
    link = pairing.fresh_link()
    pairing.let_go()
    assert status(visit(gate, "/", cookie=f"{COOKIE}={stays}")) == 403
    assert not pairing.is_open(link.rsplit("/", 1)[1])


@pytest.mark.parametrize("base", [DESK, PHONE])
@pytest.mark.parametrize("host", [None, "", "evil.example:8640", "127.0.0.2", "127.0.0.1:1", "localhost.evil.example"])
def test_another_name_is_answered_by_nobody(gate, app, pairing, base, host):
    cookie = f"{COOKIE}={pair(gate, pairing)}"
    for more in ({}, {"kind": "websocket"}, {"method": "PUT"}, {"path": "/pair/x"}):
        said = visit(gate, base=base, cookie=cookie, host=host, origin=f"http://{host}", **more)
        assert said[0].get("status") == 421 or said == [{"type": "websocket.close", "code": 1008}]
    assert app.reached == []


def test_the_phones_name_is_not_the_desks(gate):
    assert status(visit(gate, base=DESK, host="127.0.0.2:8640")) == 421
    assert status(visit(gate, base=PHONE, host="127.0.0.1:8640")) == 421
    assert status(visit(gate, base="http://127.0.0.3:8640", host="127.0.0.1:8640")) == 421


def test_two_host_headers_are_one_too_many(gate, app):
    scope = {"type": "http", "method": "GET", "path": "/", "query_string": b"", "client": ("127.0.0.1", 5)}
    scope |= {"server": ("127.0.0.1", 8640), "scheme": "http", "headers": [(b"host", b"127.0.0.1:8640")] * 2}
    said = []

    async def send(message):
        said.append(message)

    asyncio.run(gate(scope, None, send))
    assert status(said) == 421
    assert app.reached == []


@pytest.mark.parametrize("origin", [None, "null", "http://evil.example", PHONE, "https://127.0.0.1:8640"])
def test_a_page_elsewhere_opens_no_stream_and_sends_nothing_at_the_desk(gate, app, origin):
    assert visit(gate, "/_stcore/stream", base=DESK, kind="websocket", origin=origin)[0]["code"] == 1008
    assert status(visit(gate, "/_stcore/upload_file/a/b", base=DESK, method="PUT", origin=origin)) == 421
    assert app.reached == []


def test_the_desk_needs_no_pairing_and_nobody_can_say_he_is_the_desk(gate, app, pairing):
    assert status(visit(gate, base=DESK)) == 200
    assert status(visit(gate, base="http://127.0.0.1:8640", host="localhost:8640")) == 200
    visit(gate, cookie=f"{COOKIE}={pair(gate, pairing)}", X_Dyebook_Door="desk")
    doors = [value for name, value in app.reached[-1]["headers"] if name.lower() == DOOR_HEADER.encode()]
    assert doors == [b"phone"]


def test_every_answer_forbids_framing_and_guessing_of_types(gate, pairing):
    for said in (visit(gate, base=DESK), visit(gate), visit(gate, "/pair/x")):
        answer = answer_headers(said)
        assert "frame-ancestors" in answer["content-security-policy"]
        assert answer["x-content-type-options"] == "nosniff"
        # with "no-referrer" a browser would hide where the pairing form comes from
        assert answer["referrer-policy"] == "same-origin"


def test_pages_load_nothing_from_elsewhere(gate):
    policy = answer_headers(visit(gate, base=DESK))["content-security-policy"]
    kinds = dict(part.strip().split(" ", 1) for part in policy.split(";"))
    sources = {source for listed in kinds.values() for source in listed.split()}
    words = {"'self'", "'none'", "'unsafe-inline'", "'unsafe-eval'", "data:", "blob:"}
    assert sources - words == {"ws://127.0.0.1:8640", "ws://localhost:8640"}
    assert kinds["default-src"] == "'self' data: blob:"
    assert kinds["object-src"] == "'none'"


def test_a_token_holds_more_than_128_random_bits():
    pairing = Pairing(PHONE)
    tokens = {pairing.fresh_link().rsplit("/", 1)[1] for _ in range(200)}
    assert len(tokens) == 200
    # base64 carries 6 bits a letter
    assert min(map(len, tokens)) * 6 >= 256
    assert len(set("".join(tokens))) == 64


def test_secrets_are_not_kept_as_they_are(gate, pairing):
    secret = pair(gate, pairing)
    token = pairing.fresh_link().rsplit("/", 1)[1]
    kept = repr(vars(pairing))
    assert secret not in kept
    assert token not in kept


def test_odd_letters_are_only_wrong():
    pairing = Pairing(PHONE)
    pairing.fresh_link()
    for odd in ("\udcff", "ä" * 10_000, "\x00", ""):
        assert pairing.pair(odd) is None
        assert not pairing.knows(odd)


def test_only_so_many_phones_are_paired(pairing):
    for _ in range(25):
        pairing.pair(pairing.fresh_link().rsplit("/", 1)[1])
    assert len(pairing.phones()) == 20


def test_a_flood_of_addresses_does_not_fill_the_memory(clock):
    limit = RateLimit(5, 30, 60, clock)
    for one in range(3000):
        limit.count(f"10.0.{one // 256}.{one % 256}")
    assert len(limit._clients) == 1000


def test_a_household_of_ipv6_is_one_guesser(clock):
    limit = RateLimit(2, 30, 60, clock)
    for one in range(2):
        limit.count(f"fd12::{one}")
    assert not limit.allows("fd12::77")
    assert limit.allows("fd12:0:0:1::77")


SHARED = "https://book.shop.example"


@pytest.fixture
def shared(app):
    return Gate(app, [Door("shared", "127.0.0.2", (SHARED,))])


def test_the_shared_door_keeps_uploads_and_the_servers_figures_to_itself(shared, app):
    answer = {"base": PHONE, "host": "book.shop.example", "origin": SHARED}
    for path in ("/_stcore/upload_file/a/b", "/_stcore/metrics"):
        for method in ("GET", "PUT", "DELETE", "OPTIONS"):
            assert status(visit(shared, path, method=method, **answer)) == 403
    assert app.reached == []
    assert status(visit(shared, "/", **answer)) == 200
    assert visit(shared, "/_stcore/stream", kind="websocket", **answer)[0]["type"] == "websocket.accept"
    assert {dict(scope["headers"])[DOOR_HEADER.encode()] for scope in app.reached} == {b"shared"}


def test_pictures_of_a_shared_book_need_the_cookie_of_somebody_signed_in(shared, app):
    answer = {"base": PHONE, "host": "book.shop.example", "origin": SHARED}
    admit("session", "signed")
    for cookie in (None, "_streamlit_user=made-up", "_streamlit_user=", "other=signed"):
        assert status(visit(shared, "/media/0f.jpg", cookie=cookie, **answer)) == 403
    assert app.reached == []
    assert status(visit(shared, "/media/0f.jpg", cookie="_streamlit_user=signed", **answer)) == 200
    send_away("session")
    assert status(visit(shared, "/media/0f.jpg", cookie="_streamlit_user=signed", **answer)) == 403


def test_all_that_a_session_sends_is_bounded_together(app):
    gate = Gate(app, [Door("desk", "127.0.0.1", (DESK,))])

    def send(session, file, mb, method="PUT"):
        path = f"/_stcore/upload_file/{session}/{file}"
        size = None if mb is None else str(int(mb * 2**20))
        return status(visit(gate, path, DESK, method, origin=DESK, content_length=size))

    assert [send("one", file, 79) for file in "abc"] == [200, 200, 413]
    assert send("one", "c", 0.5) == 200
    assert send("two", "a", 79) == 200, "another session has its own"
    assert send("one", "b", 79) == 200, "the same file once more takes no more room"
    assert take_refused("one") == 1
    assert take_refused("one") == 0
    let_go("one", "a")  # a page has taken it
    assert send("one", "d", 79) == 200
    assert send("one", "b", 0, method="DELETE") == 200
    assert send("one", "e", 79) == 200
    assert send("three", "a", None) == 200, "a size that is not said counts as all there is room for"
    assert send("three", "b", 1) == 413


def test_the_shared_door_asks_for_its_name(shared, app):
    assert status(visit(shared, "/", base=PHONE)) == 421
    other = {"base": PHONE, "host": "book.shop.example", "origin": "https://evil.example"}
    assert visit(shared, "/_stcore/stream", kind="websocket", **other)[0]["code"] == 1008
    assert app.reached == []


def test_cookies_of_the_shared_door_keep_to_tls():
    async def app(scope, receive, send):
        cookies = [(b"set-cookie", b"a=1; Path=/"), (b"Set-Cookie", b"b=2; Secure")]
        await send({"type": "http.response.start", "status": 200, "headers": cookies})

    said = visit(Gate(app, [Door("shared", "127.0.0.2", (SHARED,))]), host="book.shop.example")
    cookies = [value for name, value in said[0]["headers"] if name.lower() == b"set-cookie"]
    assert cookies == [b"a=1; Path=/; Secure", b"b=2; Secure"]

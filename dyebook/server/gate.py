"""The gate before the app: who may come in by which door, decided before a single byte of the app is served.

The desk's door is this machine's own address and needs nothing but a browser that asks for it by name. Behind the
phone's door nothing answers, neither page, file, upload nor stream, without the cookie that pairing gave; wrong guesses
are limited by rate. Behind the shared door the pages ask for sign-in themselves; uploads and pictures need it done.
"""

import threading
import time
from collections import OrderedDict, deque
from dataclasses import dataclass
from ipaddress import ip_address

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import HTTPConnection
from starlette.responses import HTMLResponse, RedirectResponse

from dyebook.server.pairing import (
    DOOR_HEADER,
    MOST_SENT_MB,
    PHONE_STAYS_S,
    SIGN_IN_COOKIE,
    is_admitted,
    is_signed_in,
    let_go,
    may_send,
)

__all__ = ["COOKIE", "Door", "Gate", "RateLimit", "may_upload"]

COOKIE = "dyebook_phone"
_PAIR = "/pair/"
_UPLOAD = "/_stcore/upload_file/"
# pictures and files that pages show or offer
_MEDIA = "/media"
# what only tells how busy the server is
_CLOSED = ("/_stcore/metrics", "/_stcore/script-health-check")
_SAFE = ("GET", "HEAD", "OPTIONS")
_SPAN_S = 60
# wrong links a minute of one client, and of all; 256 random bits need no help, this keeps the log and the machine quiet
_LINKS = 5, 30
# wrong cookies; a phone that was paired yesterday asks for a dozen files at once with its old one
_COOKIES = 30, 300
_MOST_CLIENTS = 1000
_ON_EVERY_ANSWER = {"referrer-policy": "same-origin", "x-content-type-options": "nosniff"}
# the pages load nothing from elsewhere, whatever a note holds; Streamlit's own scripts need the rest
_POLICY = (
    "default-src 'self' data: blob:; script-src 'self' blob: 'unsafe-inline' 'unsafe-eval'; "
    "style-src 'self' 'unsafe-inline'; connect-src 'self' data: blob: {streams}; object-src 'none'; base-uri 'self'; "
    "form-action 'self'; frame-ancestors 'self'"
)


@dataclass(frozen=True)
class Door:
    """One listening IP address, and what browsers call it.

    `kind` is ``"desk"``, ``"phone"`` or ``"shared"``. A visit must name one of `origins`, such as
    ``http://bench.local:8640``, else it comes from a page elsewhere, or by a name that was turned to this address.
    """

    kind: str
    address: str
    origins: tuple

    @property
    def hosts(self):
        """What the Host header may say."""
        return tuple(origin.split("://", 1)[1] for origin in self.origins)

    @property
    def policy(self):
        """The Content-Security-Policy of the pages behind it."""
        return _POLICY.format(streams=" ".join(origin.replace("http", "ws", 1) for origin in self.origins))


class Gate:
    """ASGI application around another one; a door of kind ``"phone"`` needs a `pairing`.

    `clock`, for the rate limits, gives seconds, never going back.
    """

    def __init__(self, app, doors, pairing=None, clock=time.monotonic):
        self._app, self._pairing = app, pairing
        self._doors = {door.address: door for door in doors}
        self._links = RateLimit(*_LINKS, _SPAN_S, clock)
        self._cookies = RateLimit(*_COOKIES, _SPAN_S, clock)

    async def __call__(self, scope, receive, send):
        """Serve one visit."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        visit = HTTPConnection(scope)
        door = self._doors.get((scope.get("server") or ("",))[0])
        if door is None or not _names(visit, door):
            await _refuse(scope, receive, send, 421, _WRONG_NAME)
        elif door.kind == "shared":
            await self._let_person_in(visit, door, receive, send)
        elif door.kind == "desk":
            await self._serve(scope, door, receive, send)
        elif scope["type"] == "http" and scope["path"].startswith(_PAIR):
            await self._pair(visit, receive, send)
        else:
            await self._let_phone_in(visit, door, receive, send)

    async def _serve(self, scope, door, receive, send):
        if scope["path"].startswith(_UPLOAD) and not _is_room(scope):
            await _refuse(scope, receive, send, 413, _TOO_MUCH)
            return
        await self._app(_marked(scope, door), receive, _guarded(send, door))

    async def _let_person_in(self, visit, door, receive, send):
        """Sign-in itself is Streamlit's; the pages ask for it, uploads, pictures and figures of the server cannot."""
        path = visit.scope["path"]
        is_strange = path.startswith(_MEDIA) and not is_signed_in(visit.cookies.get(SIGN_IN_COOKIE))
        if is_strange or path.startswith(_CLOSED) or not may_upload(path):
            await _refuse(visit.scope, receive, send, 403, _SIGN_IN)
            return
        await self._serve(visit.scope, door, receive, send)

    async def _let_phone_in(self, visit, door, receive, send):
        secret, client = visit.cookies.get(COOKIE), _client(visit)
        if self._pairing.knows(secret):
            if visit.scope["type"] == "websocket":
                receive, send = self._watched(secret, receive, send)
            await self._serve(visit.scope, door, receive, send)
        elif not self._cookies.allows(client):
            await _refuse(visit.scope, receive, send, 429, _TOO_OFTEN)
        else:
            if secret:
                self._cookies.count(client)
            await _refuse(visit.scope, receive, send, 403, _NOT_PAIRED, forget=bool(secret))

    async def _pair(self, visit, receive, send):
        token, client = visit.scope["path"].removeprefix(_PAIR), _client(visit)
        if not self._links.allows(client):
            await _refuse(visit.scope, receive, send, 429, _TOO_OFTEN)
        elif visit.scope["method"] == "POST" and (secret := self._pairing.pair(token, _browser(visit))):
            await _welcome(secret)(visit.scope, receive, send)
        elif visit.scope["method"] == "GET" and self._pairing.is_open(token):
            # looking does not use the link up: phones and messengers fetch links to show what they are
            await _page(200, _PAIR_PAGE)(visit.scope, receive, send)
        else:
            self._links.count(client)
            await _refuse(visit.scope, receive, send, 403, _LINK_IS_OVER)

    def _watched(self, secret, receive, send):
        """The two ends of a stream that is closed as soon as its phone is let go."""
        closed = []

        async def close():
            if not closed:
                closed.append(True)
                await send({"type": "websocket.close", "code": 1008})

        async def receive_while_paired():
            message = await receive()
            if self._pairing.knows(secret):
                return message
            await close()
            return {"type": "websocket.disconnect", "code": 1008}

        async def send_while_paired(message):
            if self._pairing.knows(secret) and not closed:
                await send(message)
            else:
                await close()

        return receive_while_paired, send_while_paired


def _names(visit, door):
    """Whether a visit asks for this door by its name and, where it could change something, comes from its pages."""
    hosts, origins = visit.headers.getlist("host"), visit.headers.getlist("origin")
    if len(hosts) != 1 or hosts[0].lower() not in door.hosts:
        return False
    if visit.scope["type"] == "http" and visit.scope["method"] in _SAFE:
        return True
    return len(origins) == 1 and origins[0].lower() in door.origins


def may_upload(path: str) -> bool:
    """Whether a path is no upload, or one of a session that signed in."""
    if "upload_file" not in path:
        return True
    return path.startswith(_UPLOAD) and is_admitted(path.removeprefix(_UPLOAD).split("/", 1)[0])


def _is_room(scope):
    """Whether a session may send one more file beside those that no page has taken yet."""
    session, _, file = scope["path"].removeprefix(_UPLOAD).partition("/")
    if scope["method"] == "DELETE":
        let_go(session, file)
    if scope["method"] != "PUT":
        return True
    size = Headers(scope=scope).get("content-length", "")
    return may_send(session, file, int(size) / 2**20 if size.isdecimal() else MOST_SENT_MB)


def _client(visit):
    return visit.client.host if visit.client else ""


def _browser(visit):
    return "".join(one for one in visit.headers.get("user-agent", "") if one.isprintable())


def _marked(scope, door):
    """A visit that says which door it came by, whatever the visitor wrote there."""
    kept = [(name, value) for name, value in scope["headers"] if name.lower() != DOOR_HEADER.encode()]
    return {**scope, "headers": [*kept, (DOOR_HEADER.encode(), door.kind.encode())]}


def _guarded(send, door):
    """`send` with the headers that keep other sites out of the pages, and cookies off lines without TLS."""
    only_by_tls = door.origins[0].startswith("https:")

    async def send_guarded(message):
        if message["type"] == "http.response.start":
            headers = MutableHeaders(raw=list(message.get("headers", ())))
            headers.update({**_ON_EVERY_ANSWER, "content-security-policy": door.policy})
            raw = [_secure(*pair) for pair in headers.raw] if only_by_tls else headers.raw
            message = {**message, "headers": raw}
        await send(message)

    return send_guarded


def _secure(name, value):
    """A header as it is; a cookie that is only sent by TLS."""
    plain = name.lower() == b"set-cookie" and b"; secure" not in value.lower()
    return name, value + b"; Secure" if plain else value


async def _refuse(scope, receive, send, status, body, forget=False):
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008})
        return
    page = _page(status, body)
    if status == 429:
        page.headers["retry-after"] = str(_SPAN_S)
    if forget:
        page.delete_cookie(COOKIE, httponly=True, samesite="strict")
    await page(scope, receive, send)


def _page(status, body):
    guard = {
        **_ON_EVERY_ANSWER,
        "cache-control": "no-store",
        "content-security-policy": "default-src 'none'; style-src 'unsafe-inline'; form-action 'self'; "
        "frame-ancestors 'none'; base-uri 'none'",
    }
    return HTMLResponse(_FRAME.format(body=body), status, guard)


def _welcome(secret):
    answer = RedirectResponse("/", 303, {**_ON_EVERY_ANSWER, "cache-control": "no-store"})
    answer.set_cookie(COOKIE, secret, max_age=PHONE_STAYS_S, httponly=True, samesite="strict")
    return answer


class RateLimit:
    """A rate limit of wrong guesses: so many from one client, and from all together, within a span of time.

    After `each` or `together` of them within `span_s` no more are taken; `clock` gives seconds, never going back.
    """

    def __init__(self, each: int, together: int, span_s: float, clock=time.monotonic):
        self._each, self._together, self._span_s, self._clock = each, together, span_s, clock
        self._clients = OrderedDict()
        self._all = deque(maxlen=together)
        self._lock = threading.Lock()

    def allows(self, client):
        """Whether a client may guess once more."""
        with self._lock:
            mine = self._clients.get(_network_of(client), ())
            return self._recent(mine) < self._each and self._recent(self._all) < self._together

    def count(self, client):
        """Count a wrong guess."""
        with self._lock:
            key = _network_of(client)
            mine = self._clients.setdefault(key, deque(maxlen=self._each))
            self._clients.move_to_end(key)
            mine.append(self._clock())
            self._all.append(self._clock())
            # guesses from ever new addresses must not fill the memory; the common limit holds them
            while len(self._clients) > _MOST_CLIENTS:
                self._clients.popitem(last=False)

    def _recent(self, moments):
        return sum(self._clock() - moment < self._span_s for moment in moments)


def _network_of(client):
    """The key of a client: its address, of IPv6 the half that one household has for itself."""
    try:
        address = ip_address(client)
    except ValueError:
        return client
    return int(address) >> 64 if address.version == 6 else str(address)


# the few words that are said before anyone is let in; nothing of the book is among them
_FRAME = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>dyebook</title>
<meta name="viewport" content="width=device-width, initial-scale=1"><meta name="robots" content="noindex">
<style>
:root {{ color-scheme: light dark }}
body {{ font: 1.1rem/1.5 system-ui, sans-serif; max-width: 30rem; margin: 3rem auto; padding: 0 1rem }}
button {{ font: inherit; padding: 1rem 2rem; width: 100% }}
</style></head>
<body><main>{body}</main></body></html>
"""
# the empty action posts to the link itself, so that it is written nowhere else
_PAIR_PAGE = """<h1>Pair this phone?</h1>
<p>It can then see and change the book at this bench until it is let go at the desk, or for 16 hours.</p>
<form method="post" action=""><button>Pair this phone</button></form>"""
_NOT_PAIRED = """<h1>This phone is not paired</h1>
<p>At the desk, press <b>Phone</b> and point this phone's camera at the code.</p>
<p>Paired already? <a href="">Open the page once more</a>.</p>"""
_LINK_IS_OVER = """<h1>This link does not pair</h1>
<p>A link works once and for ten minutes. At the desk, press <b>Phone</b> for a fresh one.</p>"""
_TOO_OFTEN = """<h1>Too many tries</h1><p>Wait a minute, then take a fresh code at the desk.</p>"""
_WRONG_NAME = """<h1>Nothing here by that name</h1><p>Open the address that the app named when it started.</p>"""
_TOO_MUCH = f"<h1>At most {MOST_SENT_MB} MB at a time</h1>"
_SIGN_IN = """<h1>Sign in first</h1><p><a href="/">To the app</a></p>"""

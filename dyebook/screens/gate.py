"""The gate before the app: who may come in by which door, decided before a single byte of the app is served.

The desk's door is this machine's own address and needs nothing but a browser that asks for it by name. Behind the
phone's door nothing answers, neither page, file, upload nor stream, without the cookie that pairing gave.
"""

from dataclasses import dataclass

from starlette.datastructures import MutableHeaders
from starlette.requests import HTTPConnection
from starlette.responses import HTMLResponse, RedirectResponse

from dyebook.screens import gate_words as words
from dyebook.screens.admission import may_upload
from dyebook.screens.limit import Limit
from dyebook.screens.pairing import PHONE_STAYS_S

__all__ = ["COOKIE", "DOOR_HEADER", "Door", "Gate"]

COOKIE = "dyebook_phone"
# tells the screens which door a visit came by; what a visitor writes there himself is dropped
DOOR_HEADER = "x-dyebook-door"
_PAIR = "/pair/"
# what only tells how busy the server is
_CLOSED = ("/_stcore/metrics", "/_stcore/script-health-check")
_SAFE = ("GET", "HEAD", "OPTIONS")
_SPAN_S = 60
# wrong links a minute; 256 random bits need no help against guessing, this keeps the log and the machine quiet
_LINKS_EACH, _LINKS_TOGETHER = 5, 30
# a phone that was paired yesterday asks for a dozen files at once with its old cookie
_COOKIES_EACH, _COOKIES_TOGETHER = 30, 300
_ON_EVERY_ANSWER = {
    "referrer-policy": "same-origin",
    "x-content-type-options": "nosniff",
}
# the pages load nothing from elsewhere, whatever somebody wrote into a note; Streamlit's own scripts need the rest
_POLICY = (
    "default-src 'self' data: blob:; script-src 'self' blob: 'unsafe-inline' 'unsafe-eval'; "
    "style-src 'self' 'unsafe-inline'; connect-src 'self' data: blob: {streams}; object-src 'none'; base-uri 'self'; "
    "form-action 'self'; frame-ancestors 'self'"
)


@dataclass(frozen=True)
class Door:
    """One listening address, and what browsers call it.

    Parameters
    ----------
    kind : str
        ``"desk"``, ``"phone"`` or ``"shared"``.
    address : str
        IP address it listens on.
    origins : tuple of str
        Such as ``http://bench.local:8640``; a visit must name one of them (else a page elsewhere, or a name that
        somebody turned to this address, speaks).
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
    """ASGI application around another one.

    Parameters
    ----------
    app : callable
        The ASGI application behind the gate.
    doors : iterable of Door
    pairing : dyebook.screens.pairing.Pairing, optional
        Needed for a door of kind ``"phone"``.
    clock : callable, optional
        For the limits; `time.monotonic` without it.
    """

    def __init__(self, app, doors, pairing=None, clock=None):
        self._app, self._pairing = app, pairing
        self._doors = {door.address: door for door in doors}
        timing = {} if clock is None else {"clock": clock}
        self._links = Limit(_LINKS_EACH, _LINKS_TOGETHER, _SPAN_S, **timing)
        self._cookies = Limit(_COOKIES_EACH, _COOKIES_TOGETHER, _SPAN_S, **timing)

    async def __call__(self, scope, receive, send):
        """Serve one visit."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        visit = HTTPConnection(scope)
        door = self._doors.get((scope.get("server") or ("",))[0])
        if door is None or not _names(visit, door):
            await _refuse(scope, receive, send, 421, words.WRONG_NAME)
        elif door.kind == "shared":
            await self._let_person_in(visit, door, receive, send)
        elif door.kind == "desk":
            await self._app(_marked(scope, door), receive, _guarded(send, door))
        elif scope["type"] == "http" and scope["path"].startswith(_PAIR):
            await self._pair(visit, receive, send)
        else:
            await self._let_phone_in(visit, door, receive, send)

    async def _let_person_in(self, visit, door, receive, send):
        """Sign-in itself is Streamlit's; the pages ask for it, uploads and figures of the server cannot."""
        path = visit.scope["path"]
        if path.startswith(_CLOSED) or not may_upload(path):
            await _refuse(visit.scope, receive, send, 403, words.SIGN_IN)
            return
        await self._app(_marked(visit.scope, door), receive, _guarded(send, door))

    async def _let_phone_in(self, visit, door, receive, send):
        secret, client = visit.cookies.get(COOKIE), _client(visit)
        if self._pairing.knows(secret):
            if visit.scope["type"] == "websocket":
                receive, send = self._watched(secret, receive, send)
            await self._app(_marked(visit.scope, door), receive, _guarded(send, door))
        elif not self._cookies.allows(client):
            await _refuse(visit.scope, receive, send, 429, words.TOO_OFTEN)
        else:
            if secret:
                self._cookies.count(client)
            await _refuse(visit.scope, receive, send, 403, words.NOT_PAIRED, forget=bool(secret))

    async def _pair(self, visit, receive, send):
        token, client = visit.scope["path"].removeprefix(_PAIR), _client(visit)
        if not self._links.allows(client):
            await _refuse(visit.scope, receive, send, 429, words.TOO_OFTEN)
        elif visit.scope["method"] == "POST" and (secret := self._pairing.pair(token, _browser(visit))):
            await _welcome(secret)(visit.scope, receive, send)
        elif visit.scope["method"] == "GET" and self._pairing.is_open(token):
            # looking does not use the link up: phones and messengers fetch links to show what they are
            await _page(200, words.PAIR)(visit.scope, receive, send)
        else:
            self._links.count(client)
            await _refuse(visit.scope, receive, send, 403, words.LINK_IS_OVER)

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


def _client(visit):
    return visit.client.host if visit.client else ""


def _browser(visit):
    return "".join(one for one in visit.headers.get("user-agent", "") if one.isprintable())


def _marked(scope, door):
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
    return HTMLResponse(words.FRAME.format(body=body), status, guard)


def _welcome(secret):
    answer = RedirectResponse("/", 303, {**_ON_EVERY_ANSWER, "cache-control": "no-store"})
    answer.set_cookie(COOKIE, secret, max_age=PHONE_STAYS_S, httponly=True, samesite="strict")
    return answer

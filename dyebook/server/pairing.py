"""Pairing a phone with the app: a link that works once and not for long, and the phones that used one.

Everything is kept in memory, secrets only as their SHA-256: stopping the app lets all phones go. Below it, what gate
and pages share within this process: the door of a visit, who signed in, and what a session sent that no page took.
"""

import secrets
import threading
import time
from collections import OrderedDict
from dataclasses import dataclass
from hashlib import sha256

__all__ = [
    "DOOR_HEADER", "LINK_LASTS_S", "MOST_SENT_MB", "PHONE_STAYS_S", "SIGN_IN_COOKIE", "Pairing", "Phone", "admit",
    "is_admitted", "is_signed_in", "let_go", "may_send", "send_away", "share_pairing", "take_refused", "the_pairing",
]  # fmt: skip

LINK_LASTS_S = 600
# a long day at the bench
PHONE_STAYS_S = 16 * 3600
_TOKEN_BYTES = 32
_MOST_PHONES = 20


@dataclass(frozen=True)
class Phone:
    """A paired phone: a short name, what its browser called itself, and since when (s of the pairing's clock)."""

    name: str
    browser: str
    since: float


class Pairing:
    """Links that pair and phones that are paired; safe to use from several threads.

    `base` is the address that phones open, such as ``http://192.168.1.20:8640``; `clock` gives seconds, never going
    back.
    """

    def __init__(self, base: str, clock=time.monotonic):
        self.base = base
        self._clock = clock
        self._lock = threading.Lock()
        self._link, self._link_ends = None, 0.0
        self._phones = {}

    def fresh_link(self):
        """Return a new link (256 random bits); the one before it works no longer."""
        token = secrets.token_urlsafe(_TOKEN_BYTES)
        with self._lock:
            self._link, self._link_ends = _hash(token), self._clock() + LINK_LASTS_S
        return f"{self.base}/pair/{token}"

    def is_open(self, token):
        """Whether a token would pair a phone now; looking does not use it up."""
        with self._lock:
            return self._fits(token)

    def pair(self, token, browser=""):
        """Use a token up and return the secret of the phone's cookie; None if it does not pair (any more)."""
        secret = secrets.token_urlsafe(_TOKEN_BYTES)
        with self._lock:
            if not self._fits(token):
                return None
            self._link = None
            self._forget_old()
            while len(self._phones) >= _MOST_PHONES:
                self._phones.pop(next(iter(self._phones)))
            digest = _hash(secret)
            self._phones[digest] = Phone(digest.hex()[:4], browser[:120], self._clock())
        return secret

    def _fits(self, token):
        alive = self._link is not None and self._clock() < self._link_ends
        return alive and secrets.compare_digest(_hash(token), self._link)

    def knows(self, secret):
        """Whether a cookie's secret belongs to a phone that is paired now."""
        with self._lock:
            phone = self._phones.get(_hash(secret)) if secret else None
            return phone is not None and self._clock() - phone.since < PHONE_STAYS_S

    def phones(self):
        """Return the paired phones, the oldest first."""
        with self._lock:
            self._forget_old()
            return list(self._phones.values())

    def let_go(self, name=None):
        """Forget the phone of that name, or all of them and the open link; their pages stop at once."""
        with self._lock:
            if name is None:
                self._link = None
            self._phones = {key: one for key, one in self._phones.items() if name is not None and one.name != name}

    def _forget_old(self):
        now = self._clock()
        self._phones = {key: one for key, one in self._phones.items() if now - one.since < PHONE_STAYS_S}


def _hash(text):
    return sha256(text.encode("utf-8", "surrogateescape")).digest()


# written by the gate: which door a visit came by; what a visitor writes there is dropped
DOOR_HEADER = "x-dyebook-door"
# signed by the app when a person signs in; long ones go on in others
SIGN_IN_COOKIE = "_streamlit_user"

_MOST_SESSIONS = 5000
# the web server holds what a session sends until a page takes it: two of the largest files, or a roll of usual ones
MOST_SENT_MB = 160
_admitted = OrderedDict()
_sent = OrderedDict()  # session: MB by file; under None how many were refused
_pairing = []


def share_pairing(pairing):
    """Let the pages find the pairing; None ends it."""
    _pairing[:] = [] if pairing is None else [pairing]


def the_pairing():
    """Return the pairing of this process; None where no phone can come in."""
    return _pairing[0] if _pairing else None


def admit(session: str, cookie: str | None = None):
    """Let a session, whose person has signed in, send files, and a browser with its cookie fetch pictures."""
    _admitted[session] = cookie
    _admitted.move_to_end(session)
    while len(_admitted) > _MOST_SESSIONS:
        _admitted.popitem(last=False)


def send_away(session: str):
    """Let a session send files no longer."""
    _admitted.pop(session, None)


def is_admitted(session: str) -> bool:
    """Whether a session may send files."""
    return session in _admitted


def is_signed_in(cookie: str | None) -> bool:
    """Whether a cookie is that of a session whose person has signed in."""
    return bool(cookie) and cookie in _admitted.values()


def may_send(session: str, file: str, size_mb: float) -> bool:
    """Count a file that a session sends; False, counted too, where all that it holds would be too much."""
    held = _sent.setdefault(session, {None: 0})
    _sent.move_to_end(session)
    while len(_sent) > _MOST_SESSIONS:
        _sent.popitem(last=False)
    if sum(held[one] for one in held if one not in (None, file)) + size_mb > MOST_SENT_MB:
        held[None] += 1
        return False
    held[file] = size_mb
    return True


def let_go(session: str, file: str):
    """Count a file no longer: a page has taken it, or the browser took it back."""
    _sent.get(session, {}).pop(file, None)


def take_refused(session: str) -> int:
    """Return how many files of a session were refused since this was last asked."""
    held = _sent.get(session, {})
    refused, held[None] = held.get(None, 0), 0
    return refused

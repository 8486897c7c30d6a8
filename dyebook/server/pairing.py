"""Pairing a phone with the app: a link that works once and not for long, and the phones that used one.

Everything is kept in memory, secrets only as their SHA-256: stopping the app lets all phones go.
"""

import secrets
import threading
import time
from dataclasses import dataclass
from hashlib import sha256

__all__ = ["LINK_LASTS_S", "PHONE_STAYS_S", "Pairing", "Phone"]

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

    Parameters
    ----------
    base : str
        Address that phones open, such as ``http://192.168.1.20:8640``.
    clock : callable
        Seconds, never going back.
    """

    def __init__(self, base, clock=time.monotonic):
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

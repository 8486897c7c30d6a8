"""How often a stranger may guess."""

import threading
import time
from collections import OrderedDict, deque
from ipaddress import ip_address

__all__ = ["Limit"]

_MOST_CLIENTS = 1000


class Limit:
    """At most so many wrong guesses a client, and from all clients together, within a span of time.

    Parameters
    ----------
    each, together : int
        Wrong guesses within `span_s` after which nothing more is listened to.
    span_s : float
    clock : callable
        Seconds, never going back.
    """

    def __init__(self, each, together, span_s, clock=time.monotonic):
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
            # whoever comes from ever new addresses must not fill the memory; the common limit holds them
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

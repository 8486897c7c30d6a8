"""What the gate and the pages share within this process.

The door of a visit, the pairing, the sessions signed in, and what each session has sent and not yet let go.
"""

from collections import OrderedDict

__all__ = [
    "DOOR_HEADER",
    "MOST_SENT_MB",
    "SIGN_IN_COOKIE",
    "admit",
    "is_admitted",
    "is_signed_in",
    "let_go",
    "may_send",
    "send_away",
    "share_pairing",
    "take_refused",
    "the_pairing",
]

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

"""What the gate and the pages share within this process: the door of a visit, the pairing, the sessions signed in."""

from collections import OrderedDict

__all__ = ["DOOR_HEADER", "admit", "is_admitted", "send_away", "share_pairing", "the_pairing"]

# written by the gate: which door a visit came by; what a visitor writes there is dropped
DOOR_HEADER = "x-dyebook-door"

_MOST_SESSIONS = 5000
_admitted = OrderedDict()
_pairing = []


def share_pairing(pairing):
    """Let the pages find the pairing; None ends it."""
    _pairing[:] = [] if pairing is None else [pairing]


def the_pairing():
    """Return the pairing of this process; None where no phone can come in."""
    return _pairing[0] if _pairing else None


def admit(session: str):
    """Let a session, whose person has signed in, send files."""
    _admitted[session] = True
    _admitted.move_to_end(session)
    while len(_admitted) > _MOST_SESSIONS:
        _admitted.popitem(last=False)


def send_away(session: str):
    """Let a session send files no longer."""
    _admitted.pop(session, None)


def is_admitted(session: str) -> bool:
    """Whether a session may send files."""
    return session in _admitted

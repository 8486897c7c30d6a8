"""Which browser sessions belong to people who signed in, so that nobody else can send files."""

from collections import OrderedDict

__all__ = ["admit", "may_upload", "send_away"]

_UPLOAD = "/_stcore/upload_file/"
_MOST = 5000
_admitted = OrderedDict()


def admit(session):
    """Let a session send files."""
    _admitted[session] = True
    _admitted.move_to_end(session)
    while len(_admitted) > _MOST:
        _admitted.popitem(last=False)


def send_away(session):
    """Let a session send files no longer."""
    _admitted.pop(session, None)


def may_upload(path):
    """Whether a path is no upload, or one of a session that was let in."""
    if "upload_file" not in path:
        return True
    return path.startswith(_UPLOAD) and path.removeprefix(_UPLOAD).split("/", 1)[0] in _admitted

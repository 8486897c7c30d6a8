"""Drafts: what was typed and not yet saved, kept so that a reload, another page or a restart of the app loses nothing.

A session finds its draft, a dict, by the page's address. It lives in memory, and after every run of a page on disk: one
folder a draft, plain JSON and beside it its files. Those of photos are never held in memory.
"""

import json
import os
import re
import secrets
import shutil
import time
from collections import OrderedDict
from datetime import date
from hashlib import sha256
from pathlib import Path

import streamlit as st

from dyebook.safe_file import replacing

__all__ = [
    "begin", "bytes_of", "draft", "drafts_folder", "forget", "hold_draft", "hold_file", "is_draft_name", "keep",
    "load_draft", "mark_of", "put_draft_down", "recall", "save_draft", "throw_old_away",
]  # fmt: skip

_NAME = re.compile(r"[A-Za-z0-9_-]{6,60}")
_FILE = "draft.json"
_DAYS = 30
_MOST = 40


def drafts_folder():
    """Return the folder of the drafts: ``DYEBOOK_DRAFTS_DIR``, else in the user's cache."""
    if given := os.environ.get("DYEBOOK_DRAFTS_DIR"):
        return Path(given)
    from platformdirs import user_cache_path

    return user_cache_path("dyebook", appauthor=False) / "drafts"


def is_draft_name(name):
    """Whether a text, from the page's address for instance, can name a draft; none that leaves the folder can."""
    return bool(_NAME.fullmatch(name or ""))


def load_draft(name):
    """Return a draft as it was saved; an empty one where there is none, or where it cannot be read."""
    folder = drafts_folder() / name
    try:
        held = json.loads((folder / _FILE).read_text(encoding="utf-8"))
        return {key: _unpacked(value, folder) for key, value in held.items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}


def save_draft(name: str, content: dict, last: str | None = None):
    """Save a draft and return a mark of what is saved now; nothing is written where `last` is that mark already.

    `content`: text, numbers, truth, dates, bytes, and tuples, lists and dicts of them; anything else is left out.
    """
    blobs, packed = {}, {}
    for key, value in content.items():
        try:
            packed[key] = _packed(value, blobs)
        except TypeError:
            continue
    text = json.dumps(packed, ensure_ascii=False)
    mark = sha256(text.encode()).hexdigest()
    if mark == last or _write(drafts_folder() / name, text, blobs):
        return mark
    return last


def _write(folder, text, blobs):
    """Write a draft, its bytes first; whether the disk took it."""
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        for digest, content in blobs.items():
            if not (folder / digest).exists():
                with replacing(folder / digest) as fresh:
                    fresh.write_bytes(content)
        with replacing(folder / _FILE) as fresh:
            fresh.write_text(text, encoding="utf-8")
        for left in folder.iterdir():
            if left.name not in (_FILE, *blobs):
                left.unlink(missing_ok=True)
    except OSError:
        # a full or read-only disk must not stop the work; the draft then lives as long as the app
        return False
    return True


def hold_file(content: bytes) -> Path | bytes:
    """Put a file beside this session's draft, while that names it; return its path, or on a full disk the bytes."""
    path = drafts_folder() / st.session_state[_DRAFT] / sha256(content).hexdigest()
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        if not path.exists():
            with replacing(path) as fresh:
                fresh.write_bytes(content)
    except OSError:
        return content
    return path


def bytes_of(held: Path | bytes) -> bytes:
    """Return the bytes of what `hold_file` returned."""
    return held.read_bytes() if isinstance(held, Path) else held


def mark_of(held: Path | bytes) -> str:
    """Return the SHA-256 of what `hold_file` returned."""
    return held.name if isinstance(held, Path) else sha256(held).hexdigest()


def throw_old_away(now=None):
    """Delete drafts that have not been touched for a month, and all but the newest forty."""
    folder, now = drafts_folder(), now or time.time()
    if not folder.is_dir():
        return
    dated = sorted(((one.stat().st_mtime, one) for one in folder.iterdir() if one.is_dir()), reverse=True)
    for place, (touched, one) in enumerate(dated):
        if place >= _MOST or now - touched > _DAYS * 86400:
            shutil.rmtree(one, ignore_errors=True)


def _packed(value, blobs):
    """A value as JSON takes it; what JSON lacks goes into a dict of one key. Bytes are put beside, by their hash."""
    if value is None or isinstance(value, str | bool | int | float):
        return value
    if isinstance(value, bytes | Path):
        digest = mark_of(value)
        blobs[digest] = value
        return {"bytes" if isinstance(value, bytes) else "file": digest}
    if isinstance(value, date):
        return {"date": value.isoformat()}
    if isinstance(value, tuple):
        return {"tuple": [_packed(one, blobs) for one in value]}
    if isinstance(value, list):
        return [_packed(one, blobs) for one in value]
    if isinstance(value, dict) and all(isinstance(key, str) for key in value):
        return {"dict": {key: _packed(one, blobs) for key, one in value.items()}}
    raise TypeError(f"a draft cannot hold {type(value).__name__}")


def _unpacked(value, folder):
    if isinstance(value, list):
        return [_unpacked(one, folder) for one in value]
    if not isinstance(value, dict):
        return value
    ((kind, inner),) = value.items()
    if kind in ("bytes", "file"):
        if not re.fullmatch(r"[0-9a-f]{64}", inner) or not (folder / inner).is_file():
            raise ValueError("not the hash of a file that is there")
        return (folder / inner).read_bytes() if kind == "bytes" else folder / inner
    if kind == "date":
        return date.fromisoformat(inner)
    if kind == "tuple":
        return tuple(_unpacked(one, folder) for one in inner)
    return {key: _unpacked(one, folder) for key, one in inner.items()}


_ADDRESS = "draft"
_DRAFT = "name of the draft"
# letters of an address and of its owner in the name of a draft
_ADDRESS_KEPT, _OWNER_KEPT = 25, 32
_KEPT = "names of kept widgets"
_SAVED = "mark of the saved draft"


@st.cache_resource(show_spinner=False)
def _all_drafts():
    throw_old_away()
    return OrderedDict()


def hold_draft(owner: str = ""):
    """Tie this session to its draft by the page's address, which outlives a reload.

    `owner` is what the browser alone knows or the person alone is: the same address opened by another finds nothing.
    """
    asked = st.session_state.get(_ADDRESS) or st.query_params.get(_ADDRESS)
    address = asked if is_draft_name(asked) else secrets.token_urlsafe(9)
    st.session_state[_ADDRESS] = st.query_params[_ADDRESS] = address
    name = f"{address[:_ADDRESS_KEPT]}-{sha256(owner.encode()).hexdigest()[:_OWNER_KEPT]}" if owner else address
    st.session_state[_DRAFT] = name
    drafts = _all_drafts()
    if name not in drafts:
        drafts[name] = load_draft(name)
    drafts.move_to_end(name)
    while len(drafts) > _MOST:
        drafts.popitem(last=False)
    # first thing in every run: a run may be cut short by the next tap before it reaches the widgets
    keep(*draft().get(_KEPT, ()))


def put_draft_down():
    """Write the draft to disk where it has changed; last thing in every run."""
    saved = st.session_state.get(_SAVED)
    st.session_state[_SAVED] = save_draft(st.session_state[_DRAFT], draft(), saved)


def draft():
    """Return this session's draft, a dict that stays."""
    return _all_drafts().setdefault(st.session_state.get(_DRAFT, ""), {})


def recall(*keys):
    """Give widgets their last contents back; call before they are drawn."""
    for key in keys:
        if key not in st.session_state and key in draft():
            st.session_state[key] = draft()[key]


def begin(key, default):
    """Give a widget its last contents back, or its first, and return its key."""
    recall(key)
    st.session_state.setdefault(key, default)
    return key


def keep(*keys):
    """Keep what the widgets hold, now and from now on; call after they are drawn."""
    draft().update({key: st.session_state[key] for key in keys if key in st.session_state})
    draft()[_KEPT] = tuple(dict.fromkeys([*draft().get(_KEPT, ()), *keys]))


def forget(*keys):
    """Empty widgets at the next run, once their contents are saved."""
    for key in keys:
        draft().pop(key, None)
        st.session_state.pop(key, None)

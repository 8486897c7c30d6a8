"""Photos as files named by their SHA-256: written and synced before the book speaks of them, never altered.

On a disk a photo arrives in ``incoming/``, the row is committed, and then the file moves to its final place; so
whatever moment the power fails, a photo that the book names is there, and a file in its final place has its row.
"""

import hashlib
import os
import re
import secrets
import time
from contextlib import contextmanager
from pathlib import Path

from dyebook.errors import BookError, PhotoError, UnsureError
from dyebook.safe_file import sync_folder

__all__ = ["DiskPhotos", "RemotePhotos", "looks_like_photo", "open_photos", "photo_bytes"]

_INCOMING = "incoming"
LARGEST_BYTES = 300 * 2**20
_ABANDONED_S = 24 * 3600


def open_photos(place: str) -> "DiskPhotos | RemotePhotos":
    """Return the keeper of photos for a folder or an fsspec URL (``s3://…``, ``memory://…``)."""
    if "://" in place:
        return RemotePhotos(place)
    return DiskPhotos(Path(place))


def photo_bytes(photo) -> tuple[bytes, str | None]:
    """Return the bytes of a photo given as a path or as bytes, and its name."""
    if isinstance(photo, bytes | bytearray | memoryview):
        content, name = bytes(photo), None
    else:
        path = Path(photo)
        try:
            if path.stat().st_size > LARGEST_BYTES:
                raise PhotoError(f"{path.name} is larger than {LARGEST_BYTES // 2**20} MB; give the photo itself")
            content, name = path.read_bytes(), path.name
        except OSError as error:
            raise PhotoError(f"{path} cannot be read ({error.strerror}); check the path") from None
    if not looks_like_photo(content):
        what = "empty" if not content else "no photo"
        raise PhotoError(f"{name or 'the photo'} is {what}; give a JPEG, PNG, TIFF, WebP, HEIC or camera RAW file")
    return content, name


# first bytes of what phones and cameras write; TIFF stands for most RAW files too
_BEGINNINGS = (b"\xff\xd8\xff", b"\x89PNG\r\n", b"II*\0", b"MM\0*", b"IIRO", b"IIRS", b"IIU\0", b"FUJIFILM", b"II+\0")


def looks_like_photo(content: bytes) -> bool:
    """Whether the first bytes are those of a photo file."""
    is_webp = content[:4] == b"RIFF" and content[8:12] == b"WEBP"
    return content.startswith(_BEGINNINGS) or is_webp or content[4:8] == b"ftyp"


class DiskPhotos:
    """Photos in a folder of this machine."""

    def __init__(self, folder):
        self.folder = folder

    def __str__(self):
        return str(self.folder)

    def path(self, sha):
        """Return the path of a photo's file; BookError if it is missing."""
        final = self._final(sha)
        if final.exists():
            return final
        # its station was stopped between the commit and the move
        for waiting in (self.folder / _INCOMING).glob(f"{sha}-*"):
            return waiting
        raise BookError(f"the photo {sha[:12]}… is missing from {self.folder}; restore a backup")

    def read(self, sha):
        """Return the bytes of a photo."""
        return self.path(sha).read_bytes()

    @contextmanager
    def keeping(self, content):
        """Store `content` safely, yield its SHA-256, and settle the file once the block has committed its row."""
        sha = hashlib.sha256(content).hexdigest()
        if self._is_sound(sha):
            yield sha
            return
        waiting = self.folder / _INCOMING / f"{sha}-{secrets.token_hex(4)}"
        try:
            _write_synced(waiting, content)
            yield sha
        except UnsureError:
            raise  # the book may name it; if it does not, `settle_known` sweeps it up later
        except BaseException:
            waiting.unlink(missing_ok=True)
            raise
        self._settle(waiting, sha)

    def _is_sound(self, sha):
        final = self._final(sha)
        return final.exists() and hashlib.sha256(final.read_bytes()).hexdigest() == sha

    def _settle(self, waiting, sha):
        final = self._final(sha)
        try:
            final.parent.mkdir(exist_ok=True)
            waiting.replace(final)
        except FileNotFoundError:
            self.path(sha)  # another station settled it; complain only if it is nowhere

    def settle_known(self, known):
        """Move arrived files that `known` names to their places."""
        for waiting in sorted((self.folder / _INCOMING).glob("*")):
            sha = waiting.name.split("-")[0]
            if sha in known and hashlib.sha256(waiting.read_bytes()).hexdigest() == sha:
                self._settle(waiting, sha)
            elif time.time() - waiting.stat().st_mtime > _ABANDONED_S:
                waiting.unlink(missing_ok=True)  # its station was stopped before the book ever spoke of it

    def names(self):
        """Yield the names, relative to the folder, of all files in their final places."""
        for path in sorted(self.folder.rglob("*")):
            if path.is_file() and path.parent.name != _INCOMING:
                yield str(path.relative_to(self.folder).as_posix())

    def _final(self, sha):
        return self.folder / photo_name(sha)


def is_sha(text) -> bool:
    """Whether something is a SHA-256 as the book writes it."""
    return isinstance(text, str) and bool(re.fullmatch("[0-9a-f]{64}", text))


def photo_name(sha: str) -> str:
    """Return where a photo lies inside its folder.

    BookError if it is no SHA-256: a restored book could name any file of this machine as a photo of its own.
    """
    if not is_sha(sha):
        raise BookError(f"a photo is named {str(sha)[:80]!r}, which is no photo's name; restore a backup you trust")
    return f"{sha[:2]}/{sha}"


def _write_synced(path, content):
    """Write a new file so that it outlives a power cut, its name included."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    sync_folder(path.parent)


class RemotePhotos:
    """Photos behind an fsspec URL; object stores put a whole object or nothing."""

    def __init__(self, url):
        import fsspec

        self.url = url
        self.system, self.root = fsspec.core.url_to_fs(url)

    def __str__(self):
        return self.url

    def read(self, sha):
        """Return the bytes of a photo; BookError if it is missing."""
        try:
            return self.system.cat_file(self.path(sha))
        except FileNotFoundError:
            raise BookError(f"the photo {sha[:12]}… is missing from {self.url}; restore a backup") from None

    @contextmanager
    def keeping(self, content):
        """Store `content`, yield its SHA-256."""
        sha = hashlib.sha256(content).hexdigest()
        if not self.system.exists(self.path(sha)):
            self.system.makedirs(self.path(sha).rsplit("/", 1)[0], exist_ok=True)
            self.system.pipe_file(self.path(sha), content)
            if self.system.size(self.path(sha)) != len(content):
                raise BookError(f"{self.url} did not keep the whole photo; do it again")
        yield sha

    def settle_known(self, known):
        """Nothing waits in an object store."""

    def names(self):
        """Yield the names, relative to the root, of all files."""
        prefix = self.system._strip_protocol(self.root).rstrip("/") + "/"
        for path in sorted(self.system.find(self.root)):
            yield path.removeprefix(prefix)

    def path(self, sha):
        """Return the photo's address inside the store."""
        return f"{self.root.rstrip('/')}/{photo_name(sha)}"

"""Files that are whole or not there, and the one door through which files come in and go out.

A full disk or a power cut while a file is written leaves the one before it. Nothing is written over a book, a link, a
folder, a device, the command's own input, or, unless that is meant, over a file of another kind than the one to write.
"""

import os
import zipfile
from contextlib import contextmanager
from pathlib import Path

from dyebook.errors import DyebookError

__all__ = [
    "MOST_INPUT_BYTES",
    "check_input",
    "check_output",
    "is_database",
    "is_there",
    "replacing",
    "sync_file",
    "sync_folder",
]

MOST_INPUT_BYTES = 500_000_000
_BOOK_SIGN = b"SQLite format 3\0"
# how a file of each ending begins; text of any kind has no zero byte
_BEGINNINGS = {
    ".pdf": (b"%PDF",),
    ".png": (b"\x89PNG",),
    ".jpg": (b"\xff\xd8\xff",),
    ".jpeg": (b"\xff\xd8\xff",),
    ".webp": (b"RIFF",),
    ".xlsx": (b"PK\x03\x04",),
    ".parquet": (b"PAR1",),
    ".html": (b"<",),
    ".jsonl": (b"{",),
    ".csv": (b"",),
}
_TEXTS = (".csv", ".jsonl", ".html")
_BACKUP = {"manifest.json", "book.sqlite"}
_LOOKED_AT = 65536
# characters of a SHA-256, by which the photos of a book are named
_HASH_CHARACTERS = 64
# of a name in a message
_SHOWN = 100


@contextmanager
def replacing(path):
    """Yield the path of a file to write, which takes the place of another once it is whole and safely on disk.

    DyebookError if a book, a link, a folder or a device has that name; OSError if the disk does not take it.

    Parameters
    ----------
    path : Path
        Where the content ends up; an older file of that name stays until then, and for good if the block raises.
    """
    refuse_to_replace(path)
    part = path.with_name(path.name + ".part")
    try:
        yield part
        sync_file(part)
        part.replace(path)
        sync_folder(path.parent)
    finally:
        part.unlink(missing_ok=True)


def is_there(path):
    """Whether there is anything of that name; `DyebookError` where the system cannot say."""
    try:
        return path.exists()
    except OSError as error:
        name = str(path)
        shown = name if len(name) <= _SHOWN else f"{name[:_SHOWN]}…"
        raise DyebookError(f"{shown} cannot be opened ({error.strerror}); check the name and the folder") from None


def refuse_to_replace(path):
    """Raise `DyebookError` where a name stands for what no file may take the place of."""
    there = is_there(path)
    if path.is_symlink():
        raise DyebookError(f"{path} is a link to {path.readlink()}; name the file itself, or another one")
    if path.is_dir():
        raise DyebookError(f"{path} is a folder; name a file in it")
    if not there:
        return
    if not path.is_file():
        raise DyebookError(f"{path} is a device or a pipe, not a file on a disk; name a file")
    if is_database(path):
        raise DyebookError(f"{path} is a book or another database; name another file")


def check_output(path: Path, inputs=(), force: bool = False) -> None:
    """See that a file may be written under a name.

    `inputs` (iterable of Path): what the same command reads. `force`: also in place of a file of another kind.
    """
    refuse_to_replace(path)
    if not path.exists():
        return
    for one in inputs:
        if one.exists() and one.samefile(path):
            raise DyebookError(f"{path} is what this command reads; name another file to write")
    if not force and not _is_of_kind(path):
        raise DyebookError(
            f"{path} is there already, and is not the kind of file that is to be written; name another file, or add "
            "--force to replace it"
        )


def _is_of_kind(path):
    """Whether a file is what its name says and what dyebook writes, so that a newer one may take its place."""
    kind, start = path.suffix.lower(), _beginning(path)
    if not start:
        return True
    if kind == ".zip":
        return zipfile.is_zipfile(path) and set(zipfile.ZipFile(path).namelist()) >= _BACKUP
    # from a camera, or one that a book keeps
    is_photo = b"Exif\0" in start or len(path.stem) == _HASH_CHARACTERS
    is_spoilt = kind in _TEXTS and b"\0" in start
    return start.startswith(_BEGINNINGS.get(kind, ())) and not is_photo and not is_spoilt


def is_database(path):
    """Whether a file is an SQLite database, as books and their copies are."""
    return path.is_file() and _beginning(path).startswith(_BOOK_SIGN)


def _beginning(path):
    try:
        with path.open("rb") as file:
            return file.read(_LOOKED_AT)
    except OSError as error:
        raise DyebookError(f"{path} cannot be read ({error.strerror}); name another file") from None


def check_input(path: Path, most_bytes: int | None = MOST_INPUT_BYTES) -> None:
    """See that a file can be read to its end.

    `most_bytes`: None where the reader has a limit of its own. DyebookError if there is none, or it is a folder, a
    device, a pipe or too large.
    """
    there = is_there(path)
    if not path.is_file():
        seen = "a folder" if path.is_dir() else "a device or a pipe" if there else "no such file"
        raise DyebookError(f"{path}: {seen}; a file on a disk is needed; check the name and the folder")
    size = path.stat().st_size
    if most_bytes is not None and size > most_bytes:
        raise DyebookError(
            f"{path} has {size / 1e6:.0f} MB; at most {most_bytes / 1e6:.0f} MB are read; give a smaller file"
        )


def sync_file(path):
    """Wait until what was written to a file is on the disk."""
    handle = os.open(path, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sync_folder(folder):
    """Wait until the names in a folder are on the disk."""
    if os.name != "posix":  # Windows has no handle on a folder; its file systems log names themselves
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)

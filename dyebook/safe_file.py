"""Files that are whole or not there: a full disk or a power cut while one is written leaves the one before it."""

import os
from contextlib import contextmanager

__all__ = ["replacing", "sync_file", "sync_folder"]


@contextmanager
def replacing(path):
    """Yield the path of a file to write, which takes the place of another once it is whole and safely on disk.

    Parameters
    ----------
    path : Path
        Where the content ends up; an older file of that name stays until then, and for good if the block raises.

    Raises
    ------
    OSError
        If the disk does not take it.
    """
    part = path.with_name(path.name + ".part")
    try:
        yield part
        sync_file(part)
        part.replace(path)
        sync_folder(path.parent)
    finally:
        part.unlink(missing_ok=True)


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

"""One photo of an archive measured again: what a worker does, here or on another machine, without the book."""

import ctypes
import json
import platform
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from dyebook.errors import DyebookError, PhotoError

__all__ = ["Fresh", "Task", "measure_again"]

# a new outline that shares less than this with the old one is another part, or one band of a strip
_SAME_PART = 0.6
_GRID = 256
_M_TRIM_THRESHOLD, _M_MMAP_THRESHOLD = -1, -3  # numbers of glibc's malloc.h


@dataclass(frozen=True)
class Task:
    """What a worker is sent: where the photos are, which one, how it is to be measured.

    Attributes
    ----------
    photos : str
    waiting : dyebook.book.again.Waiting
    camera : CameraProfile, optional
        For all readings; without it each is read with the one it was read with before.
    own_cameras : tuple of CameraProfile
        Those, since a worker on another machine does not have them.
    """

    photos: str
    waiting: object
    camera: object = None
    own_cameras: tuple = ()


@dataclass(frozen=True)
class Fresh:
    """What it sends back: new columns by the old reading's number, or why there are none."""

    waiting: object
    readings: tuple = ()
    trouble: str = ""


def measure_again(task):
    """Return a `Fresh` for a `Task`; a photo that cannot be measured says why and keeps its old readings."""
    from dyebook.book.photos import open_photos

    _make_ready()
    try:
        keeper = open_photos(task.photos)
        content = _sound_bytes(keeper, task.waiting.sha256)
        return Fresh(task.waiting, tuple(_fresh_readings(content, keeper, task)))
    except (DyebookError, OSError) as error:
        return Fresh(task.waiting, trouble=" ".join(str(error).split()))


@lru_cache
def _make_ready():
    """Make this process a good worker, once: one thread, and memory that is kept from picture to picture."""
    import cv2

    # the workers share the cores out among themselves
    cv2.setNumThreads(1)
    if platform.libc_ver()[0] == "glibc":
        # Dask's usual setting hands memory back after every picture, which costs a third more time; these are the
        # values glibc comes to by itself where nothing is set: mallopt(3), M_MMAP_THRESHOLD
        library = ctypes.CDLL(None)
        library.mallopt(_M_MMAP_THRESHOLD, 32 * 2**20)
        library.mallopt(_M_TRIM_THRESHOLD, 64 * 2**20)


def _sound_bytes(keeper, sha):
    import hashlib

    content = keeper.read(sha)
    if hashlib.sha256(content).hexdigest() != sha:
        raise PhotoError(f"the photo {sha[:12]}… is not what it was; restore a backup")
    return content


def _fresh_readings(content, keeper, task):
    """Yield the old number and new columns of each reading, by the part that lies where the old one lay."""
    from dyebook.book.reading_rows import measured_values

    looks = {}
    for old in task.waiting.readings:
        means, card = _means(old, keeper, task), old["card"] or {}
        same = json.dumps([card, old["camera"], _asked(old)], sort_keys=True)
        if same not in looks:
            looks[same] = _measure(content, card, means)
        index = _part_there(looks[same], old["outline"])
        again = looks[same] if index is not None else _measure(content, card, means | {"part_at": [old["outline"]]})
        yield old["id"], measured_values(again, index or 0)


def _asked(old):
    """What the old reading was read by, as far as the book knows."""
    return (old.get("measured_with") or {}).get("asked") or {}


def _means(old, keeper, task):
    """Options of `measure` that read a photo as the old reading was, but with another camera where one is given."""
    asked, name = _asked(old), old["camera"]
    own = next((profile for profile in task.own_cameras if profile.name == name), name)
    means = {"camera": task.camera or own, "name": task.waiting.name, "mat_line_mm": asked.get("mat_line_mm")}
    if "card_at" in asked:
        means["card_at"] = asked["card_at"]
    if "flat" in asked:
        means["flat"] = _sound_bytes(keeper, asked["flat"])
    return means


def _measure(content, card, means):
    """Measure with the card that was used then: where it was pointed out, else found anew, else where it lay then."""
    from dyebook.photo.measure import look_at

    if card.get("kind") == "none":
        return look_at(content, no_card=True, **means).measurement
    means = {**means, "card_lab": card.get("lab")}
    try:
        return look_at(content, **means).measurement
    except PhotoError:
        if card.get("kind") not in ("grey", "mat") or not card.get("quad") or "card_at" in means:
            raise
        again = look_at(content, card_at=card["quad"], **means).measurement
        # found by us then as well: nobody pointed it out
        return replace(again, asked={name: value for name, value in again.asked.items() if name != "card_at"})


def _part_there(measurement, outline):
    """Index of the part that covers the old outline, or None; the only part where no outline was kept."""
    if not outline:
        if len(measurement.parts) == 1:
            return 0
        raise PhotoError(
            f"the photo shows {len(measurement.parts)} parts, and the old reading does not say which it was"
        )
    shares = [_shared(part.outline, outline) for part in measurement.parts]
    best = int(np.argmax(shares)) if shares else None
    return best if shares and shares[best] >= _SAME_PART else None


def _shared(one, other):
    """Intersection over union of two polygons, on a coarse grid over both."""
    from skimage.draw import polygon2mask

    points = np.concatenate([one, other])
    low, span = points.min(axis=0), max(np.ptp(points, axis=0).max(), 1.0)
    masks = [polygon2mask((_GRID, _GRID), (np.asarray(line) - low) * (_GRID - 1) / span) for line in (one, other)]
    union = np.count_nonzero(masks[0] | masks[1])
    return np.count_nonzero(masks[0] & masks[1]) / union if union else 0.0

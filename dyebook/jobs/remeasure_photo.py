"""One photo of an archive measured again: what a worker does, here or on another machine, without the book."""

from dataclasses import dataclass

import numpy as np

from dyebook.errors import DyebookError, PhotoError

__all__ = ["Fresh", "Task", "measure_again"]

# a new outline that shares less than this with the old one is another part, or one band of a strip
_SAME_PART = 0.6
_GRID = 256


@dataclass(frozen=True)
class Task:
    """What a worker is sent: where the photos are, which one, how it is to be measured."""

    photos: str
    waiting: object
    camera: object = None


@dataclass(frozen=True)
class Fresh:
    """What it sends back: new columns by the old reading's number, or why there are none."""

    waiting: object
    readings: tuple = ()
    trouble: str = ""


def measure_again(task):
    """Return a `Fresh` for a `Task`; a photo that cannot be measured says why and keeps its old readings."""
    import cv2

    from dyebook.book.photos import open_photos

    # the workers share the cores out among themselves
    cv2.setNumThreads(1)
    try:
        content = _sound_bytes(open_photos(task.photos), task.waiting.sha256)
        return Fresh(task.waiting, tuple(_fresh_readings(content, task)))
    except (DyebookError, OSError) as error:
        return Fresh(task.waiting, trouble=" ".join(str(error).split()))


def _sound_bytes(keeper, sha):
    import hashlib

    content = keeper.read(sha)
    if hashlib.sha256(content).hexdigest() != sha:
        raise PhotoError(f"the photo {sha[:12]}… is not what it was; restore a backup")
    return content


def _fresh_readings(content, task):
    """Yield the old number and new columns of each reading, by the part that lies where the old one lay."""
    from dyebook.book.reading_rows import measured_values

    found = None
    for old in task.waiting.readings:
        found = found or _measure(content, task, old)
        index = _part_there(found, old["outline"])
        measurement = found if index is not None else _measure(content, task, old, part_at=[old["outline"]])
        yield old["id"], measured_values(measurement, index or 0) | {"camera": _name_of(task, old)}


def _name_of(task, old):
    return old["camera"] if task.camera is None else task.camera.name


def _measure(content, task, old, **options):
    """Measure with the card that was used then, found anew, else where it was found then."""
    from dyebook.photo.measure import look_at

    card = old["card"] or {}
    known = {"camera": task.camera or old["camera"], "name": task.waiting.name, **options}
    if card.get("kind") == "none":
        return look_at(content, no_card=True, **known).measurement
    known["card_lab"] = card.get("lab")
    try:
        return look_at(content, **known).measurement
    except PhotoError:
        if card.get("kind") not in ("grey", "mat") or not card.get("quad"):
            raise
        return look_at(content, card_at=card["quad"], **known).measurement


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

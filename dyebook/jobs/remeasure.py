"""Measure an archive again with another camera profile or newer code; what was read before stays in the book."""

import hashlib
import json
from array import array
from dataclasses import asdict, dataclass, field
from itertools import islice

import numpy as np

import dyebook
from dyebook.book.again import count_waiting, put_in_place, waiting_photos
from dyebook.errors import PhotoError
from dyebook.jobs.remeasure_photo import Task, measure_again
from dyebook.jobs.workers import as_done, open_workers
from dyebook.lab import delta_e_00

__all__ = ["EDGES_DE00", "Moved", "method_name", "remeasure"]

# steps of the histogram: under half is within what a reading repeats to, over two is seen at a glance (common practice)
EDGES_DE00 = (0.2, 0.5, 1.0, 2.0, 5.0)
_WORST = 5


@dataclass
class Moved:
    """What measuring again has moved.

    Attributes
    ----------
    method : str
        Name of the way of measuring.
    photos, waiting : int
        Photos looked at, and those there were to look at.
    stopped, dry_run : bool
    delta_e00 : array of float
        CIEDE2000 between each old reading and the new one.
    worst : list of (float, int)
        Largest differences, with their batches.
    troubles : list of (str, str)
        Photos that could not be measured again, and why; their old readings stand.
    """

    method: str
    waiting: int
    dry_run: bool = False
    photos: int = 0
    stopped: bool = False
    delta_e00: array = field(default_factory=lambda: array("d"))
    worst: list = field(default_factory=list)
    troubles: list = field(default_factory=list)

    def histogram(self):
        """Return how many readings lie between 0, each of `EDGES_DE00`, and infinity; list of int."""
        return np.bincount(np.searchsorted(EDGES_DE00, self.delta_e00, side="right"), minlength=6).tolist()

    def to_dict(self):
        """Return it as plain lists and numbers."""
        seen = len(self.delta_e00) > 0
        middle, high = np.percentile(self.delta_e00, (50, 95)).round(3).tolist() if seen else (None, None)
        return {
            **{name: getattr(self, name) for name in ("method", "waiting", "photos", "stopped", "dry_run")},
            "readings": len(self.delta_e00),
            "delta_e00": {"median": middle, "p95": high, "max": round(max(self.delta_e00), 3) if seen else None},
            "histogram": {"edges": list(EDGES_DE00), "counts": self.histogram()},
            "worst": [{"batch": batch, "delta_e00": round(value, 3)} for value, batch in self.worst],
            "troubles": [{"photo": photo, "why": why} for photo, why in self.troubles],
        }

    def note(self, moved):
        """Count what one photo gave: the old reading and the new columns of each that was taken over."""
        for old, new in moved:
            difference = float(delta_e_00([old[axis] for axis in "Lab"], [new[axis] for axis in "Lab"]))
            self.delta_e00.append(difference)
            self.worst = sorted([*self.worst, (difference, old["batch_id"])], key=lambda one: -one[0])[:_WORST]


def method_name(camera=None, label=None):
    """Return what a way of measuring is called in the book: version, label, and the camera with its figures' hash."""
    words = [f"dyebook {dyebook.__version__}", *([label] if label else [])]
    if camera is not None:
        figures = {name: value for name, value in asdict(camera).items() if name not in ("coupon_days", "learned_at")}
        digest = hashlib.sha256(json.dumps(figures, sort_keys=True, default=str).encode()).hexdigest()
        words.append(f"camera {camera.name} {digest[:12]}")
    return ", ".join(words)


def remeasure(book, camera=None, label=None, count=None, dry_run=False, progress=None, **workers):
    """Measure the photos of a book again and put the new readings in the places of the old.

    Parameters
    ----------
    book : dyebook.book.store.Book
    camera : CameraProfile, optional
        Learned camera for all of them; without it each is read with its own. Plain paper, a card that was pointed
        out and the mat's line stay as they were for each reading in any case.
    label : str, optional
        Tells one way of measuring from another of the same version, so that all is measured once more.
    count : int, optional
        The first so many photos only.
    dry_run : bool
        Say what would move, and write nothing.
    progress : callable, optional
        Called with photos done and to do.
    **workers
        `processes`, `scheduler` and `certificates`, see `dyebook.jobs.workers.open_workers`.

    Returns
    -------
    Moved
        Also when it was stopped from the keyboard: every photo is either done or as it was, and the next run goes on.

    Raises
    ------
    BookError
        If the book, the workers or their scheduler fail; what was measured until then is kept. Only an owner may write.
    """
    if not dry_run:
        book.must_be("owner")
    method = method_name(camera, label)
    waiting = count_waiting(book, method)
    moved = Moved(method, waiting if count is None else min(count, waiting), dry_run)
    if not moved.waiting:
        return moved
    try:
        _run(book, moved, islice(_tasks(book, method, camera), count), progress, workers)
    except KeyboardInterrupt:
        moved.stopped = True
    return moved


def _tasks(book, method, camera):
    """Yield the work, with the learned cameras it needs: workers elsewhere have none."""
    photos, known = str(book.photos), {}
    for waiting in waiting_photos(book, method):
        names = {old["camera"] for old in waiting.readings if old["camera"] and camera is None}
        known |= {name: _camera_or_none(name) for name in names - known.keys()}
        yield Task(photos, waiting, camera, tuple(known[name] for name in sorted(names) if known[name]))


def _camera_or_none(name):
    """A learned camera, or None where it was forgotten; the worker then says so."""
    from dyebook.photo.camera_store import load_camera

    try:
        return load_camera(name)
    except PhotoError:
        return None


def _run(book, moved, tasks, progress, workers):
    with open_workers(workers.get("processes"), workers.get("scheduler"), workers.get("certificates")) as (crew, size):
        for fresh in as_done(crew, size, measure_again, tasks):
            _keep(book, moved, fresh)
            moved.photos += 1
            if progress is not None:
                progress(moved.photos, moved.waiting)


def _keep(book, moved, fresh):
    """Write what one photo gave, all of it or nothing; only here, so a task that ran twice is kept once."""
    if fresh.trouble:
        moved.troubles.append((fresh.waiting.name or fresh.waiting.sha256[:12], fresh.trouble))
        return
    new = dict(fresh.readings)
    taken = list(new) if moved.dry_run else put_in_place(book, moved.method, fresh.readings)
    by_number = {old["id"]: old for old in fresh.waiting.readings}
    moved.note([(by_number[number], new[number]) for number in taken])

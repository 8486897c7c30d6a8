"""Measure an archive again with another camera profile or newer code; what was read before stays in the book.

`remeasure` leads: it hands each photo with its readings to a worker, and alone writes what comes back, so that a run
that is stopped, or a task that ran twice, leaves every photo either done or as it was. A worker (`measure_again`) has
no book: it fetches the photo from where photos are kept, reads it as it was read before, and finds each old part again
by its outline. Workers are processes of this machine or a Dask cluster, behind the one face of `concurrent.futures`.
"""

import ctypes
import hashlib
import ipaddress
import json
import multiprocessing
import os
import platform
import signal
from array import array
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, CancelledError, ProcessPoolExecutor, wait
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field, replace
from functools import lru_cache
from itertools import islice
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np

from dyebook.book.readings import count_waiting, measured_values, put_in_place, waiting_photos
from dyebook.errors import BookError, DyebookError, PhotoError
from dyebook.jobs.photo import options_as_kept, read
from dyebook.lab import delta_e_00
from dyebook.version import __version__

__all__ = [
    "EDGES_DE00",
    "Fresh",
    "Moved",
    "Task",
    "as_done",
    "measure_again",
    "method_name",
    "open_workers",
    "remeasure",
]

# steps of the histogram: under half is within what a reading repeats to, over two is seen at a glance (common practice)
EDGES_DE00 = (0.2, 0.5, 1.0, 2.0, 5.0)
_WORST = 5
# a new outline that shares less than this with the old one is another part, or one band of a strip
_SAME_PART = 0.6
_GRID = 256  # cells a side on which outlines are compared
_M_TRIM_THRESHOLD, _M_MMAP_THRESHOLD = -1, -3  # numbers of glibc's malloc.h
_WINDOW = 4  # tasks under way a worker: enough to keep it busy, few enough to keep memory flat
_PATIENCE_S = 20
_CERTIFICATES = ("ca.pem", "cert.pem", "key.pem")


def remeasure(book, camera=None, label=None, count=None, dry_run=False, progress=None, **workers):
    """Measure the photos of a book again and put the new readings in the places of the old.

    BookError if the book, the workers or their scheduler fail; what was measured until then is kept. Only an owner may
    write.

    Parameters
    ----------
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
        `processes`, `scheduler` and `certificates`, see `dyebook.jobs.remeasure.open_workers`.

    Returns
    -------
    Moved
        Also when it was stopped from the keyboard: every photo is either done or as it was, and the next run goes on.
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


def method_name(camera=None, label=None):
    """Return what a way of measuring is called in the book: version, label, and the camera with its figures' hash."""
    words = [f"dyebook {__version__}", *([label] if label else [])]
    if camera is not None:
        figures = {name: value for name, value in asdict(camera).items() if name not in ("coupon_days", "learned_at")}
        digest = hashlib.sha256(json.dumps(figures, sort_keys=True, default=str).encode()).hexdigest()
        words.append(f"camera {camera.name} {digest[:12]}")
    return ", ".join(words)


def _tasks(book, method, camera):
    """Yield the work, with the learned cameras it needs: workers elsewhere have none."""
    photos, known = str(book.photos), {}
    for waiting in waiting_photos(book, method):
        names = {old["camera"] for old in waiting.readings if old["camera"] and camera is None}
        known |= {name: _camera_or_none(name) for name in names - known.keys()}
        yield Task(photos, waiting, camera, tuple(known[name] for name in sorted(names) if known[name]))


def _camera_or_none(name):
    """A learned camera, or None where it was forgotten; the worker then says so."""
    from dyebook.photo.camera.store import load_camera

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


@dataclass
class Moved:
    """What measuring again has moved."""

    method: str  # name of the way of measuring
    waiting: int
    dry_run: bool = False
    # photos, waiting: photos looked at, and those there were to look at
    photos: int = 0
    stopped: bool = False
    # array of float: CIEDE2000 between each old reading and the new one
    delta_e00: array = field(default_factory=lambda: array("d"))
    worst: list = field(default_factory=list)  # list of (float, int): largest differences, with their batches
    # list of (str, str): photos that could not be measured again, and why; their old readings stand
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


@dataclass(frozen=True)
class Task:
    """What a worker is sent: where the photos are, which one, how it is to be measured."""

    photos: str
    waiting: object  # dyebook.book.readings.Waiting
    # CameraProfile, optional: for all readings; without it each is read with the one it was read with before
    camera: object = None
    own_cameras: tuple = ()  # those, since a worker on another machine does not have them


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
    content = keeper.read(sha)
    if hashlib.sha256(content).hexdigest() != sha:
        raise PhotoError(f"the photo {sha[:12]}… is not what it was; restore a backup")
    return content


def _fresh_readings(content, keeper, task):
    """Yield the old number and new columns of each reading, by the part that lies where the old one lay."""
    looks = {}
    for old in task.waiting.readings:
        options = _options(old, keeper, task)
        same = options, json.dumps(old["card"])
        if same not in looks:
            looks[same] = _measure(content, old["card"] or {}, options, task.waiting.name)
        seen, index = looks[same], _part_there(looks[same], old["outline"])
        if index is None:
            seen = _measure(content, old["card"] or {}, replace(options, part_at=[old["outline"]]), task.waiting.name)
        yield old["id"], measured_values(seen, index or 0)


def _options(old, keeper, task):
    """How the old reading was read, but with another camera where one is given for all."""
    options = options_as_kept(old, lambda sha: _sound_bytes(keeper, sha))
    own = next((profile for profile in task.own_cameras if profile.name == options.camera), options.camera)
    return replace(options, camera=task.camera or own)


def _measure(content, card, options, name):
    """Measure with the card that was used then: where it was pointed out, else found anew, else where it lay then."""
    try:
        return read(content, options, name)
    except PhotoError:
        if card.get("kind") not in ("grey", "mat") or not card.get("quad") or options.card_at is not None:
            raise
        again = read(content, replace(options, card_at=card["quad"]), name)
        # found without help then as well: it was not pointed out
        return replace(again, options={**again.options, "card_at": None})


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


@contextmanager
def open_workers(count: int | None = None, scheduler: str | None = None, certificates: str | Path | None = None):
    """Yield an executor with the face of `concurrent.futures`, and how many workers it has.

    `count` processes of this machine, one a core without it; or those of a Dask `scheduler`, ``tls://host:port`` with a
    folder of `certificates` (``ca.pem``, ``cert.pem``, ``key.pem``), or ``tcp://`` on this machine only. BookError if
    the address is not safe to use, or nothing answers there.
    """
    if scheduler is None:
        count = count or os.cpu_count() or 1
        context = multiprocessing.get_context("spawn")
        pool = ProcessPoolExecutor(count, mp_context=context, initializer=_leave_stopping_to_the_lead)
        try:
            yield pool, count
        except KeyboardInterrupt:
            # a lead that was interrupted while it fed them could wait for them for ever; the next run does their photos
            for worker in multiprocessing.active_children():
                worker.kill()
            raise
        finally:
            pool.shutdown(wait=True, cancel_futures=True)
        return
    security = _security(scheduler, certificates)
    with _client(scheduler, security) as client:
        yield client.get_executor(pure=False, retries=2), max(1, sum(client.nthreads().values()))


@contextmanager
def _keyboard_held():
    """Start processes inside the block: a Ctrl-C would leave one half begun, or begun and unknown to its pool."""
    if not hasattr(signal, "pthread_sigmask"):  # Windows
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _leave_stopping_to_the_lead():
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _security(scheduler, certificates):
    """Dask's security for an address; a scheduler runs whatever it is sent, so plain tcp may not leave the machine."""
    address = urlsplit(scheduler)
    if address.scheme == "tcp" and _is_here(address.hostname):
        return None
    if address.scheme != "tls":
        raise BookError(
            f"{scheduler} would carry work unprotected; give a tls:// address (plain tcp:// is only for 127.0.0.1)"
        )
    missing = [name for name in _CERTIFICATES if certificates is None or not (Path(certificates) / name).is_file()]
    if missing:
        raise BookError(f"a tls:// scheduler needs a folder with {', '.join(_CERTIFICATES)}; {missing[0]} is missing")
    return tuple(str(Path(certificates) / name) for name in _CERTIFICATES)


def _is_here(host):
    try:
        return host == "localhost" or ipaddress.ip_address(host or "").is_loopback
    except ValueError:
        return False


def _client(scheduler, files):
    try:
        from distributed import Client, Security
    except ImportError:
        raise BookError("a scheduler needs Dask, which is not installed; pip install 'dyebook[dask]'") from None
    security = None
    if files is not None:
        ca, cert, key = files
        security = Security(tls_ca_file=ca, tls_client_cert=cert, tls_client_key=key, require_encryption=True)
    try:
        return Client(scheduler, security=security, timeout=_PATIENCE_S, set_as_default=False)
    except OSError as error:
        raise BookError(f"no scheduler answers at {scheduler} ({error}); check that it runs and its address") from None


def as_done(executor, workers: int, work, tasks):
    """Yield what `work` returns for each task as it comes, with few of them under way at a time.

    `executor`: concurrent.futures.Executor. `tasks`: iterable. BookError if workers die on a task again and again, or
    their scheduler is gone.
    """
    tasks, under_way = iter(tasks), set()
    try:
        while True:
            while len(under_way) < _WINDOW * workers and (task := next(tasks, None)) is not None:
                # a process may be started for it
                with _keyboard_held():
                    under_way.add(executor.submit(work, task))
            if not under_way:
                return
            done, under_way = wait(under_way, return_when=FIRST_COMPLETED)
            for future in done:
                yield _result(future)
    finally:
        for future in under_way:
            future.cancel()


def _result(future):
    try:
        return future.result()
    except (BrokenExecutor, CancelledError) as error:
        raise _stopped(error) from error
    except RuntimeError as error:
        # Dask's own errors have no common root that could be named without importing it
        if type(error).__module__.partition(".")[0] != "distributed":
            raise
        raise _stopped(error) from error


def _stopped(error):
    return BookError(
        f"the workers stopped ({type(error).__name__}), perhaps for want of memory; what was measured is kept; "
        "run it again to go on, with fewer workers"
    )

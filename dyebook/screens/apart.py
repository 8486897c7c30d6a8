"""Work in a process of its own, which is ended the moment it is stopped and takes its memory with it.

A worker process does one piece of work at a time and waits, warm, for the next; one more is always kept warm. Of each
session one piece is done at a time, so that one's heavy photos leave room for another's. Function, arguments and answer
are pickled over a worker's two pipes; nothing that a browser sends is ever unpickled.
"""

import os
import pickle
import re
import sys
import threading
import time
from collections import deque
from contextlib import contextmanager, suppress
from inspect import signature
from pathlib import Path
from subprocess import PIPE, Popen

from dyebook.errors import DyebookError, PhotoError
from dyebook.jobs.photo import read

__all__ = ["apart", "end_workers", "perform", "read_apart", "warm_worker"]

# a worker that grew beyond this makes room; as many wait as a single session and the next one need
_MOST_MB, _MOST_IDLE = 400, 2
# pieces of work done at once, of as many sessions: more cores than four would take more memory than a small machine has
_MOST_AT_WORK = min(max(os.cpu_count() or 1, 2), 4)
_LOOK_S = 0.05
_PROGRAM = "from dyebook.screens.apart import _serve; _serve()"
_idle = deque()
_lock, _waiting, _at_work = threading.Lock(), [], []


class _Worker:
    def __init__(self):
        self.process = Popen([sys.executable, "-c", _PROGRAM], stdin=PIPE, stdout=PIPE)  # noqa: S603 - our own words
        self.is_fit = True

    def do(self, progress, *asked):
        """What `perform(progress, *asked)` returns or raises, done by the process; EOFError where that was ended."""
        self.is_fit = False
        try:
            pickle.dump(asked, self.process.stdin)
            self.process.stdin.flush()
        except BrokenPipeError:
            raise EOFError from None
        while True:
            kind, answer, self.is_fit = pickle.load(self.process.stdout)  # noqa: S301 - written by our own process
            if kind == "answer":
                return answer
            if kind == "error":
                raise answer
            progress(*answer)


def apart(work, *args, **named):
    """Return what does `work`, a function of a module, in a worker for a `Job`, which ends it at once when stopped.

    Where `work` has an argument `progress`, the stages it tells are the job's.
    """

    def do(job):
        with _turn(job):
            return _do(job, work, args, named)

    return do


def read_apart(job):
    """Return what does as `dyebook.jobs.photo.read`, in a worker."""
    return lambda *asked: apart(read, *asked)(job)


@contextmanager
def _turn(job):
    """Wait until the job may begin: the first that came, of those whose session has nothing at work."""
    with _lock:
        _waiting.append(job)
    try:
        while not _begins(job):
            job()
            time.sleep(_LOOK_S)
        yield
    finally:
        with _lock:
            (_at_work if job in _at_work else _waiting).remove(job)


def _begins(job):
    with _lock:
        busy = {one.owner for one in _at_work}
        first = next((one for one in _waiting if one.owner not in busy), None)
        if first is not job or len(_at_work) >= _MOST_AT_WORK:
            return False
        _waiting.remove(job)
        _at_work.append(job)
        return True


def _do(job, *asked):
    worker = _take()
    job.ends_by(worker.process.kill)
    try:
        job()
        return worker.do(job, *asked)
    except (EOFError, pickle.UnpicklingError):
        job()  # raises where it was ended because it was stopped
        raise PhotoError("the work broke off, perhaps for want of memory; try it again, or a smaller photo") from None
    finally:
        job.ends_by(None)
        if worker.is_fit and not job.ended and len(_idle) < _MOST_IDLE:
            _idle.append(worker)
        else:
            worker.process.kill()
            worker.process.communicate()


def perform(progress, work, args, named):
    """Return what a piece of work gives."""
    if "progress" in signature(work).parameters:
        named = {**named, "progress": progress}
    return work(*args, **named)


def _take():
    """A worker that waits, else a new one; the next one is made ready."""
    worker = None
    with suppress(IndexError):
        while (worker := _idle.pop()).process.poll() is not None:
            worker = None
    worker = worker or _Worker()
    warm_worker()
    return worker


def warm_worker():
    """See that a worker waits, so that the next photo need not wait for one."""
    if not _idle:
        _idle.append(_Worker())


def end_workers():
    """End the workers that wait; one at work is ended with its job."""
    while _idle:
        _idle.pop().process.kill()


def _serve():
    """Be a worker: do what comes in until the pipe is closed; tell whether memory leaves room for more."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl+C in the shell ends the server, which ends this
    source, out = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a library prints is no answer
    import dyebook.photo.measure  # noqa: F401 - warm

    def tell(kind, answer):
        pickle.dump((kind, answer, kind != "stage" and _peak_mb() < _MOST_MB), out)
        out.flush()

    while True:
        try:
            asked = pickle.load(source)  # noqa: S301 - written by our own server
        except EOFError:
            return
        try:
            answer = "answer", perform(lambda *words: tell("stage", words), *asked)
        except DyebookError as error:
            answer = "error", error
        tell(*answer)


def _peak_mb():
    """The most memory this process has held, where the system says.

    Linux counts what the process that started this one held into its `ru_maxrss`, so /proc is asked there.
    """
    with suppress(OSError):
        held = re.search(r"VmHWM:\s+(\d+)", Path("/proc/self/status").read_text(encoding="ascii"))
        return int(held[1]) / 2**10 if held else 0
    try:
        import resource
    except ImportError:
        return 0
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (2**20 if sys.platform == "darwin" else 2**10)

"""Work in a process of its own, which is ended the moment it is stopped and takes its memory with it.

A worker process reads a photo for one page at a time and waits, warm, for the next. Function, arguments and answer are
pickled over its two pipes; nothing that a browser sends is ever unpickled.
"""

import pickle
import sys
import threading
from subprocess import PIPE, Popen

from dyebook.errors import DyebookError, PhotoError

__all__ = ["apart", "end_workers", "warm_worker"]

# a worker that grew beyond this makes room
_MOST_MB = 400
_PROGRAM = "from dyebook.screens.apart import _serve; _serve()"
_LOCK = threading.Lock()
_idle, _busy = [], set()


class _Worker:
    def __init__(self):
        self.process = Popen([sys.executable, "-c", _PROGRAM], stdin=PIPE, stdout=PIPE)  # noqa: S603 - our own words

    def do(self, progress, work, *args):
        """What `work(*args, progress)` returns or raises, done by the process; EOFError where that was ended."""
        try:
            pickle.dump((work, args), self.process.stdin)
            self.process.stdin.flush()
        except BrokenPipeError:
            raise EOFError from None
        while True:
            kind, answer = pickle.load(self.process.stdout)  # noqa: S301 - written by our own process
            if kind == "answer":
                return answer
            if kind == "error":
                raise answer
            progress(*answer)

    def end(self):
        self.process.kill()
        self.process.wait()
        for pipe in (self.process.stdin, self.process.stdout):
            pipe.close()


def apart(job, work, *args):
    """Return what `work(*args, job)` returns or raises; stopping the job ends it at once.

    Parameters
    ----------
    job : dyebook.screens.tasks.Job
    work : callable
        Of a module, with arguments that can be pickled; it is given a callable for its stages last.
    """
    worker = _take()
    with _LOCK:
        _busy.add(worker)
    job.ender = worker.process.kill
    healthy = False
    try:
        job()
        answer = worker.do(job, work, *args)
        healthy = True
        return answer
    except (EOFError, pickle.UnpicklingError):
        job()  # ended because it was stopped
        raise PhotoError("the work broke off, perhaps for want of memory; try it again, or a smaller photo") from None
    except DyebookError:
        healthy = True
        raise
    finally:
        job.ender = None
        _put_back(worker, healthy)


def _take():
    with _LOCK:
        while _idle:
            if (worker := _idle.pop()).process.poll() is None:
                return worker
            worker.end()
    return _Worker()


def _put_back(worker, healthy):
    with _LOCK:
        _busy.discard(worker)
        if healthy and not _idle:
            _idle.append(worker)
            return
    worker.end()


def warm_worker():
    """Start a worker, so that the first photo need not wait for one."""
    with _LOCK:
        if not _idle and not _busy:
            _idle.append(_Worker())


def end_workers():
    """End every worker, whatever it is doing."""
    with _LOCK:
        ended = [*_idle, *_busy]
        _idle.clear()
    for worker in ended:
        worker.process.kill()


def _serve():
    """Be a worker: do what comes in until the pipe is closed, or memory has grown."""
    import os
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl+C in the shell ends the server, which ends this
    source, out = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a library prints is no answer
    import dyebook.photo.measure  # noqa: F401 - warm

    def tell(kind, answer):
        pickle.dump((kind, answer), out)
        out.flush()

    while _peak_mb() < _MOST_MB:
        try:
            work, args = pickle.load(source)  # noqa: S301 - written by our own server
        except EOFError:
            return
        try:
            answer = "answer", work(*args, lambda *words: tell("stage", words))
        except DyebookError as error:
            answer = "error", error
        tell(*answer)


def _peak_mb():
    """The most memory this process has held, where the system says."""
    try:
        import resource
    except ImportError:
        return 0
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (2**20 if sys.platform == "darwin" else 2**10)

"""Work in a process of its own, which is ended the moment it is stopped and takes its memory with it.

A worker process does one piece of work at a time and waits, warm, for the next. Function, arguments and answer are
pickled over its two pipes; nothing that a browser sends is ever unpickled.
"""

import pickle
import re
import sys
from collections import deque
from contextlib import suppress
from pathlib import Path
from subprocess import PIPE, Popen

from dyebook.errors import DyebookError, PhotoError

__all__ = ["apart", "end_workers", "warm_worker"]

# a worker that grew beyond this makes room; as many wait as were needed at once
_MOST_MB, _MOST_IDLE = 400, 2
_PROGRAM = "from dyebook.screens.apart import _serve; _serve()"
_idle = deque()


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


def apart(job, work, *args):
    """Return what `work(*args, job)`, a function of a module, returns or raises; stopping the job ends it at once."""
    worker, keep = _take(), False
    job.ender = worker.process.kill
    try:
        job()
        answer = worker.do(job, work, *args)
        keep = True
        return answer
    except (EOFError, pickle.UnpicklingError):
        job()  # raises where it was ended because it was stopped
        raise PhotoError("the work broke off, perhaps for want of memory; try it again, or a smaller photo") from None
    except DyebookError:
        keep = True
        raise
    finally:
        job.ender = None
        if keep and len(_idle) < _MOST_IDLE:
            _idle.append(worker)
        else:
            worker.process.kill()
            worker.process.communicate()


def _take():
    """A worker that waits, else a new one."""
    with suppress(IndexError):
        while (worker := _idle.pop()).process.poll() is not None:
            pass
        return worker
    return _Worker()


def warm_worker():
    """Start a worker, so that the first photo need not wait for one."""
    if not _idle:
        _idle.append(_Worker())


def end_workers():
    """End the workers that wait; one at work is ended with its job."""
    while _idle:
        _idle.pop().process.kill()


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

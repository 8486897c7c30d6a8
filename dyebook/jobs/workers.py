"""Workers behind one face, `concurrent.futures`: processes of this machine, or a Dask cluster."""

import ipaddress
import multiprocessing
import os
import signal
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, CancelledError, ProcessPoolExecutor, wait
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit

from dyebook.errors import BookError

__all__ = ["as_done", "open_workers"]

_WINDOW = 4  # tasks under way a worker: enough to keep it busy, few enough to keep memory flat
_PATIENCE_S = 20
_CERTIFICATES = ("ca.pem", "cert.pem", "key.pem")


@contextmanager
def open_workers(count=None, scheduler=None, certificates=None):
    """Yield an executor with the face of `concurrent.futures`, and how many workers it has.

    Parameters
    ----------
    count : int, optional
        Processes of this machine; one a core without it.
    scheduler : str, optional
        Address of a Dask scheduler, ``tls://host:port``; ``tcp://`` only on this machine.
    certificates : path, optional
        Folder with ``ca.pem``, ``cert.pem`` and ``key.pem`` for ``tls://``.

    Raises
    ------
    BookError
        If the address is not safe to use, or nothing answers there.
    """
    if scheduler is None:
        count = count or os.cpu_count() or 1
        context = multiprocessing.get_context("spawn")
        pool = ProcessPoolExecutor(count, mp_context=context, initializer=_leave_stopping_to_the_lead)
        try:
            with _keyboard_held():
                for _ in range(count):
                    pool.submit(os.getpid)
            yield pool, count
        finally:
            pool.shutdown(wait=True, cancel_futures=True)
        return
    security = _security(scheduler, certificates)
    with _client(scheduler, security) as client:
        yield client.get_executor(pure=False, retries=2), max(1, sum(client.nthreads().values()))


@contextmanager
def _keyboard_held():
    """Start processes inside the block: a Ctrl-C goes to all of a terminal, and would stop one that is half begun."""
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


def as_done(executor, workers, work, tasks):
    """Yield what `work` returns for each task as it comes, with few of them under way at a time.

    Parameters
    ----------
    executor : concurrent.futures.Executor
    workers : int
    work : callable
    tasks : iterable

    Raises
    ------
    BookError
        If workers die on a task again and again, or their scheduler is gone.
    """
    tasks, under_way = iter(tasks), set()
    try:
        while True:
            while len(under_way) < _WINDOW * workers and (task := next(tasks, None)) is not None:
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

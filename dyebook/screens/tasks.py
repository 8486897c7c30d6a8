"""Background tasks: work that takes a moment is done beside the page, shown in words, remembered, and can be stopped.

The page asks with `done`; until the answer is there it shows what is being done, with a Stop. A tap on anything else
takes effect at once: the next run of the page waits for the same job again. Stopping asks the job to end at its next
stage, puts a note where the answer would be, and touches nothing that was typed.
"""

import secrets
import threading
from collections import OrderedDict
from concurrent.futures import CancelledError, ThreadPoolExecutor, wait
from contextvars import copy_context
from html import escape
from importlib import import_module

import streamlit as st
from streamlit.runtime.scriptrunner import get_script_run_ctx

from dyebook.errors import DyebookError
from dyebook.screens.apart import end_workers, warm_worker

__all__ = ["Job", "StoppedError", "begin_page", "done", "done_once", "made_once", "show_stopped", "stop_all", "warm_up"]

# what is over sooner needs no words
_UNSEEN_S = 0.4
_LOOK_S = 0.15
# threads, which look things up in the book and wait: what takes the processor is done by `apart`
_MAX_WORKERS = 32
_MOST = 60
# in the state of a session: the jobs stopped in it by name, and how many waits its page has drawn
_STOPPED, _WAITS = "stopped_jobs", "waits_drawn"


class StoppedError(Exception):
    """The work was stopped; carries its `Job`."""

    def __init__(self, job):
        super().__init__(job.words)
        self.job = job


class Job:
    """One piece of work; called by that work where a stage begins.

    Attributes
    ----------
    name : tuple
        Kind and key: the same work has the same name.
    words : str
        What is being done, as a sentence without its end.
    kept : str
        What is safe already, should it be stopped now; empty when nothing is.
    may_go_on : bool
        Whether it can be taken up again after a stop; else its button is there for that.
    owner : hashable
        The session that it was begun for.
    ended : bool
        Whether the process that did its work was ended.
    """

    def __init__(self, name, words, owner=None):
        self.name, self.words, self.kept, self.may_go_on = name, words, "", True
        self.owner, self.ended, self.future = owner or self, False, None
        self._stop, self._lock, self._end = threading.Event(), threading.Lock(), None

    def __call__(self, words=None, kept=None):
        """Note the stage that begins and what is safe by now.

        StoppedError if the job was stopped: the work ends here.
        """
        self.words = words or self.words
        self.kept = self.kept if kept is None else kept
        if self.ended or self._stop.is_set():
            raise StoppedError(self)

    def stop(self):
        """End its process, or ask it to end at its next stage; a job that still waits for a worker is not begun."""
        self._stop.set()
        self.future.cancel()
        with self._lock:
            if self._end is not None:
                self.ended = True
                self._end()

    def ends_by(self, end):
        """Note what ends the process that does the work; None where it does no more of it."""
        with self._lock:
            self._end = end

    def go_on(self):
        """Take a stop back, where the work has not ended yet."""
        self._stop.clear()

    @property
    def is_over(self):
        """Whether it ended without an answer."""
        if not self.future.done():
            return False
        return self.future.cancelled() or self.future.exception() is not None

    def begin(self, workers, work):
        """Hand the work to the next free worker."""
        self.future = workers.submit(copy_context().run, self._do, work)

    def _do(self, work):
        self()
        return work(self)


class _Store:
    """Jobs and their answers, for all sessions; of each kind the oldest are forgotten first."""

    def __init__(self):
        self._lock = threading.Lock()
        self._kinds = {}
        self._workers = ThreadPoolExecutor(_MAX_WORKERS, thread_name_prefix="work")

    def job(self, name, words, work, most, owner=None):
        """The job of a name: done, running, or begun now for a session."""
        with self._lock:
            job = self._kept(name).pop(name, None)
            if job is None or job.is_over:
                job = Job(name, words, owner)
                job.begin(self._workers, work)
            self._keep(name, job, most)
        return job

    def made_once(self, name, make, most):
        """A value by its name, made where it is not kept."""
        with self._lock:
            if name in self._kept(name):
                self._kept(name).move_to_end(name)
                return self._kept(name)[name]
        made = make()
        with self._lock:
            self._keep(name, made, most)
        return made

    def _kept(self, name):
        return self._kinds.setdefault(name[0], OrderedDict())

    def _keep(self, name, one, most):
        kept = self._kept(name)
        kept[name] = one
        while len(kept) > most:
            kept.popitem(last=False)

    def stop_all(self):
        """Ask all work to end at its next stage, and forget it."""
        with self._lock:
            kinds, self._kinds = self._kinds, {}
        for kept in kinds.values():
            for one in kept.values():
                if isinstance(one, Job):
                    one.stop()


_STORE = _Store()


def done(kind, key, words, work, most=_MOST):
    """Return what `work(job)` returns: at once where it was done before, else after a wait that can be stopped.

    StoppedError if it was stopped in this session; `dyebook.screens.session.friendly_errors` shows it; DyebookError as
    the work raises it; it is tried again the next time.

    Parameters
    ----------
    kind : str
        What kind of work.
    key : hashable
        All that its answer depends on; all sessions share the answer.
    words : str
        What is being done, such as "Reading knob.jpg".
    work : callable
        Runs beside the page, so it draws nothing; calls its `Job` where a stage begins.
    most : int
        How many answers of this kind are remembered.
    """
    # always there, so that what follows keeps its place on the page whether or not there is a wait
    box = st.empty()
    name, stopped = (kind, key), st.session_state.setdefault(_STOPPED, {})
    owner = get_script_run_ctx().session_id
    if name in stopped:
        raise StoppedError(stopped[name])
    while True:
        job = _STORE.job(name, words, work, most, owner)
        job.go_on()
        _wait(job, box)
        try:
            return job.future.result()
        except (StoppedError, CancelledError):
            # stopped in another session, or too late to be taken back: here it is still wanted
            continue


def done_once(flag, is_asked, words, work):
    """Return what `work(job)` returns once its button was pressed; None before that.

    A tap elsewhere interrupts the wait, not the work; the next run of the page waits for it again. StoppedError,
    DyebookError as `done`; after that the button asks anew.

    Parameters
    ----------
    flag : str
        Names the work in this session.
    is_asked : bool
        Whether the button was pressed just now.
    words, work
        As for `done`.
    """
    if is_asked:
        st.session_state[flag] = secrets.token_hex(8)
    if flag not in st.session_state:
        return None
    try:
        answer = done(flag, st.session_state[flag], words, work, most=8)
    except StoppedError as stopped:
        stopped.job.may_go_on = False
        st.session_state.pop(flag)
        raise
    except DyebookError:
        st.session_state.pop(flag)
        raise
    st.session_state.pop(flag)
    return answer


def _wait(job, box):
    """Wait for a job; a wait that can be felt is shown in words, with a Stop."""
    wait([job.future], _UNSEEN_S)
    if job.future.done():
        return
    mark = _next_mark()
    with box.container(key=f"work_{mark}", horizontal=True, vertical_alignment="center", gap="small"):
        line = st.empty()
        st.button("Stop", key=f"stop_{mark}", icon=":material/stop:", on_click=_stop, args=(job,))
    while not job.future.done():
        line.html(f"<div class='work' role='status'>{escape(job.words)} …</div>")
        wait([job.future], _LOOK_S)
    box.empty()


def begin_page():
    """Number the waits of a page anew; first thing in every run.

    Streamlit keeps what it knows of a widget, with the job its button would stop, for each key that was ever used.
    """
    st.session_state[_WAITS] = 0


def _next_mark():
    st.session_state[_WAITS] = st.session_state.get(_WAITS, 0) + 1
    return st.session_state[_WAITS]


def _stop(job):
    job.stop()
    st.session_state[_STOPPED][job.name] = job


def show_stopped(stopped):
    """Draw what was stopped and what is kept, with the way to go on."""
    job, mark = stopped.job, _next_mark()
    with st.container(key=f"stopped_{mark}", horizontal=True, vertical_alignment="center", gap="small"):
        kept = f" {escape(job.kept)}" if job.kept else ""
        line = f"<strong>Stopped:</strong> {escape(job.words[:1].lower() + job.words[1:])}.{kept}"
        st.html(f"<div class='work' role='status'>{line} What you typed stays.</div>")
        if job.may_go_on:
            st.button("Go on", key=f"go_on_{mark}", on_click=_go_on, args=(job,))


def _go_on(job):
    st.session_state[_STOPPED].pop(job.name, None)


def made_once(kind, key, make, most=_MOST):
    """Return a value that jobs and sessions share, such as one learned bath: made where it is not kept."""
    return _STORE.made_once((kind, key), make, most)


def warm_up(*modules):
    """Import what other pages need, once and beside the page, so that turning to them takes no wait."""

    def load(job):
        warm_worker()
        for module in modules:
            job()
            import_module(module)

    _STORE.job(("warm up", modules), "Getting ready", load, 1)


def stop_all():
    """Ask all work to end at its next stage and forget it: the server closes, or a test begins."""
    _STORE.stop_all()
    end_workers()

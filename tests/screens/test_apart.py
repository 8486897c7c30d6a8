"""Work in a process of its own: the same answers and errors, ended at once, and a worker that waits for the next."""

import os
import signal
import time
from pathlib import Path

import pytest

from dyebook.errors import PhotoError
from dyebook.jobs.photo import read_options, see_photo
from dyebook.screens import apart, tasks
from tests.screens.browsing import open_context
from tests.screens.conftest import ServedApp

SAMPLE = Path(__file__).parents[2] / "samples" / "tags_one_streaked.jpg"
# issue: Stop and Ctrl+C within two seconds; a busy machine is given some more
STOP_S, PATIENCE_S = 5, 60
# the app with a photo that is never read to its end; each worker at it notes its number
_ENDLESS = """
from dyebook.screens import apart
apart._PROGRAM = '''
import os, pathlib
from dyebook.photo import measure
def look_at(*asked):
    pathlib.Path("at work").write_text(str(os.getpid()))
    while True:
        pass
measure.look_at = look_at
''' + apart._PROGRAM
from dyebook.shell.main import main
main()
"""


def whoami(progress):
    progress("Looking")
    return os.getpid()


def grow(megabytes):
    held = bytearray(megabytes * 2**20)
    held[:: 2**12] = b"1" * len(held[:: 2**12])
    return os.getpid()


def refuse(words):
    raise PhotoError(words)


def sleep_long(progress):
    progress("Asleep")
    time.sleep(600)


def die(progress):
    os.kill(os.getpid(), signal.SIGKILL)


@pytest.fixture
def workers():
    """Real processes."""
    yield tasks._Store()
    apart.end_workers()


def _job(store, key, work, *args, owner=None):
    return store.job(("apart", key), "Working", apart.apart(work, *args), 60, owner)


def test_a_worker_is_another_process_and_waits_for_the_next_work(workers):
    first = _job(workers, 1, whoami)
    pid = first.future.result(PATIENCE_S)
    assert pid != os.getpid()
    assert first.words == "Looking"
    assert _job(workers, 2, whoami).future.result(PATIENCE_S) == pid


def test_a_server_that_has_held_much_memory_has_workers_all_the_same(workers):
    held = bytearray(600 * 2**20)
    held[:: 2**12] = b"1" * len(held[:: 2**12])
    del held
    assert _job(workers, 1, whoami).future.result(PATIENCE_S) != os.getpid()


def test_a_refusal_comes_back_as_it_is_and_the_worker_stays(workers):
    pid = _job(workers, 1, whoami).future.result(PATIENCE_S)
    with pytest.raises(PhotoError, match=r"^no card in it$"):
        _job(workers, 2, refuse, "no card in it").future.result(PATIENCE_S)
    assert _job(workers, 3, whoami).future.result(PATIENCE_S) == pid


def _asleep(store, key=1, owner=None):
    job = _job(store, key, sleep_long, owner=owner)
    _wait_for_words(job, "Asleep")
    return job


def _wait_for_words(job, words):
    end = time.monotonic() + PATIENCE_S
    while job.words != words and time.monotonic() < end:
        time.sleep(0.05)
    assert job.words == words


def test_stop_ends_work_that_never_looks_up(workers):
    job = _asleep(workers)
    begun = time.monotonic()
    job.stop()
    with pytest.raises(tasks.StoppedError):
        job.future.result(STOP_S)
    assert time.monotonic() - begun < STOP_S
    assert _job(workers, 2, whoami).future.result(PATIENCE_S) != os.getpid()


def test_a_stop_taken_back_too_late_lets_the_work_begin_anew(workers):
    job = _asleep(workers)
    job.stop()
    job.go_on()
    with pytest.raises(tasks.StoppedError):
        job.future.result(STOP_S)
    assert job.is_over


def test_one_sessions_work_waits_for_none_but_its_own(workers):
    heavy = _asleep(workers, 1, owner="Tess")
    waits = _job(workers, 2, whoami, owner="Tess")
    assert _job(workers, 3, whoami, owner="Ned").future.result(PATIENCE_S)
    assert (waits.words, waits.future.done()) == ("Working", False)
    heavy.stop()
    assert waits.future.result(PATIENCE_S)


def test_no_more_is_at_work_than_the_machine_bears_and_who_came_first_goes_first(workers, monkeypatch):
    monkeypatch.setattr(apart, "_MOST_AT_WORK", 2)
    heavy = [_asleep(workers, name, owner=name) for name in ("Tess", "Ned")]
    first, second = (_job(workers, (name, 2), sleep_long, owner=name) for name in ("Ada", "Kit"))
    time.sleep(5 * apart._LOOK_S)
    assert {first.words, second.words} == {"Working"}
    heavy[0].stop()
    _wait_for_words(first, "Asleep")
    assert second.words == "Working"
    second.stop()
    with pytest.raises(tasks.StoppedError):
        second.future.result(STOP_S)
    assert second not in apart._waiting
    for job in (heavy[1], first):
        job.stop()


def test_a_worker_is_ready_before_the_next_is_wanted(workers):
    _asleep(workers, 1, owner="Tess").stop()
    spare = apart._idle[0].process
    assert _job(workers, 2, whoami, owner="Ned").future.result(PATIENCE_S) == spare.pid


def test_a_worker_that_grew_makes_room_for_one_that_has_not(workers):
    grown = _job(workers, 1, grow, 2 * apart._MOST_MB).future.result(PATIENCE_S)
    assert _job(workers, 2, whoami).future.result(PATIENCE_S) != grown


def test_all_work_ends_with_the_server(workers):
    sleeping = [_asleep(workers, key) for key in (1, 2)]
    workers.stop_all()
    apart.end_workers()
    for job in sleeping:
        with pytest.raises(tasks.StoppedError):
            job.future.result(STOP_S)
    assert not apart._idle


def test_a_worker_that_dies_is_told_and_replaced(workers):
    with pytest.raises(PhotoError, match="broke off"):
        _job(workers, 1, die).future.result(PATIENCE_S)
    assert _job(workers, 2, whoami).future.result(PATIENCE_S)


def test_a_photo_is_read_alike_there_and_here(workers):
    asked = SAMPLE, read_options(None), SAMPLE.name
    there = _job(workers, 1, see_photo, *asked).future.result(PATIENCE_S)
    here = see_photo(*asked)
    assert there.measurement.to_dict() == here.measurement.to_dict()
    assert there.overlay == here.overlay


def _worker_at_work(folder, before=None):
    """The number of the process that reads now, another than before."""
    note, end = folder / "at work", time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        if note.exists() and (number := note.read_text()) not in ("", before):
            return number
        time.sleep(0.05)
    raise AssertionError("no photo is being read")


def _is_gone(number):
    end = time.monotonic() + STOP_S
    while Path("/proc", number).exists() and time.monotonic() < end:
        time.sleep(0.05)
    return not Path("/proc", number).exists()


@pytest.mark.browser
@pytest.mark.skipif(not Path("/proc/self").exists(), reason="the system does not list its processes there")
def test_stop_and_ctrl_c_end_a_photo_that_takes_for_ever(chromium, tmp_path):
    app = ServedApp(tmp_path, tmp_path / "shop.dyebook", ("-c", _ENDLESS))
    app.start()
    page = open_context(chromium, "desk")
    page.set_default_timeout(PATIENCE_S * 1000)
    page.goto(f"{app.address}/photo")
    page.locator("input[type=file]").first.set_input_files(SAMPLE)
    first = _worker_at_work(tmp_path)
    page.get_by_role("button", name="Stop").click()
    assert _is_gone(first)
    page.get_by_text("Stopped:").wait_for()
    page.get_by_role("button", name="Go on").click()
    second = _worker_at_work(tmp_path, first)
    app.process.send_signal(signal.SIGINT)
    app.process.wait(STOP_S)
    assert _is_gone(second)
    page.context.close()

"""An archive measured again: nothing lost, nothing twice, the old readings still there."""

import json
import os
import signal
import subprocess
import sys
import time
from itertools import islice
from pathlib import Path

import numpy as np
import pytest

from dyebook.advice.judge import ERROR_PARTS
from dyebook.book.people import Who
from dyebook.book.readings import count_waiting, put_in_place, waiting_photos
from dyebook.book.setups import list_setups
from dyebook.book.store import open_book
from dyebook.errors import BookError
from dyebook.jobs import remeasure as job
from dyebook.jobs.remeasure import Task, measure_again, open_workers, remeasure
from dyebook.record import DyeRecord
from dyebook.report.camera import moved_text

RECORD = DyeRecord("Ember", film_um=12, dye_g_per_l=3, bath_temp_c=40, dwell_min=5)
FALSE_LAB = (10.0, 0.0, 0.0)
PHOTOS = 8
_METHOD = job.method_name()


@pytest.fixture(scope="module")
def outline(jpeg):
    from dyebook.photo.measure import measure

    return [list(point) for point in measure(jpeg).parts[0].outline]


@pytest.fixture
def archive(tmp_path, jpeg, outline):
    """A book of batches whose readings are all wrong, each by its own photo."""
    folder = tmp_path / "shop.dyebook"
    fill(folder, jpeg, outline, PHOTOS)
    return folder


def fill(folder, jpeg, outline, count):
    with open_book(folder) as book:
        for number in range(count):
            batch = book.add_batch(RECORD)
            # what follows the picture's end makes it another file and no other picture
            values = {"photo": jpeg + number.to_bytes(4, "big"), "outline": outline, "source": "photo", "sealed": True}
            book.add_reading(batch, lab=FALSE_LAB, card={"kind": "grey", "lab": [49.5, 0, 0]}, part_index=0, **values)


def assert_each_once(folder, count):
    """Every old reading is kept and marked, every one has exactly one successor, and the book is sound."""
    with open_book(folder) as book:
        new, old = book.rows("readings"), book.rows("readings", deleted=True)
        assert book.check() == []
    assert len(old) == len(new) == count
    assert sorted(row["measured_with"]["instead_of"] for row in new) == sorted(row["id"] for row in old)
    # 7: the drawn picture has none of the contrast that is taken back from photographs
    assert all(np.linalg.norm([row["L"] - 45, row["a"] - 10, row["b"] + 40]) < 7 for row in new)
    by_number = {row["id"]: row for row in old}
    for row in new:
        before = by_number[row["measured_with"]["instead_of"]]
        assert [before[axis] for axis in "Lab"] == list(FALSE_LAB)
        assert [row[name] for name in ("batch_id", "photo_id", "sealed")] == [
            before[name] for name in ("batch_id", "photo_id", "sealed")
        ]


@pytest.mark.usefixtures("in_here")
def test_measures_all_once_and_says_what_moved(archive):
    with open_book(archive) as book:
        seen = []
        answer = remeasure(book, progress=lambda done, total: seen.append((done, total))).to_dict()
        again = remeasure(book)
    assert seen[-1] == (PHOTOS, PHOTOS)
    assert answer["readings"] == PHOTOS == sum(answer["histogram"]["counts"])
    assert answer["histogram"]["counts"][-1] == PHOTOS
    assert "would" not in moved_text(answer)
    assert again.waiting == again.photos == 0
    assert_each_once(archive, PHOTOS)
    with open_book(archive) as book:
        rows, (use,) = book.rows("readings"), list_setups(book)
        assert all(row["error_parts"] is None for row in book.rows("readings", deleted=True))
    # readings kept before the parts of an error were told apart are given theirs, and their set-up
    assert all(set(row["error_parts"]) == set(ERROR_PARTS) for row in rows)
    assert use.readings == PHOTOS


@pytest.mark.usefixtures("in_here")
def test_a_label_makes_another_way_of_measuring_and_moves_nothing(archive):
    with open_book(archive) as book:
        remeasure(book, count=2)
        answer = remeasure(book, label="second look").to_dict()
    assert answer["waiting"] == PHOTOS
    assert answer["histogram"]["counts"][0] == 2, "the same code on the same photo reads the same"


@pytest.mark.usefixtures("in_here")
def test_a_dry_run_writes_nothing(archive):
    with open_book(archive) as book:
        before = book.rows("readings"), book.history()
        answer = remeasure(book, dry_run=True, count=3)
        assert (book.rows("readings"), book.history()) == before
    assert len(answer.delta_e00) == answer.photos == 3


@pytest.mark.usefixtures("in_here")
def test_a_stopped_run_goes_on_where_it_was(archive):
    def stop_at_three(done, _):
        if done == 3:
            raise KeyboardInterrupt

    with open_book(archive) as book:
        answer = remeasure(book, progress=stop_at_three)
        assert answer.stopped
        assert answer.photos == 3
        assert "run the same command" in moved_text(answer.to_dict())
        assert remeasure(book).photos == PHOTOS - 3
    assert_each_once(archive, PHOTOS)


@pytest.mark.usefixtures("in_here")
def test_a_lost_photo_keeps_its_reading_and_is_told(archive):
    with open_book(archive) as book:
        lost = next(waiting_photos(book, "any"))
        book.photos.path(lost.sha256).unlink()
        answer = remeasure(book)
        standing = [row for row in book.rows("readings") if row["photo_id"] == lost.photo_id]
    assert len(answer.troubles) == 1
    assert "missing" in answer.troubles[0][1]
    assert [row["L"] for row in standing] == [FALSE_LAB[0]]


def test_only_an_owner_may_change_the_whole_archive(archive):
    with open_book(archive) as book, pytest.raises(BookError, match="owner"):
        remeasure(book.seen_by(Who("Bo", "maker")))


def test_two_runs_at_once_take_over_once(archive):
    with open_book(archive) as one, open_book(archive) as other:
        waiting = next(waiting_photos(one, "x"))
        fresh = measure_again(Task(str(one.photos), waiting)).readings
        assert put_in_place(one, "x", fresh) == [waiting.readings[0]["id"]]
        assert put_in_place(other, "x", fresh) == []
        assert count_waiting(one, "x") == PHOTOS - 1


@pytest.mark.parametrize("address", ["tcp://10.0.0.4:8786", "10.0.0.4:8786", "ws://127.0.0.1:8786", "tcp://shop:8786"])
def test_plain_schedulers_off_this_machine_are_refused(address):
    with pytest.raises(BookError, match="tls://"), open_workers(scheduler=address):
        pass


def test_a_tls_scheduler_needs_certificates(tmp_path):
    (tmp_path / "ca.pem").touch()
    with pytest.raises(BookError, match=r"cert\.pem is missing"), open_workers(None, "tls://10.0.0.4:8786", tmp_path):
        pass


def test_the_command_measures_with_processes(archive):
    asked = [sys.executable, "-m", "dyebook", "remeasure", "--workers", "1", "--count", "2", "--book", str(archive)]
    done = subprocess.run(
        [*asked, "--json"], capture_output=True, text=True, timeout=120, cwd=Path(__file__).parents[2]
    )
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["readings"] == 2


def _heed_ctrl_c():
    """A test that was started in the background ignores Ctrl-C, and so would what it starts."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@pytest.mark.skipif(os.name != "posix", reason="a process group is stopped from a terminal on POSIX only")
@pytest.mark.parametrize("done_first", [0, 2], ids=["at once", "half-way"])
def test_ctrl_c_stops_the_command_and_the_next_run_goes_on(archive, done_first):
    asked = [sys.executable, "-m", "dyebook", "remeasure", "--workers", "2", "--book", str(archive), "--json"]
    streams = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    own = {"cwd": Path(__file__).parents[2], "start_new_session": True, "preexec_fn": _heed_ctrl_c}
    with subprocess.Popen(asked, **own, **streams) as command:
        with open_book(archive) as book:
            _wait_for(lambda: _has_workers(command.pid) and PHOTOS - count_waiting(book, _METHOD) >= done_first)
        os.killpg(command.pid, signal.SIGINT)  # a terminal stops the workers too
        try:
            out, errors = command.communicate(timeout=60)
        finally:
            if command.poll() is None:
                os.killpg(command.pid, signal.SIGKILL)
    answer = json.loads(out)
    assert command.returncode == 1
    assert answer["stopped"]
    assert "Traceback" not in errors
    with open_book(archive) as book:
        waiting = count_waiting(book, _METHOD)
        # it may be stopped between keeping one and counting it
        assert PHOTOS - waiting - answer["photos"] in (0, 1)
        assert remeasure(book, processes=1).photos == waiting
    assert_each_once(archive, PHOTOS)


def _has_workers(pid):
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    # the first is the one that cleans up after the others
    return len(children) >= 3


@pytest.fixture
def certificates(tmp_path):
    """Folders of certificates by an authority of this test: the cluster's own, and those of a stranger."""
    trustme = pytest.importorskip("trustme", reason="the library that makes certificates is not installed")
    folders = {}
    for name in ("own", "strange"):
        folder, authority = tmp_path / name, trustme.CA()
        folder.mkdir()
        issued = authority.issue_cert("127.0.0.1")
        authority.cert_pem.write_to_path(str(folder / "ca.pem"))
        issued.cert_chain_pems[0].write_to_path(str(folder / "cert.pem"))
        issued.private_key_pem.write_to_path(str(folder / "key.pem"))
        folders[name] = folder
    return folders


@pytest.fixture
def cluster(tmp_path, certificates):
    """A Dask scheduler and two workers behind TLS, each its own process, on this machine only."""
    pytest.importorskip("distributed", reason="Dask is not installed")
    answer, environment = tmp_path / "scheduler.json", {**os.environ, "OMP_NUM_THREADS": "1"}
    environment |= {"PYTHONPATH": str(Path(__file__).parents[2]), "DASK_DISTRIBUTED__DASHBOARD__LINK": ""}
    own, started = certificates["own"], []

    def start(*words):
        keys = ("--tls-ca-file", own / "ca.pem", "--tls-cert", own / "cert.pem", "--tls-key", own / "key.pem")
        here = ("--protocol", "tls", "--host", "127.0.0.1", "--no-dashboard", "--scheduler-file", answer)
        command = [sys.executable, "-m", "distributed.cli." + words[0], *map(str, (*words[1:], *here, *keys))]
        process = subprocess.Popen(command, env=environment, cwd=tmp_path, stderr=subprocess.DEVNULL)
        started.append(process)
        return process

    start("dask_scheduler", "--port", "0")
    _wait_for(answer.exists)
    worker = ("dask_worker", "--nthreads", "1", "--no-nanny", "--local-directory", tmp_path)
    workers = [start(*worker) for _ in range(2)]
    try:
        yield json.loads(answer.read_text())["address"], workers
    finally:
        for process in started:
            process.kill()
            process.wait()


def _wait_for(ready, patience_s=60):
    deadline = time.monotonic() + patience_s
    while not ready():
        assert time.monotonic() < deadline, "not ready in time"
        time.sleep(0.05)


def test_a_worker_killed_half_way_loses_nothing_and_doubles_nothing(cluster, certificates, archive):
    address, workers = cluster
    assert address.startswith("tls://127.0.0.1:")

    def kill_one(done, _):
        if done == PHOTOS // 3:
            os.kill(workers[0].pid, signal.SIGKILL)

    _wait_for(lambda: _workers_at(address, certificates["own"]) == 2)
    with open_book(archive) as book:
        answer = remeasure(book, scheduler=address, certificates=certificates["own"], progress=kill_one)
    workers[0].wait(10)
    assert answer.photos == PHOTOS
    assert answer.troubles == []
    assert_each_once(archive, PHOTOS)


def _workers_at(address, folder):
    with open_workers(scheduler=address, certificates=folder) as (_, size):
        return size


def test_a_scheduler_is_closed_to_certificates_of_strangers_and_to_none(cluster, certificates, monkeypatch):
    address, _ = cluster
    monkeypatch.setattr("dyebook.jobs.remeasure._PATIENCE_S", 3)
    strange, plain = certificates["strange"], address.replace("tls://", "tcp://")
    for asked in ({"scheduler": address, "certificates": strange}, {"scheduler": plain}):
        with pytest.raises(BookError, match="no scheduler answers"), open_workers(**asked):
            pass


def test_tasks_are_drawn_only_as_workers_come_free():
    from concurrent.futures import ThreadPoolExecutor

    from dyebook.jobs.remeasure import as_done

    drawn = []

    def tasks():
        for number in range(100):
            drawn.append(number)
            yield number

    with ThreadPoolExecutor(1) as pool:
        results = as_done(pool, 1, abs, tasks())
        assert len(list(islice(results, 3))) == 3
        results.close()
    assert len(drawn) <= 12

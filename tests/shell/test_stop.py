"""Ctrl+C ends a command in the middle of heavy work: within seconds, without a traceback, nothing half kept."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import cv2
import pytest

from dyebook.book.store import open_book
from tests.bench.textures import texture

ROOT = Path(__file__).parents[2]
# seconds of processor time, which other work on the machine does not lengthen: to the end, and before the stop
STOP_S, BEGUN_S, PATIENCE_S = 2, 1.5, 120
ROWS = 20_000


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A photo of tiles in many colours, the texture that takes longest, and a long table of dips."""
    folder = tmp_path_factory.mktemp("heavy")
    cv2.imwrite(str(folder / "tiles.jpg"), texture("tiles-60", 4000, 3000))
    rows = (f"Ember,E1,12,3,50,{1 + row % 900 / 100},40,10,-30,row {row}" for row in range(ROWS))
    head = "dye,bath,film_um,dye_g_per_l,bath_temp_c,dwell_min,L,a,b,note"
    (folder / "dips.csv").write_text("\n".join([head, *rows]), encoding="utf-8")
    return folder


def _heed_ctrl_c():
    """A test that was started in the background ignores Ctrl+C, and so would what it starts."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def _worked_s(pid):
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _children_s():
    return sum(os.times()[2:4])


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="the system does not say how long a process worked")
@pytest.mark.parametrize("asked", [("measure", "tiles.jpg"), ("import", "dips.csv")], ids=lambda asked: asked[0])
def test_ctrl_c_ends_heavy_work_at_once(folder, tmp_path, asked):
    book, before_s = tmp_path / "shop.dyebook", _children_s()
    open_book(book).close()
    own = {"cwd": folder, "env": {**os.environ, "PYTHONPATH": str(ROOT)}, "preexec_fn": _heed_ctrl_c}
    streams = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    with subprocess.Popen([sys.executable, "-m", "dyebook", *asked, "--book", str(book)], **own, **streams) as command:
        end = time.monotonic() + PATIENCE_S
        while _worked_s(command.pid) < BEGUN_S and time.monotonic() < end:
            assert command.poll() is None, "it was done before it was stopped"
            time.sleep(0.02)
        command.send_signal(signal.SIGINT)
        worked_s = _worked_s(command.pid)
        _, errors = command.communicate(timeout=PATIENCE_S)
    assert _children_s() - before_s - worked_s < STOP_S
    # as typer ends it, or Python
    assert command.returncode in (130, -signal.SIGINT)
    assert "Traceback" not in errors
    with open_book(book) as again:
        assert not again.batches()

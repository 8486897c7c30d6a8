"""A PostgreSQL server of a test's own, to be stopped and started as it likes."""

import contextlib
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

import pytest

from tests.screens.ports import free_port

__all__ = ["OwnServer", "started_server"]


class OwnServer:
    """A server on this machine only, in a folder that goes with it."""

    def __init__(self, programs):
        self.programs, self.port = programs, free_port("127.0.0.1")
        # the server refuses to run as root, and root's own folder for what is temporary may be closed to others
        self.user = {"user": "postgres", "group": "postgres"} if os.geteuid() == 0 else {}
        self.folder = Path(tempfile.mkdtemp(prefix="server-", dir="/tmp" if self.user else None))
        if self.user:
            shutil.chown(self.folder, "postgres", "postgres")
        self._run("initdb", "-D", "data", "-U", "dyebook", "-A", "trust", "-E", "UTF8")
        self.url = f"postgresql://dyebook@127.0.0.1:{self.port}/postgres?connect_timeout=5"

    def _run(self, program, *words):
        streams = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "stdin": subprocess.DEVNULL}
        command = [str(self.programs / program), *words]
        own = {**os.environ, "LC_ALL": "C"}
        subprocess.run(command, cwd=self.folder, check=True, timeout=60, env=own, **self.user, **streams)

    def start(self):
        """Start it, and wait until it answers."""
        options = f"-p {self.port} -k {self.folder} -c listen_addresses=127.0.0.1"
        self._run("pg_ctl", "-D", "data", "-w", "-o", options, "-l", "log", "start")

    def stop(self, mode="fast"):
        """Stop it: ``fast`` ends its connections in order, ``immediate`` is as good as a crash."""
        self._run("pg_ctl", "-D", "data", "-w", "-m", mode, "stop")


def started_server():
    """Yield a running `OwnServer`; skips where no server, or no driver, is installed."""
    pytest.importorskip("psycopg", reason="the driver of the postgres extra is not installed")
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    path = found[-1] if found else shutil.which("initdb")
    if path is None:
        pytest.skip("no PostgreSQL server is installed")
    server = OwnServer(Path(path).parent)
    server.start()
    try:
        yield server
    finally:
        # a test may have left it stopped
        with contextlib.suppress(subprocess.CalledProcessError):
            server.stop("immediate")
        shutil.rmtree(server.folder)

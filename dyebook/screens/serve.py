"""Start Streamlit on this machine with the settings the screens are made for."""

import os
import socket
import sys
import threading
import time
import tomllib
import webbrowser
from pathlib import Path

from dyebook.errors import DyebookError

__all__ = ["SETTINGS_FILE", "free_port", "has_display", "serve", "streamlit_options"]

SETTINGS_FILE = Path(__file__).parent / "web" / "streamlit.toml"
HOST = "127.0.0.1"
FIRST_PORT = 8640
_PATIENCE_S = 60


def serve(port=None, browser=True):
    """Serve the screens until they are stopped.

    Parameters
    ----------
    port : int, optional
        The first free one from 8640 on if left out.
    browser : bool
        Open the page once it answers, where there is a display.

    Raises
    ------
    DyebookError
        If the port is taken.
    """
    port = free_port(port)
    address = f"http://{HOST}:{port}"
    print(f"dyebook is open at {address} – stop it with Ctrl+C", file=sys.stderr)
    if browser and has_display():
        threading.Thread(target=_show_when_ready, args=(port, address), daemon=True).start()
    from streamlit.web.cli import main

    main(["run", str(Path(__file__).with_name("main.py")), *streamlit_options(port)])


def streamlit_options(port):
    """Return the command-line options that carry `SETTINGS_FILE`, whatever folder the command is given in."""
    settings = tomllib.loads(SETTINGS_FILE.read_text(encoding="utf-8"))
    settings["server"]["port"] = port
    return [piece for name, value in _flat(settings) for piece in (f"--{name}", value)]


def _flat(settings, above=""):
    """Names with dots, and values as the command line takes them, of settings in sections."""
    for name, value in settings.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{above}{name}.")
        else:
            yield f"{above}{name}", str(value).lower() if isinstance(value, bool) else str(value)


def free_port(port=None):
    """Return `port`, or the first free one from 8640 on; DyebookError when there is none."""
    for candidate in [port] if port else range(FIRST_PORT, FIRST_PORT + 40):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, int(os.name == "posix"))
            try:
                probe.bind((HOST, candidate))
            except OSError:
                continue
            return candidate
    wanted = f"port {port} is" if port else f"ports {FIRST_PORT} to {FIRST_PORT + 39} are"
    raise DyebookError(f"{wanted} taken by other programs; give a free one with --port")


def has_display():
    """Whether a browser window could be shown on this machine."""
    if os.environ.get("SSH_CONNECTION"):
        return False
    return sys.platform in ("win32", "darwin") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def _show_when_ready(port, address):
    """Open the browser as soon as somebody listens."""
    end = time.monotonic() + _PATIENCE_S
    while time.monotonic() < end:
        with socket.socket() as probe:
            if probe.connect_ex((HOST, port)) == 0:
                webbrowser.open(address)
                return
        time.sleep(0.2)

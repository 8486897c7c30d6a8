"""Listen at doors and serve an app behind the gate; the app itself is handed over."""

import contextlib
import os
import socket
import sys
import threading
import time
import webbrowser
from collections.abc import Callable
from dataclasses import dataclass

import uvicorn

from dyebook.errors import DyebookError
from dyebook.server.gate import Gate
from dyebook.server.network import host_and_port

__all__ = ["FIRST_PORT", "HOST", "Served", "free_port", "has_display", "open_doors"]

HOST = "127.0.0.1"
FIRST_PORT = 8640
_START_S = 60
_GRACE_S = 3


@dataclass(frozen=True)
class Served:
    """An app as the server takes it."""

    # takes port, host names and sign-in secrets; gives the ASGI app and the largest message it reads, in bytes
    make: Callable
    stop: Callable  # ends the app's own work, called once everything is closed


def open_doors(served: Served, doors, port: int, show=None, pairing=None, secrets=None, **server):
    """Listen at the doors until stopped.

    Parameters
    ----------
    port : int
        The same for all of them.
    show : str, optional
        Address to open in the browser of this machine, where there is a display.
    pairing : dyebook.server.pairing.Pairing, optional
        Whom the phone's door lets in.
    secrets : dict, optional
        For sign-in, as the app takes them.
    **server
        Further settings of `uvicorn.Config`, such as its certificate.
    """
    if show and has_display():
        threading.Thread(target=_show_when_ready, args=(port, show), daemon=True).start()
    sockets = [_listening(door.address, port) for door in doors]
    # a signal that ends the server arrives once more when it has closed everything
    with contextlib.suppress(KeyboardInterrupt):
        _server(served, doors, port, pairing, secrets, server).run(sockets)
    served.stop()


def _server(served, doors, port, pairing, secrets, server):
    """The server of the app behind the gate."""
    hosts = sorted({_bare(host) for door in doors for host in door.hosts})
    app, message_bytes = served.make(port, hosts, secrets)
    config = uvicorn.Config(
        Gate(app, doors, pairing),
        # a forwarding header that a visitor writes must not pass for another client
        proxy_headers=False,
        server_header=False,
        access_log=False,
        log_level="warning",
        ws_max_size=message_bytes,
        timeout_graceful_shutdown=_GRACE_S,
        **server,
    )
    return uvicorn.Server(config)


def _bare(host):
    """A host without its port and brackets."""
    return host.rsplit(":", 1)[0].strip("[]")


def free_port(port: int | None = None, addresses=(HOST,)) -> int:
    """Return `port`, or the first one from 8640 on, free at all the addresses.

    DyebookError when there is none, or an address is not this machine's.
    """
    for address in addresses:
        _listening(address, 0).close()  # an address of another machine is no matter of ports
    for candidate in [port] if port else range(FIRST_PORT, FIRST_PORT + 40):
        try:
            for address in addresses:
                _listening(address, candidate).close()
        except DyebookError:
            continue
        return candidate
    wanted = f"port {port} is" if port else f"ports {FIRST_PORT} to {FIRST_PORT + 39} are"
    raise DyebookError(f"{wanted} taken by other programs; give a free one with --port")


def _listening(address, port):
    """A socket that listens at one address and no other."""
    door = socket.socket(socket.AF_INET6 if ":" in address else socket.AF_INET)
    try:
        door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, int(os.name == "posix"))
        door.bind((address, port))
        door.listen(128)
    except OSError as error:
        door.close()
        raise DyebookError(
            f"{host_and_port(address, port) if port else address} cannot be listened at ({error.strerror}); "
            "see that it is an address of this machine and the port is free"
        ) from None
    return door


def has_display() -> bool:
    """Whether a browser window could be shown on this machine."""
    if os.environ.get("SSH_CONNECTION"):
        return False
    return sys.platform in ("win32", "darwin") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def _show_when_ready(port, address):
    """Open the browser as soon as the app answers."""
    end = time.monotonic() + _START_S
    while time.monotonic() < end:
        with socket.socket() as probe:
            if probe.connect_ex((HOST, port)) == 0:
                webbrowser.open(address)
                return
        time.sleep(0.2)

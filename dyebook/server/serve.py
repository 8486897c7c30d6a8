"""Listen at doors and serve an app behind the gate; which address of this machine a phone in the shop may reach."""

import contextlib
import os
import socket
import sys
import threading
import time
import webbrowser
from collections.abc import Callable
from dataclasses import dataclass
from ipaddress import ip_address, ip_network
from urllib.parse import urlsplit

import uvicorn

from dyebook.errors import DyebookError
from dyebook.server.gate import Gate

__all__ = [
    "FIRST_PORT", "HOST", "Served", "choose_private", "free_port", "has_display", "host_and_port", "is_private",
    "open_doors", "own_ips", "phone_base",
]  # fmt: skip

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


def open_doors(served: Served, doors, port: int, show: str | None = None, pairing=None, secrets=None, **server):
    """Listen at the doors, all on one port, until stopped.

    `show` is an address to open in the browser of this machine, where there is a display; `pairing` says whom the
    phone's door lets in, `secrets` are for sign-in, as the app takes them. `server` are further settings of
    `uvicorn.Config`, such as its certificate.
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


# RFC 1918, RFC 4193 and link-local (RFC 3927): what a router of the shop gives out and no router outside passes on.
# `ipaddress.is_private` also counts loopback, documentation and benchmark ranges.
_PRIVATE = tuple(
    ip_network(text) for text in ("192.168.0.0/16", "10.0.0.0/8", "172.16.0.0/12", "fc00::/7", "169.254.0.0/16")
)
# routing to it is looked up, nothing is sent: RFC 5737 keeps it for documentation
_NOWHERE = ("192.0.2.1", 9)
_HERE = ("localhost", "127.0.0.1", "::1")


def is_private(address: str) -> bool:
    """Whether a text is an IP address that only the shop's own network reaches."""
    return _rank(address) is not None


def _rank(address):
    """The place in `_PRIVATE` of the network an address lies in; None for any other address or text."""
    try:
        found = ip_address(address)
    except ValueError:
        return None
    return next((place for place, network in enumerate(_PRIVATE) if found in network), None)


def choose_private(addresses, wanted: str | None = None) -> str:
    """Return the private address to serve on: the one `wanted`, else the best of this machine's `addresses`."""
    if wanted is not None:
        if not is_private(wanted):
            raise DyebookError(
                f"{wanted or 'nothing'} is no private address that a browser can open; phones are served only within "
                "the shop's own network (192.168…, 10…, 172.16 to 172.31…, fd…); give such an address of this machine "
                "with --at"
            )
        return str(ip_address(wanted))
    private = [address for address in dict.fromkeys(addresses) if is_private(address)]
    if not private:
        raise DyebookError(
            "this machine has no private network address that could be found; join the shop's network, "
            "or give the address with --at"
        )
    return min(private, key=_rank)


def own_ips() -> list:
    """Return the IP addresses of this machine, the one that leads out first; nothing is sent."""
    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, contextlib.suppress(OSError):
        probe.connect(_NOWHERE)
        found.append(probe.getsockname()[0])
    with contextlib.suppress(OSError):
        found += [info[4][0] for info in socket.getaddrinfo(socket.gethostname(), None)]
    return found


def host_and_port(host: str, port: int) -> str:
    """Return a host and port as a browser writes them, IPv6 in brackets."""
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"


def phone_base(kept: str | None, address: str, port: int) -> str:
    """Return the address that phones open: the one kept in the book where it can be this app, else the IP address."""
    try:
        parts = urlsplit((kept or "").strip())
        usable = parts.scheme == "http" and parts.hostname and parts.hostname not in _HERE and parts.port == port
    except ValueError:
        usable = False
    if usable and (_is_name(parts.hostname) or parts.hostname == address):
        return f"http://{host_and_port(parts.hostname, port)}"
    return f"http://{host_and_port(address, port)}"


def _is_name(host):
    try:
        ip_address(host)
    except ValueError:
        return True
    return False

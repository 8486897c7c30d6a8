"""Which address of this machine a phone in the shop may reach, and the words for an address in a link."""

import socket
from ipaddress import ip_address, ip_network
from urllib.parse import urlsplit

from dyebook.errors import DyebookError

__all__ = ["choose_private", "host_and_port", "is_private", "own_addresses", "phone_base"]

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


def own_addresses() -> list:
    """Return the IP addresses of this machine, the one that leads out first; nothing is sent."""
    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(_NOWHERE)
            found.append(probe.getsockname()[0])
        except OSError:
            found = []
    try:
        found += [info[4][0] for info in socket.getaddrinfo(socket.gethostname(), None)]
    except OSError:
        return found
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

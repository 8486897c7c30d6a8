"""The door for several people: refused until sign-in and TLS are set up, and then open to those on the book's list."""

import secrets
import sys
from dataclasses import dataclass
from importlib.util import find_spec
from ipaddress import ip_address
from pathlib import Path
from urllib.parse import urlsplit

from dyebook.errors import DyebookError
from dyebook.screens.network import choose_private, own_addresses
from dyebook.screens.serve import free_port, open_doors

__all__ = ["NEEDED", "Sharing", "is_loopback", "plan_sharing", "serve_shared"]

# secrets stand in the environment alone: never in the book, its backups, or a command line that others can list
NEEDED = {
    "DYEBOOK_SHARE_ADDRESS": "the address people open, such as https://book.shop.example:8640",
    "DYEBOOK_SIGN_IN_URL": "the sign-in service's OpenID Connect configuration, https://…/openid-configuration",
    "DYEBOOK_SIGN_IN_ID": "the client's name at that service",
    "DYEBOOK_SIGN_IN_SECRET": "the client's secret at that service",
}
_CERTIFICATE = {
    "DYEBOOK_SHARE_CERTIFICATE": "a TLS certificate file for that address",
    "DYEBOOK_SHARE_KEY": "the key file of that certificate",
}
_COOKIE_SECRET = "DYEBOOK_COOKIE_SECRET"  # noqa: S105 - the name of a variable
_SHORTEST_SECRET = 32


@dataclass(frozen=True)
class Sharing:
    """What it takes to share: where to listen, what browsers call it, sign-in and certificate."""

    listen: str
    origin: str
    secrets: dict
    tls: dict


def is_loopback(host):
    """Whether a host is this machine alone."""
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def plan_sharing(environment, listen, people, has_library=True):
    """Return how to share, once everything it takes is set up.

    Parameters
    ----------
    environment : mapping of str to str
    listen : str
        IP address to listen on; on loopback a TLS proxy of this machine may stand before it.
    people : dict
        Role by e-mail address.
    has_library : bool
        Whether the libraries for sign-in are installed.

    Returns
    -------
    Sharing

    Raises
    ------
    DyebookError
        Naming everything that is missing.
    """
    needed = NEEDED if is_loopback(listen) else {**NEEDED, **_CERTIFICATE}
    missing = [f"{name} ({what})" for name, what in needed.items() if not environment.get(name, "").strip()]
    if not has_library:
        missing.append("the libraries for sign-in (pip install 'dyebook[share]')")
    if "owner" not in people.values():
        missing.append("an owner among the book's people (dyebook people set you@shop.example owner)")
    if missing:
        raise DyebookError(f"sharing needs sign-in, and this is not set up: {'; '.join(missing)}")
    told = {name: environment[name].strip() for name in needed}
    origin = _origin(told["DYEBOOK_SHARE_ADDRESS"], "DYEBOOK_SHARE_ADDRESS")
    _origin(told["DYEBOOK_SIGN_IN_URL"], "DYEBOOK_SIGN_IN_URL")
    tls = {}
    if not is_loopback(listen):
        if not origin.startswith("https:"):
            raise DyebookError(f"people would sign in at {origin} without TLS; give an https address")
        files = {"ssl_certfile": "DYEBOOK_SHARE_CERTIFICATE", "ssl_keyfile": "DYEBOOK_SHARE_KEY"}
        tls = {option: _existing(told[name], name) for option, name in files.items()}
    return Sharing(listen, origin, {"auth": _sign_in(told, origin, environment)}, tls)


def _sign_in(told, origin, environment):
    """The section of Streamlit's secrets that sign-in takes."""
    cookie_secret = environment.get(_COOKIE_SECRET) or secrets.token_urlsafe(_SHORTEST_SECRET)
    if len(cookie_secret) < _SHORTEST_SECRET:
        raise DyebookError(
            f"{_COOKIE_SECRET} has {len(cookie_secret)} letters and needs {_SHORTEST_SECRET} random ones; without it "
            "people sign in again after a restart"
        )
    return {
        "redirect_uri": f"{origin}/oauth2callback",
        "cookie_secret": cookie_secret,
        "client_id": told["DYEBOOK_SIGN_IN_ID"],
        "client_secret": told["DYEBOOK_SIGN_IN_SECRET"],
        "server_metadata_url": told["DYEBOOK_SIGN_IN_URL"],
    }


def _origin(address, name):
    """Scheme, host and port of an address, as browsers write an origin; plain http only for this machine itself."""
    try:
        parts = urlsplit(address)
        host, port = parts.hostname or "", parts.port
    except ValueError:
        host, port = "", None
    if not host or parts.scheme not in ("https", "http") or (parts.scheme == "http" and not is_loopback(host)):
        raise DyebookError(f"{name} is {address!r}; it must be an https address")
    usual = {"https": 443, "http": 80}[parts.scheme]
    bare = f"[{host}]" if ":" in host else host
    return f"{parts.scheme}://{bare}" + (f":{port}" if port not in (None, usual) else "")


def _existing(path, name):
    if not Path(path).is_file():
        raise DyebookError(f"{name} names {path}, and there is no such file")
    return path


def serve_shared(environment, port=None, at=None):
    """Serve the screens to the people of the book until stopped.

    Parameters
    ----------
    environment : mapping of str to str
        What `plan_sharing` reads.
    port : int, optional
        The first free one from 8640 on if left out.
    at : str, optional
        A private address of this machine, found if left out; or one of loopback, behind a TLS proxy.

    Raises
    ------
    DyebookError
        If something of the set-up is missing; nothing is served then.
    """
    from dyebook.book.people import people_of
    from dyebook.book.store import open_book
    from dyebook.screens.gate import Door

    # told before the network is looked at: sign-in comes first
    listen = at if at and is_loopback(at) else choose_private(own_addresses() if at is None else (), at)
    with open_book() as book:
        people = people_of(book)
    plan = plan_sharing(environment, listen, people, bool(find_spec("authlib") and find_spec("httpx")))
    port = free_port(port, (listen,))
    print(f"dyebook is shared at {plan.origin} with {len(people)} people – stop it with Ctrl+C", file=sys.stderr)
    open_doors([Door("shared", listen, (plan.origin,))], port, secrets=plan.secrets, **plan.tls)

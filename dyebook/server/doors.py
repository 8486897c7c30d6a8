"""The three doors: the desk's on this machine, the phone's in the shop's network, the shared one for several people.

Each `serve_…` prints its address in the terminal and serves until stopped. The phone's door also shows how a phone is
paired. The shared door stays shut until sign-in and TLS are set up, and is then open to the people on the book's list.
"""

import secrets
import sys
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.util import find_spec
from ipaddress import ip_address
from pathlib import Path
from urllib.parse import urlsplit

import segno

from dyebook.errors import DyebookError
from dyebook.server.gate import Door
from dyebook.server.pairing import LINK_LASTS_S, Pairing, share_pairing
from dyebook.server.serve import HOST, Served, choose_private, free_port, host_and_port, open_doors, own_ips, phone_base

__all__ = [
    "NEEDED", "Sharing", "is_loopback", "open_phone_door", "plan_sharing", "remembered_base", "serve_desk",
    "serve_phone", "serve_shared",
]  # fmt: skip


def serve_desk(served: Served, port: int | None = None, browser: bool = True):
    """Serve an app to this machine, and with `browser` open its page where there is a display."""
    port = free_port(port)
    address = f"http://{HOST}:{port}"
    print(f"dyebook is open at {address} – stop it with Ctrl+C", file=sys.stderr)
    open_doors(served, [_desk_door(port)], port, browser and address)


def _desk_door(port):
    return Door("desk", HOST, (f"http://{HOST}:{port}", f"http://localhost:{port}"))


def serve_phone(served: Served, book, port: int | None = None, browser: bool = True, at: str | None = None):
    """Serve an app to this machine, and to phones in the shop's network that were paired.

    `book` (object): keeps the address that printed codes name, by `setting` and `set_setting`. `at`: the private
    address to serve on; found if left out.
    """
    address = choose_private(own_ips() if at is None else (), at)
    port = free_port(port, (HOST, address))
    base = remembered_base(book, address, port)
    open_phone_door(served, address, port, base, browser)


def remembered_base(book, address: str, port: int) -> str:
    """Return the address phones open; a book that had none keeps it, so that printed codes open their batch."""
    kept = book.setting("address")
    base = phone_base(kept, address, port)
    if not kept:
        book.set_setting("address", base)
        print(f"codes on cards and labels open their batch at {base} from now on", file=sys.stderr)
    elif kept.rstrip("/") != base:
        print(
            f"codes on cards and labels open {kept}, phones find the app at {base}: set that under Settings, "
            "or serve on the port that the cards name with --port",
            file=sys.stderr,
        )
    return base


def open_phone_door(served: Served, address: str, port: int, base: str, browser: bool = False):
    """Listen at the desk's and the phone's door until stopped.

    `address`: IP address of the phone's door. `base`: address that phones open; its name is the only one, beside the IP
    address, that the door answers to.
    """
    origins = tuple(dict.fromkeys((base, f"http://{host_and_port(address, port)}")))
    pairing = Pairing(base)
    share_pairing(pairing)
    desk = f"http://{HOST}:{port}"
    print(f"dyebook is open at {desk} on this machine – stop it with Ctrl+C", file=sys.stderr)
    _show_link(pairing)
    if sys.stdin is not None and sys.stdin.isatty():
        threading.Thread(target=_show_links_on_enter, args=(pairing,), daemon=True).start()
    doors = [_desk_door(port), Door("phone", address, origins)]
    open_doors(served, doors, port, browser and desk, pairing)


def _show_link(pairing):
    """Print a fresh pairing link, at a terminal also as a code for a phone's camera."""
    out = sys.stderr
    link = pairing.fresh_link()
    print(f"a phone comes in once by this link, within {LINK_LASTS_S // 60} minutes:", file=out)
    if out.isatty():
        segno.make(link, error="m", micro=False).terminal(out=out, compact=True)
    print(f"{link}\nfor another phone press Enter here, or Phone on the desk's page", file=out, flush=True)


def _show_links_on_enter(pairing):
    for _ in sys.stdin:
        _show_link(pairing)


# secrets are read from the environment alone: never in the book, its backups, or a command line that others can list
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


def is_loopback(host: str) -> bool:
    """Whether a host is this machine alone."""
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def plan_sharing(environment: Mapping, listen: str, people: dict, has_library: bool = True) -> Sharing:
    """Return how to share, once everything it takes is set up; DyebookError naming everything that is missing.

    `listen` is the IP address; on loopback a TLS proxy of this machine may stand before it. `people` are roles by
    e-mail address; `has_library` says whether the libraries for sign-in are installed.
    """
    needed = NEEDED if is_loopback(listen) else {**NEEDED, **_CERTIFICATE}
    missing = [f"{name} ({what})" for name, what in needed.items() if not environment.get(name, "").strip()]
    if not has_library:
        missing.append("the libraries for sign-in (pip install 'dyebook[share]')")
    if "owner" not in people.values():
        missing.append("an owner among the book's people (dyebook people set you@shop.example owner)")
    if missing:
        raise DyebookError(f"sharing needs sign-in, and this is not set up: {'; '.join(missing)}")
    given = {name: environment[name].strip() for name in needed}
    origin = _origin(given["DYEBOOK_SHARE_ADDRESS"], "DYEBOOK_SHARE_ADDRESS")
    _origin(given["DYEBOOK_SIGN_IN_URL"], "DYEBOOK_SIGN_IN_URL")
    tls = {}
    if not is_loopback(listen):
        if not origin.startswith("https:"):
            raise DyebookError(f"people would sign in at {origin} without TLS; give an https address")
        files = {"ssl_certfile": "DYEBOOK_SHARE_CERTIFICATE", "ssl_keyfile": "DYEBOOK_SHARE_KEY"}
        tls = {option: _existing(given[name], name) for option, name in files.items()}
    return Sharing(listen, origin, {"auth": _sign_in(given, origin, environment)}, tls)


def _sign_in(given, origin, environment):
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
        "client_id": given["DYEBOOK_SIGN_IN_ID"],
        "client_secret": given["DYEBOOK_SIGN_IN_SECRET"],
        "server_metadata_url": given["DYEBOOK_SIGN_IN_URL"],
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


def serve_shared(served: Served, people: dict, environment: Mapping, port: int | None = None, at: str | None = None):
    """Serve an app to the people of a book until stopped; `plan_sharing` reads the environment.

    `people`: role by e-mail address. `at`: a private address of this machine, found if left out; or one of loopback,
    behind a TLS proxy. DyebookError if something of the set-up is missing; nothing is served then.
    """
    listen = at if at and is_loopback(at) else choose_private(own_ips() if at is None else (), at)
    plan = plan_sharing(environment, listen, people, bool(find_spec("authlib") and find_spec("httpx")))
    port = free_port(port, (listen,))
    print(f"dyebook is shared at {plan.origin} with {len(people)} people – stop it with Ctrl+C", file=sys.stderr)
    open_doors(served, [Door("shared", listen, (plan.origin,))], port, secrets=plan.secrets, **plan.tls)

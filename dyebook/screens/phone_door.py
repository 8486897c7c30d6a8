"""The phone's door: opening it, and telling in the terminal how a phone comes in."""

import sys
import threading

from dyebook.screens.network import choose_private, host_and_port, own_addresses, phone_base
from dyebook.screens.pairing import LINK_LASTS_S, Pairing, share_pairing
from dyebook.screens.serve import HOST, desk_door, free_port, open_doors

__all__ = ["open_phone_door", "remembered_base", "serve_phone"]


def serve_phone(port=None, browser=True, at=None):
    """Serve the screens to this machine, and to phones in the shop's network that were paired.

    Parameters
    ----------
    port : int, optional
        The first free one from 8640 on if left out.
    browser : bool
        Open the page on this machine, where there is a display.
    at : str, optional
        The private address to serve on; found if left out.

    Raises
    ------
    DyebookError
        If there is no private address, or the port is taken.
    """
    from dyebook.book.store import open_book

    address = choose_private(own_addresses() if at is None else (), at)
    port = free_port(port, (HOST, address))
    with open_book() as book:
        base = remembered_base(book, address, port)
    open_phone_door(address, port, base, browser)


def remembered_base(book, address, port):
    """Return the address phones open; a book that had none keeps it, so that printed codes open their batch."""
    kept = book.setting("address")
    base = phone_base(kept, address, port)
    if not kept:
        book.set_setting("address", base)
        print(f"codes on cards and labels open their batch at {base} from now on", file=sys.stderr)
    elif kept.rstrip("/") != base:
        print(
            f"codes on cards and labels open {kept}, phones find the app at {base}: set that on a batch's page, "
            "or serve on the port that the cards name with --port",
            file=sys.stderr,
        )
    return base


def open_phone_door(address, port, base, browser=False):
    """Listen at the desk's and the phone's door until stopped.

    Parameters
    ----------
    address : str
        IP address of the phone's door.
    port : int
        Of both doors.
    base : str
        Address that phones open; its name is the only one, beside the IP address, that the door answers to.
    browser : bool
        Open the desk's page, where there is a display.
    """
    from dyebook.screens.gate import Door

    origins = tuple(dict.fromkeys((base, f"http://{host_and_port(address, port)}")))
    pairing = Pairing(base)
    share_pairing(pairing)
    desk = f"http://{HOST}:{port}"
    print(f"dyebook is open at {desk} on this machine – stop it with Ctrl+C", file=sys.stderr)
    tell_link(pairing)
    if sys.stdin is not None and sys.stdin.isatty():
        threading.Thread(target=_tell_on_enter, args=(pairing,), daemon=True).start()
    doors = [desk_door(port), Door("phone", address, origins)]
    open_doors(doors, port, browser and desk, pairing)


def tell_link(pairing, out=None):
    """Draw a fresh pairing link as a code for a phone's camera."""
    import segno

    out = out or sys.stderr
    link = pairing.fresh_link()
    print(f"a phone comes in once by this link, within {LINK_LASTS_S // 60} minutes:", file=out)
    if out.isatty():
        segno.make(link, error="m", micro=False).terminal(out=out, compact=True)
    print(f"{link}\nfor another phone press Enter here, or Phone on the desk's page", file=out, flush=True)


def _tell_on_enter(pairing):
    for _ in sys.stdin:
        tell_link(pairing)

"""The shell command that opens the screens."""

import os
from typing import Annotated

import typer

from dyebook.cli_book import BookOption

__all__ = ["add_commands"]


def open_screens(
    demo: Annotated[bool, typer.Option("--demo", help="The invented shop's book, apart from your own.")] = False,
    book: BookOption = None,
    port: Annotated[int | None, typer.Option(min=1, max=65535, help="A free one if left out.")] = None,
    browser: Annotated[bool, typer.Option(help="Open a browser window where there is a display.")] = True,
    phone: Annotated[bool, typer.Option("--phone", help="Also for phones in the shop, once paired by a code.")] = False,
    share: Annotated[bool, typer.Option("--share", help="For the book's people, once sign-in is set up.")] = False,
    at: Annotated[str | None, typer.Option(help="With --phone or --share: this machine's address to serve on.")] = None,
):
    """Open the book in the browser, on this machine only unless --phone or --share is given.

    Example: dyebook open --demo
    """
    if demo and book:
        raise typer.BadParameter("give either --demo or --book; the demo book has its own place")
    if phone and share:
        raise typer.BadParameter("give either --phone or --share; who signs in needs no pairing")
    if at and not (phone or share):
        raise typer.BadParameter("--at goes with --phone or --share; without them only this machine is served")
    _choose_book(demo, book)
    if share:
        from dyebook.screens.shared_door import serve_shared

        serve_shared(os.environ, port, at)
    elif phone:
        from dyebook.screens.phone_door import serve_phone

        serve_phone(port, browser, at)
    else:
        from dyebook.screens.serve import serve

        serve(port, browser)


def _choose_book(demo, book):
    """Point the environment at the book, and see that it opens."""
    from dyebook.book.store import open_book
    from dyebook.screens.demo_book import demo_place, make_demo_book

    if demo:
        typer.echo("laying out the demo book …", err=True)
        make_demo_book()
        book = str(demo_place())
    if book:
        os.environ["DYEBOOK_BOOK"] = book
    open_book().close()  # a book that cannot be opened is said here, in one line


def add_commands(app):
    """Add the command to the shell."""
    app.command("open")(open_screens)

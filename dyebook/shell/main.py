"""The shell: short commands over the library; the one place that turns a `DyebookError` into one line."""

import os
import sys
from functools import wraps
from inspect import Parameter, Signature, signature
from pathlib import Path
from typing import Annotated

import typer

from dyebook.errors import DyebookError
from dyebook.safe_file import MOST_INPUT_BYTES, check_input, check_output, is_there
from dyebook.shell import baths, bench, book, camera, paper, photo, run, shade, trouble
from dyebook.shell.options import KEYWORD, BookOption, JsonOption, open_at, option, print_result
from dyebook.version import __version__

__all__ = ["app", "main"]


def open_screens(
    demo: Annotated[bool, option("The invented shop's book, apart from your own.", "--demo")] = False,
    book: BookOption = None,
    port: Annotated[int | None, typer.Option(min=1, max=65535, help="A free one if left out.")] = None,
    browser: Annotated[bool, option("Open a browser window where there is a display.")] = True,
    phone: Annotated[bool, option("Also for phones in the shop, once paired by a code.", "--phone")] = False,
    share: Annotated[bool, option("For the book's people, once sign-in is set up.", "--share")] = False,
    at: Annotated[str | None, option("With --phone or --share: this machine's address to serve on.")] = None,
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
    from dyebook.book.people import people_of
    from dyebook.book.store import open_book
    from dyebook.screens.app import the_screens
    from dyebook.server import doors

    served = the_screens()
    if share:
        with open_book() as opened:
            people = people_of(opened)
        doors.serve_shared(served, people, os.environ, port, at)
    elif phone:
        with open_book() as opened:
            doors.serve_phone(served, opened, port, browser, at)
    else:
        doors.serve_desk(served, port, browser)


def _choose_book(demo, book):
    """Point the environment at the book, and see that it opens."""
    from dyebook.book.store import open_book
    from dyebook.demo.place import demo_place, make_demo_book

    if demo:
        typer.echo("laying out the demo book …", err=True)
        make_demo_book()
        book = str(demo_place())
    if book:
        os.environ["DYEBOOK_BOOK"] = book
    open_book().close()  # a book that cannot be opened is said here, in one line


EmailArgument = Annotated[str, typer.Argument(help="E-mail address that the sign-in service confirms.")]


def list_people(book: BookOption = None, as_json: JsonOption = False):
    """List who may sign in, and as what.

    Example: dyebook people list
    """
    from dyebook.book.people import people_of

    with open_at(book) as opened:
        people = people_of(opened)

    def text_of(people):
        return "\n".join(f"{role:7} {email}" for email, role in sorted(people.items())) or "no one yet"

    print_result(people, as_json, text_of)


def set_role(
    email: EmailArgument,
    role: Annotated[str, typer.Argument(help="reader (looks), maker (writes) or owner (also decides).")],
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Let a person sign in, or change their role.

    Example: dyebook people set mara@shop.example maker
    """
    _keep_role(email, role, book, as_json)


def remove(email: EmailArgument, book: BookOption = None, as_json: JsonOption = False):
    """Let a person sign in no longer; counts from their next tap on.

    Example: dyebook people remove mara@shop.example
    """
    _keep_role(email, None, book, as_json)


def _keep_role(email, role, book, as_json):
    from dyebook.book.people import address_of, set_person

    with open_at(book) as opened:
        set_person(opened, email, role)
    address = address_of(email)
    words = f"{address} is {role} of the book" if role else f"{address} can sign in no longer"
    print_result({"email": address, "role": role}, as_json, lambda _: words)


app = typer.Typer(
    help="Bench book for anodising and dyeing aluminium: colour from photos, baths learned from dips.",
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # plain help starts in half the time
)
for commands in (photo, camera, book, shade, trouble, bench, run, baths, paper):
    commands.add_commands(app)
people = typer.Typer(help="Who may sign in to a shared book, and as what.", no_args_is_help=True)
people.command("list")(list_people)
people.command("set")(set_role)
people.command()(remove)
app.add_typer(people, name="people")
app.command("open")(open_screens)


def _checked(command):
    """The command with a look at its files and words before it runs; one that writes a file takes ``--force``."""
    given = signature(command).parameters
    outputs = {name for name, one in given.items() if _file_rules(one).writable}

    @wraps(command)
    def run(*, force=False, **values):
        _refuse_idle(values)
        reads, writes = [], []
        for name, value in values.items():
            for one in value if isinstance(value, (list, tuple)) else (value,):
                if isinstance(one, int) and abs(one) > _LARGEST:
                    raise typer.BadParameter(f"{one} is a larger number than any here; check it")
                if isinstance(one, (str, Path)):
                    _refuse_hidden(str(one))
                if isinstance(one, Path) and _file_rules(given[name]).file_okay:
                    (writes if name in outputs else reads).append(one)
        for path in filter(is_there, reads):  # what is not there is told by its reader, after wrong usage
            # a backup may be of any size; its reader looks at what it unpacks to
            check_input(path, None if path.suffix.lower() in _OF_A_BOOK else MOST_INPUT_BYTES)
        for path in writes:
            check_output(path, reads, force)
        return command(**values)

    own = [one.replace(kind=KEYWORD) for one in given.values()]
    run.__signature__ = Signature([*own, _FORCE] if outputs else own)
    return run


_LARGEST = 2**53  # whole numbers beyond are not exact in every file
_OF_A_BOOK = (".zip", ".sqlite")
_FORCE = Parameter(
    "force",
    KEYWORD,
    default=False,
    annotation=Annotated[bool, option("Replace a file of another kind too.", "--force")],
)


# an option, and the one without which it would be passed over
_NEEDS = {
    "seal_min": "seal",
    "seal_temp_c": "seal",
    "second_dye": "second_dye_g_per_l",
    "second_dye_g_per_l": "second_dye",
}


def _refuse_idle(values):
    """Refuse an option that would be passed over in silence, as the one that it belongs to is not given."""
    for name, needed in _NEEDS.items():
        if needed in values and values.get(name) not in (None, False) and values[needed] is None:
            own, other = (f"--{one.replace('_', '-')}" for one in (name, needed))
            raise typer.BadParameter(f"{own} goes with {other}; give both, or neither")


def _file_rules(parameter):
    """What the shell says of a parameter: whether files are written to it, or it names a folder."""
    return next(iter(getattr(parameter.annotation, "__metadata__", ())), typer.Option())


def _refuse_hidden(text):
    """Refuse bytes that are no text, which neither a book nor a terminal can hold."""
    if "\0" in text or any("\ud800" <= sign <= "\udfff" for sign in text):
        raise typer.BadParameter(f"{text!a} holds bytes that are no text; type it again")


def _check_all(shell):
    """Give every command of a shell, and of the shells in it, its look at files and words."""
    for command in shell.registered_commands:
        command.callback = _checked(command.callback)
    for group in shell.registered_groups:
        _check_all(group.typer_instance)


_check_all(app)


def _print_version(wanted: bool):
    if wanted:
        typer.echo(__version__)
        raise typer.Exit


@app.callback()
def _start(
    version: Annotated[
        bool, typer.Option("--version", help="Print the version and stop.", is_eager=True, callback=_print_version)
    ] = False,
):
    """Open the shell; every command does its own work."""


def main():
    """Run the shell; exit 0 when done, 1 on a `DyebookError`, 2 on wrong usage."""
    try:
        app()
    except DyebookError as error:
        print("dyebook: " + " ".join(str(error).split()), file=sys.stderr)
        sys.exit(1)

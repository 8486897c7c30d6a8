"""Shell commands for the people who may sign in to a shared book; the shell itself needs no sign-in."""

from typing import Annotated

import typer

from dyebook.cli_book import BookOption, JsonOption, open_at
from dyebook.cli_photo import print_json

__all__ = ["add_commands"]

EmailArgument = Annotated[str, typer.Argument(help="E-mail address that the sign-in service confirms.")]


def list_people(book: BookOption = None, as_json: JsonOption = False):
    """List who may sign in, and as what.

    Example: dyebook people list
    """
    from dyebook.book.people import people_of

    with open_at(book) as opened:
        people = people_of(opened)
    if as_json:
        print_json(people)
    else:
        typer.echo("\n".join(f"{role:7} {email}" for email, role in sorted(people.items())) or "nobody yet")


def set_role(
    email: EmailArgument,
    role: Annotated[str, typer.Argument(help="reader (looks), maker (writes) or owner (also decides).")],
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Let somebody sign in, or change their role.

    Example: dyebook people set mara@shop.example maker
    """
    _set(email, role, book, as_json)


def remove(email: EmailArgument, book: BookOption = None, as_json: JsonOption = False):
    """Let somebody sign in no longer; counts from their next tap on.

    Example: dyebook people remove mara@shop.example
    """
    _set(email, None, book, as_json)


def _set(email, role, book, as_json):
    from dyebook.book.people import address_of, set_person

    with open_at(book) as opened:
        set_person(opened, email, role)
    address = address_of(email)
    if as_json:
        print_json({"email": address, "role": role})
    else:
        typer.echo(f"{address} is {role} of the book" if role else f"{address} can sign in no longer")


def add_commands(app):
    """Add the commands to the shell."""
    people = typer.Typer(help="Who may sign in to a shared book, and as what.", no_args_is_help=True)
    people.command("list")(list_people)
    people.command("set")(set_role)
    people.command()(remove)
    app.add_typer(people, name="people")

"""The shell: short commands over the library; the one place that turns a `DyebookError` into one line."""

import sys
from typing import Annotated

import typer

import dyebook
from dyebook import (
    cli_again,
    cli_bath,
    cli_bench,
    cli_book,
    cli_camera,
    cli_change,
    cli_open,
    cli_paper,
    cli_people,
    cli_photo,
    cli_run,
    cli_shade,
    cli_strip,
    cli_tank,
    cli_trouble,
)
from dyebook.errors import DyebookError

__all__ = ["app", "main"]

app = typer.Typer(
    help="Bench book for anodising and dyeing aluminium: colour from photos, baths learned from dips.",
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # plain help starts in half the time
)
_COMMANDS = (
    *(cli_photo, cli_camera, cli_book, cli_again, cli_change, cli_strip),
    *(cli_shade, cli_trouble, cli_bench, cli_run, cli_bath, cli_tank, cli_paper, cli_people, cli_open),
)
for commands in _COMMANDS:
    commands.add_commands(app)


def _print_version(wanted: bool):
    if wanted:
        typer.echo(dyebook.__version__)
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

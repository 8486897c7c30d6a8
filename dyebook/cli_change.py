"""Shell commands that change what stands in the book, and show who changed it; nothing is ever lost by them."""

from typing import Annotated

import typer

from dyebook.cli_book import BookOption, JsonOption, open_at
from dyebook.cli_photo import print_json

__all__ = ["add_commands"]

BatchArgument = Annotated[int, typer.Argument(help="Number of the batch.")]
VersionOption = Annotated[
    int | None, typer.Option(help="The version you looked at; refused if somebody changed the batch since.")
]


def correct(
    batch: BatchArgument,
    changes: Annotated[list[str], typer.Argument(help="What to set, name=value; other units are converted.")],
    version: VersionOption = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Correct settings of a batch; the old values stay in its history.

    Example: dyebook correct 118 dwell_min=5:30 note="clock was slow"
    """
    values = _values_of(changes)
    with open_at(book) as opened:
        new = opened.correct_batch(batch, values, version)
    print_json({"batch": batch, "version": new}) if as_json else typer.echo(f"batch {batch} is now at version {new}")


def _values_of(changes):
    """Names and values of ``name=value`` words, units converted."""
    from dyebook.book.batches import SETTINGS
    from dyebook.record import FIELDS
    from dyebook.units import parse_quantity

    values = {}
    for word in changes:
        name, equals, text = word.partition("=")
        if not equals or name not in SETTINGS:
            raise typer.BadParameter(f"{word!r} is not name=value with one of {', '.join(SETTINGS)}")
        has_unit = FIELDS[name].kind is float and name != "ph" and text
        values[name] = parse_quantity(name, text) if has_unit else text
    return values


def delete(
    batch: BatchArgument,
    undo: Annotated[bool, typer.Option("--undo", help="Bring it back instead.")] = False,
    version: VersionOption = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Mark a batch as deleted; it stays in the book and can be brought back.

    Example: dyebook delete 118
    """
    with open_at(book) as opened:
        new = (opened.undelete if undo else opened.delete)("batches", batch, version)
    if as_json:
        print_json({"batch": batch, "version": new, "deleted": not undo})
    else:
        typer.echo(f"batch {batch} is back" if undo else f"batch {batch} is marked as deleted; --undo brings it back")


def history(batch: BatchArgument, book: BookOption = None, as_json: JsonOption = False):
    """Show who changed a batch, when, from what to what.

    Example: dyebook history 118
    """
    with open_at(book) as opened:
        lines = opened.batch_history(batch)
    if as_json:
        print_json(lines)
    else:
        from dyebook.report import history_text

        typer.echo(history_text(lines))


def add_commands(app):
    """Add the commands to the shell."""
    app.command()(correct)
    app.command()(delete)
    app.command()(history)

"""Shell command that measures an archive again."""

import sys
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from dyebook.cli_book import BookOption, JsonOption, open_at
from dyebook.cli_photo import print_json

__all__ = ["add_commands"]


def remeasure(
    camera: Annotated[str | None, typer.Option(help="Learned camera for all photos; else each reading's own.")] = None,
    label: Annotated[str | None, typer.Option(help="A word for this way of measuring, to do all once more.")] = None,
    count: Annotated[int | None, typer.Option(min=1, help="Only the first so many photos.")] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Say what would move, and write nothing.")] = False,
    workers: Annotated[int | None, typer.Option(min=1, max=256, help="Processes; one a core without it.")] = None,
    scheduler: Annotated[str | None, typer.Option(help="Dask scheduler, tls://host:port, for many machines.")] = None,
    certificates: Annotated[Path | None, typer.Option(help="Folder with ca.pem, cert.pem, key.pem for tls.")] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Measure the photos of the book again; old readings stay beside the new, and a stopped run goes on.

    Example: dyebook remeasure --camera "bench phone" --dry-run --count 20
    """
    from dyebook.jobs.remeasure import remeasure as measure_all
    from dyebook.photo.camera_store import load_camera

    profile = None if camera is None else load_camera(camera)
    crew = {"processes": workers, "scheduler": scheduler, "certificates": certificates}
    with open_at(book) as opened, _progress() as progress:
        told = measure_all(opened, profile, label, count, dry_run, progress, **crew).to_dict()
    if as_json:
        print_json(told)
    else:
        from dyebook.report_again import moved_text

        typer.echo(moved_text(told))
    if told["stopped"]:
        raise typer.Exit(1)


@contextmanager
def _progress():
    """A progress bar on stderr, shown only to people."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("measuring", total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def add_commands(app):
    """Add the command to the shell."""
    app.command()(remeasure)

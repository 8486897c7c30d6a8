"""Shell command that measures an archive again."""

from pathlib import Path
from typing import Annotated

import typer

from dyebook.cli_book import BookOption, JsonOption, open_at, progress_bar
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

    Each photo is read as it was the first time: by its own learned camera, plain paper, card and mat. On a cluster,
    every worker needs dyebook and the photos' place: dask worker tls://HOST:8786 --nthreads 1 --tls-ca-file …

    Example: dyebook remeasure --camera "bench phone" --dry-run --count 20
    """
    from dyebook.jobs.remeasure import remeasure as measure_all
    from dyebook.photo.camera_store import load_camera

    profile = None if camera is None else load_camera(camera)
    crew = {"processes": workers, "scheduler": scheduler, "certificates": certificates}
    with open_at(book) as opened, progress_bar("measuring") as progress:
        told = measure_all(opened, profile, label, count, dry_run, progress, **crew).to_dict()
    if as_json:
        print_json(told)
    else:
        from dyebook.report_again import moved_text

        typer.echo(moved_text(told))
    if told["stopped"]:
        raise typer.Exit(1)


def add_commands(app):
    """Add the command to the shell."""
    app.command()(remeasure)

"""Shell command that measures an archive again.

Shell commands that look at photos.

The shell command that keeps a stepped coupon.
"""

from pathlib import Path
from typing import Annotated

import typer

from dyebook.shell.options import (
    BookOption,
    JsonOption,
    field_options,
    open_at,
    parse_lab,
    parse_points,
    print_json,
    progress_bar,
    record_from,
    with_options,
)

__all__ = ["add_commands"]


def _four_corners(text):
    if text is None:
        return None
    points = parse_points(text)
    if len(points) != 4:
        raise typer.BadParameter(f"{len(points)} corners given; a card has four")
    return points


def measure(
    photo: Annotated[Path, typer.Argument(help="Photo of the parts beside the grey card.")],
    card_at: Annotated[str | None, typer.Option(help='Corners of the grey area, "x,y x,y x,y x,y".')] = None,
    card_lab: Annotated[str | None, typer.Option(help="The card's own Lab, L,a,b.")] = None,
    part_at: Annotated[list[str] | None, typer.Option(help='Outline of one part, "x,y x,y …"; repeatable.')] = None,
    camera: Annotated[str | None, typer.Option(help="Name of a learned camera.")] = None,
    flat: Annotated[Path | None, typer.Option(help="Photo of plain paper in the same light.")] = None,
    overlay: Annotated[Path | None, typer.Option(help="Write a picture of what was found.")] = None,
    flaws: Annotated[
        bool, typer.Option("--flaws/--no-flaws", help="Look for spots, streaks and other flaws.", show_default=False)
    ] = True,
    no_card: Annotated[bool, typer.Option("--no-card", help="Go on without a card; the colour is a guess.")] = False,
    mat_line_mm: Annotated[
        float | None, typer.Option(help="The photo mat's ruler line by calipers, if it is not 100 mm.", min=50, max=200)
    ] = None,
    steps: Annotated[
        int | None,
        typer.Option(help="The part is a stepped coupon of so many bands, longest dwell first.", min=2, max=20),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object on stdout.")] = False,
):
    """Measure the colour of the parts in a photo.

    Example: dyebook measure samples/tags.jpg --overlay found.png
    """
    options = {
        "card_at": _four_corners(card_at),
        "card_lab": None if card_lab is None else parse_lab(card_lab),
        "part_at": [parse_points(text) for text in part_at] if part_at else None,
        "camera": camera,
        "flat": flat,
        "no_card": no_card,
        "flaws": flaws,
        "mat_line_mm": mat_line_mm,
        "steps": steps,
    }
    from dyebook.photo.file.read import read_photo
    from dyebook.photo.measure import measure as measure_photo
    from dyebook.photo.measure import measure_with_overlay

    read = read_photo(photo)
    result = measure_photo(read, **options) if overlay is None else measure_with_overlay(read, overlay, **options)
    if camera is None:
        _offer_camera(read)
    if as_json:
        print_json(result.to_dict())
    else:
        from dyebook.report.words import measurement_text

        typer.echo(measurement_text(result))


def _offer_camera(photo):
    """Say which learned camera took a photo, where one did."""
    from dyebook.photo.camera.store import profile_for

    fitting = profile_for(photo)
    if fitting is not None:
        typer.echo(
            f"taken with the camera learned as {fitting.name!r}; read it with --camera {fitting.name!r}", err=True
        )


# what the bands of a strip have in common
_OF_STRIP = (
    *("dye", "film_um", "dye_g_per_l", "bath_temp_c", "ph", "bath", "film_measured_um", "alloy", "finish"),
    *("wet", "dyed_at", "note"),
)


@with_options(*field_options(*_OF_STRIP))
def record_steps(
    dwells: Annotated[str, typer.Option(help="Time in dye of each band, minutes or min:sec, such as '16 8 4 2 0:30'.")],
    photo: Annotated[Path | None, typer.Option(help="Photo of the whole strip beside the grey card.")] = None,
    part_at: Annotated[str | None, typer.Option(help='Outline of the strip, "x,y x,y …"; found without.')] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
    **settings,
):
    """Write a stepped coupon into the book, a batch for each of its bands, read from one photo.

    Example: dyebook record-steps --dwells "16 8 4 2 1" --dye "Harbour blue" --film-um 12 --dye-g-per-l 3
    --bath-temp-c 40 --photo strip.jpg
    """
    from dyebook.jobs.photo import parse_dwells, record_strip

    times = parse_dwells(dwells)
    record = record_from({**settings, "dwell_min": times[0]})
    options = {} if part_at is None else {"part_at": [parse_points(part_at)]}
    with open_at(book) as opened:
        kept = record_strip(opened, record, times, photo, **options)
    for warning in kept.warnings:
        typer.echo(f"note: {warning}", err=True)
    if as_json:
        print_json(kept.to_dict())
    else:
        from dyebook.report.shade import strip_text

        typer.echo(strip_text(kept))


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
    from dyebook.photo.camera.store import load_camera

    profile = None if camera is None else load_camera(camera)
    crew = {"processes": workers, "scheduler": scheduler, "certificates": certificates}
    with open_at(book) as opened, progress_bar("measuring") as progress:
        told = measure_all(opened, profile, label, count, dry_run, progress, **crew).to_dict()
    if as_json:
        print_json(told)
    else:
        from dyebook.report.camera import moved_text

        typer.echo(moved_text(told))
    if told["stopped"]:
        raise typer.Exit(1)


def add_commands(app):
    """Add the commands to the shell."""
    app.command()(measure)
    app.command("record-steps")(record_steps)
    app.command()(remeasure)

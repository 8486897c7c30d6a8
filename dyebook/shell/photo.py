"""Shell commands that read photos: measure one, keep a stepped coupon, measure an archive again."""

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from dyebook.shell.options import (
    BookOption,
    JsonOption,
    SetupOption,
    field_options,
    open_at,
    parse_lab,
    parse_points,
    print_result,
    progress_bar,
    record_from,
    shop_setting,
    with_options,
)

__all__ = ["CameraOption", "CardAt", "CardLab", "NoCamera", "add_commands", "asked_of"]

CardAt = Annotated[str | None, typer.Option(help='Corners of the grey area, "x,y x,y x,y x,y".')]
CardLab = Annotated[str | None, typer.Option(help="The card's own Lab, L,a,b; else as set in the book.")]
CameraOption = Annotated[
    str | None, typer.Option(help="Name of a learned camera; else the learned one that took the photo.")
]
NoCamera = Annotated[bool, typer.Option("--no-camera", help="Use no learned camera, not even that one.")]


def asked_of(book, card_at=None, card_lab=None, part_at=None, camera=None, no_camera=False) -> dict:
    """Return what was typed, and the card's Lab of the book, as keywords of `dyebook.jobs.photo.read_options`."""
    if camera is not None and no_camera:
        raise typer.BadParameter("give either --camera or --no-camera")
    corners = None if card_at is None else parse_points(card_at)
    if corners is not None and len(corners) != 4:
        raise typer.BadParameter(f"{len(corners)} corners given; a card has four")
    return {
        "card_at": corners,
        "card_lab": shop_setting(book, "card_lab") if card_lab is None else parse_lab(card_lab),
        "part_at": [parse_points(text) for text in part_at] if part_at else None,
        **({"camera": camera} if camera is not None or no_camera else {}),
    }


def measure(
    photo: Annotated[Path, typer.Argument(help="Photo of the parts beside the grey card.")],
    card_at: CardAt = None,
    card_lab: CardLab = None,
    part_at: Annotated[list[str] | None, typer.Option(help='Outline of one part, "x,y x,y …"; repeatable.')] = None,
    camera: CameraOption = None,
    no_camera: NoCamera = False,
    flat: Annotated[Path | None, typer.Option(help="Photo of plain paper in the same light.")] = None,
    overlay: Annotated[Path | None, typer.Option(help="Write a picture of what was found.", writable=True)] = None,
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
    setup: SetupOption = None,
    finish: Annotated[str | None, typer.Option(help="Surface before anodising, such as blasted.")] = None,
    twin_at: Annotated[
        str | None, typer.Option(help='Outline of the bare twin, an undyed piece like the parts, "x,y x,y …".')
    ] = None,
    twin_lab: Annotated[
        str | None, typer.Option(help="The twin's own Lab by an instrument, L,a,b; else as kept in the book, or usual.")
    ] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Measure the colour of the parts in a photo.

    Example: dyebook measure samples/tags_one_streaked.jpg --overlay found.png
    """
    asked = asked_of(book, card_at, card_lab, part_at, camera, no_camera)
    more = {"flat": flat, "no_card": no_card, "mat_line_mm": mat_line_mm, "flaws": flaws, "steps": steps}
    more |= {"setup": setup, "finish": finish, "twin_at": None if twin_at is None else parse_points(twin_at)}
    more |= {"twin_lab": None if twin_lab is None else parse_lab(twin_lab)}
    if twin_lab is not None and twin_at is None:
        raise typer.BadParameter("--twin-lab is the colour of the twin that --twin-at outlines; give both")
    from dyebook.jobs.photo import look, read_options

    options = read_options(None, **asked, **more)
    seen = look(photo, options)
    if twin_at is not None and twin_lab is None and seen.measurement.parts:
        told = _twin_told(book, seen.measurement.parts[0].setup["key"])
        seen = seen if told is None else look(photo, replace(options, twin_lab=told))
    if overlay is not None:
        seen.save_overlay(overlay)
    used = seen.measurement.options["camera"]
    if used is not None and camera is None:
        typer.echo(f"read with the learned camera {used!r}, which took the photo; --no-camera reads without", err=True)
    from dyebook.report.photo import measurement_text, step_lines

    for line in step_lines(seen.measurement.next_step) if as_json else ():
        typer.echo(f"better: {line}", err=True)
    print_result(seen.measurement, as_json, measurement_text)


def _twin_told(path, key):
    """The twin's own Lab that the book was told for a set-up; begins no book."""
    from dyebook.book.connect import find_place
    from dyebook.book.setups import twin_of

    file = find_place(path).file
    if file is not None and not file.exists():
        return None
    with open_at(path) as book:
        return twin_of(book, key)


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
    setup: SetupOption = None,
    book: BookOption = None,
    as_json: JsonOption = False,
    **settings,
):
    """Write a stepped coupon into the book, a batch for each of its bands, read from one photo.

    Example: dyebook record-steps --dwells "16 8 4 2 1" --dye "Harbour blue" --film-um 12 --dye-g-per-l 3
    --bath-temp-c 40 --photo strip.jpg
    """
    from dyebook.jobs.photo import parse_dwells, record_strip
    from dyebook.report.shade import strip_text

    times = parse_dwells(dwells)
    record = record_from({**settings, "dwell_min": times[0]})
    options = {"setup": setup, "finish": record.finish}
    options |= {} if part_at is None else {"part_at": [parse_points(part_at)]}
    with open_at(book) as opened:
        kept = record_strip(opened, record, times, photo, **options)
    for warning in kept.warnings:
        typer.echo(f"note: {warning}", err=True)
    print_result(kept, as_json, strip_text)


def remeasure(
    camera: Annotated[str | None, typer.Option(help="Learned camera for all photos; else each reading's own.")] = None,
    label: Annotated[str | None, typer.Option(help="A word for this way of measuring, to do all once more.")] = None,
    count: Annotated[int | None, typer.Option(min=1, help="Only the first so many photos.")] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Say what would move, and write nothing.")] = False,
    workers: Annotated[int | None, typer.Option(min=1, max=256, help="Processes; one a core without it.")] = None,
    scheduler: Annotated[str | None, typer.Option(help="Dask scheduler, tls://host:port, for many machines.")] = None,
    certificates: Annotated[
        Path | None, typer.Option(help="Folder with ca.pem, cert.pem, key.pem for tls.", file_okay=False)
    ] = None,
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
    from dyebook.report.camera import moved_text

    profile = None if camera is None else load_camera(camera)
    crew = {"processes": workers, "scheduler": scheduler, "certificates": certificates}
    with open_at(book) as opened, progress_bar("measuring") as progress:
        moved = measure_all(opened, profile, label, count, dry_run, progress, **crew).to_dict()
    print_result(moved, as_json, moved_text)
    if moved["stopped"]:
        raise typer.Exit(1)


def add_commands(app):
    """Add the commands to the shell."""
    app.command()(measure)
    app.command("record-steps")(record_steps)
    app.command()(remeasure)

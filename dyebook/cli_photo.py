"""Shell commands that look at photos."""

import json
import re
from pathlib import Path
from typing import Annotated

import typer

__all__ = ["add_commands", "parse_lab", "parse_points", "print_json"]


def print_json(value):
    """Print one JSON object on stdout, the only thing a `--json` command prints there."""
    typer.echo(json.dumps(value, ensure_ascii=False, allow_nan=False))


def parse_points(text):
    """Return [(x, y), …] of ``"x,y x,y …"``; raises `typer.BadParameter` (exit 2) when it is not that."""
    try:
        points = [tuple(float(number) for number in pair.split(",")) for pair in re.split(r"[\s;]+", text.strip())]
    except ValueError:
        points = []
    if len(points) < 3 or any(len(point) != 2 for point in points):
        raise typer.BadParameter(f'{text!r} is not a list of corners; write "x,y x,y x,y x,y"')
    return points


def parse_lab(text):
    """Return (L, a, b) of ``"L,a,b"``; raises `typer.BadParameter` (exit 2) when it is not that."""
    try:
        numbers = tuple(float(number) for number in text.split(","))
    except ValueError:
        numbers = ()
    if len(numbers) != 3:
        raise typer.BadParameter(f'{text!r} is not a Lab colour; write "L,a,b" such as 49.5,0,0')
    return numbers


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
    from dyebook.photo.measure import measure as measure_photo
    from dyebook.photo.measure import measure_with_overlay
    from dyebook.photo.read import read_photo

    read = read_photo(photo)
    result = measure_photo(read, **options) if overlay is None else measure_with_overlay(read, overlay, **options)
    if camera is None:
        _offer_camera(read)
    if as_json:
        print_json(result.to_dict())
    else:
        from dyebook.report import measurement_text

        typer.echo(measurement_text(result))


def _offer_camera(photo):
    """Say which learned camera took a photo, where one did."""
    from dyebook.photo.camera_store import profile_for

    fitting = profile_for(photo)
    if fitting is not None:
        typer.echo(
            f"taken with the camera learned as {fitting.name!r}; read it with --camera {fitting.name!r}", err=True
        )


def add_commands(app):
    """Add the photo commands to the shell."""
    app.command()(measure)

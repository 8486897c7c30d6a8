"""The shell command that keeps a stepped coupon."""

from pathlib import Path
from typing import Annotated

import typer

from dyebook.cli_book import BookOption, JsonOption, open_at, record_from
from dyebook.cli_photo import parse_points, print_json

__all__ = ["add_commands"]


def record_steps(
    dwells: Annotated[str, typer.Option(help="Time in dye of each band, minutes or min:sec, such as '16 8 4 2 0:30'.")],
    dye: Annotated[str, typer.Option(help="Name of the dye.")],
    film_um: Annotated[str, typer.Option(help="Film in µm, or such as '0.5 mil'.")],
    dye_g_per_l: Annotated[str, typer.Option(help="Dye strength in g/L.")],
    bath_temp_c: Annotated[str, typer.Option(help="Dye bath in °C, or such as '140 °F'.")],
    ph: Annotated[str | None, typer.Option(help="pH of the dye bath.")] = None,
    bath: Annotated[str | None, typer.Option(help="Name of the made-up tank.")] = None,
    film_measured_um: Annotated[str | None, typer.Option(help="Film as a gauge read it.")] = None,
    alloy: Annotated[str | None, typer.Option(help="Alloy such as 6061.")] = None,
    finish: Annotated[str | None, typer.Option(help="Surface before anodising.")] = None,
    wet: Annotated[bool | None, typer.Option("--wet/--dry", help="State of the strip when read.")] = None,
    dyed_at: Annotated[str | None, typer.Option(help="Date and time, such as 2026-03-28T14:30; now without.")] = None,
    note: Annotated[str | None, typer.Option(help="Anything worth remembering.")] = None,
    photo: Annotated[Path | None, typer.Option(help="Photo of the whole strip beside the grey card.")] = None,
    part_at: Annotated[str | None, typer.Option(help='Outline of the strip, "x,y x,y …"; found without.')] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Write a stepped coupon into the book, a batch for each of its bands, read from one photo.

    Example: dyebook record-steps --dwells "16 8 4 2 1" --dye "Harbour blue" --film-um 12 --dye-g-per-l 3
    --bath-temp-c 40 --photo strip.jpg
    """
    from dyebook.jobs.strip import parse_dwells, record_strip

    given = dict(locals())
    times = parse_dwells(dwells)
    record = record_from({**given, "dwell_min": f"{times[0]}"}, None)
    options = {} if part_at is None else {"part_at": [parse_points(part_at)]}
    with open_at(book) as opened:
        kept = record_strip(opened, record, times, photo, **options)
    for warning in kept.warnings:
        typer.echo(f"note: {warning}", err=True)
    if as_json:
        print_json(kept.to_dict())
    else:
        from dyebook.report_shade import strip_text

        typer.echo(strip_text(kept))


def add_commands(app):
    """Add the command of this file to the shell."""
    app.command("record-steps")(record_steps)

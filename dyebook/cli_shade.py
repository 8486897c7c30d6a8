"""Shell commands that learn a bath from its dips and say what to set."""

from pathlib import Path
from typing import Annotated

import typer

from dyebook.cli_photo import parse_lab, print_json

__all__ = ["add_commands"]

RecordsOption = Annotated[Path, typer.Option(help="CSV file with a row a dip: film_um, dye_g_per_l, … L, a, b.")]
TargetOption = Annotated[str, typer.Option(help="The shade to reach, L,a,b under D65/2°.")]
JsonOption = Annotated[bool, typer.Option("--json", help="One JSON value on stdout.")]


def parse_fixed(pairs):
    """Return {setting: number} of ``name=value`` texts, units converted; `typer.BadParameter` when one is not that."""
    fixed = {}
    for pair in pairs or ():
        name, equals, value = (piece.strip() for piece in pair.partition("="))
        if not (name and equals and value):
            raise typer.BadParameter(f"{pair!r} fixes nothing; write a setting and its value, such as bath_temp_c=40")
        fixed[name] = _quantity(name, value)
    return fixed


def _quantity(name, value):
    from dyebook.record import check_value
    from dyebook.units import UNIT_OF, parse_quantity

    if any(name.endswith(ending) for ending in UNIT_OF):
        return parse_quantity(name, value)
    if name == "ph":
        return check_value("ph", value)
    raise typer.BadParameter(f"{name!r} is no setting of a dip; such as bath_temp_c=40 is")


def suggest(
    records: RecordsOption,
    target: TargetOption,
    film_um: Annotated[str | None, typer.Option(help="Film of the part; free when left out.")] = None,
    ph: Annotated[float | None, typer.Option(help="pH of the bath.")] = None,
    fix: Annotated[list[str] | None, typer.Option(help="A setting that cannot move, name=value; repeatable.")] = None,
    count: Annotated[int, typer.Option(min=1, max=20, help="How many answers at most.")] = 3,
    as_json: JsonOption = False,
):
    """Say which settings should give a shade, and how sure that is.

    Example: dyebook suggest --records dips.csv --target 45,20,-35 --film-um 12 --fix bath_temp_c=40
    """
    from dyebook.jobs.shade import read_records_file, suggest_from_frame
    from dyebook.report_shade import suggestions_text

    film = None if film_um is None else _quantity("film_um", film_um)
    found = suggest_from_frame(
        read_records_file(records), parse_lab(target), film_um=film, ph=ph, fixed=parse_fixed(fix), count=count
    )
    print_json([one.to_dict() for one in found]) if as_json else typer.echo(suggestions_text(found))


def add_commands(app):
    """Add the commands of this file to the shell."""
    app.command()(suggest)

"""Shell commands for the electrolytes of the book: what happened to them, and how far they are used."""

from typing import Annotated

import typer

from dyebook.cli_answer import Json, given, option, show_answer
from dyebook.cli_book import BookOption, open_at
from dyebook.cli_photo import print_json

__all__ = ["add_commands"]

TankArgument = Annotated[str, typer.Argument(help="Name of the electrolyte.")]
_KINDS = ("made_up", "topped_up", "titrated", "diluted", "thrown_out")


def list_tanks(book: BookOption = None, as_json: Json = False):
    """List the electrolytes with the charge they have carried.

    Example: dyebook tank list
    """
    from dyebook.jobs.baths import life_of_electrolyte

    with open_at(book) as opened:
        rows = opened.rows("electrolytes")
        lives = [life_of_electrolyte(opened, row["id"]) for row in rows]
    if as_json:
        told = [
            {"electrolyte": r["name"], **(life.to_dict() if life else {})} for r, life in zip(rows, lives, strict=True)
        ]
        print_json(told)
        return
    from dyebook.report_bath import tank_line

    lines = [tank_line(row, life and life.to_dict()) for row, life in zip(rows, lives, strict=True)]
    typer.echo("\n".join(lines) or "no electrolyte is in the book yet")


def note(
    name: TankArgument,
    kind: Annotated[str, typer.Argument(help="made-up, topped-up, titrated, diluted, thrown-out.")],
    electrolyte_g_per_l: Annotated[str | None, option("Acid as found or left.")] = None,
    bath_volume_l: Annotated[str | None, option("Volume.")] = None,
    dissolved_al_g_per_l: Annotated[float | None, option("Dissolved aluminium, by titration.")] = None,
    chloride_mg_per_l: Annotated[float | None, option("Chloride.")] = None,
    at: Annotated[str | None, option("When, such as 2026-03-28T14:30; now without it.")] = None,
    text: Annotated[str | None, option("Anything worth remembering.", "--note")] = None,
    book: BookOption = None,
    as_json: Json = False,
):
    """Note what happened to an electrolyte; one that is made up may be new.

    Example: dyebook tank note "Tank" made-up --electrolyte-g-per-l 165 --bath-volume-l 2
    """
    from dyebook.jobs.baths import electrolyte_called, electrolyte_named, note_electrolyte

    event = kind.replace("-", "_")
    if event not in _KINDS:
        raise typer.BadParameter(f"{kind!r} is none of {', '.join(_KINDS).replace('_', '-')}")
    told = {
        "electrolyte_g_per_l": given("electrolyte_g_per_l", electrolyte_g_per_l),
        "bath_volume_l": given("bath_volume_l", bath_volume_l),
        "dissolved_al_g_per_l": dissolved_al_g_per_l,
        "chloride_mg_per_l": chloride_mg_per_l,
        "note": text,
    }
    with open_at(book) as opened:
        is_new = event == "made_up"
        tank = electrolyte_named(opened, name, told["bath_volume_l"]) if is_new else electrolyte_called(opened, name)
        number = note_electrolyte(opened, tank, event, at, **told)
    if as_json:
        print_json({"electrolyte": name, "event": number, "kind": event})
    else:
        typer.echo(f"{name}: {event.replace('_', ' ')}, noted")


def life(
    name: TankArgument,
    discard_ah_per_l: Annotated[float | None, option("Your own discard point, A·h per litre.")] = None,
    book: BookOption = None,
    as_json: Json = False,
):
    """How far an electrolyte is used, from the runs that went through it.

    Example: dyebook tank life Tank
    """
    from dyebook.errors import BookError
    from dyebook.jobs.baths import electrolyte_called, life_of_electrolyte

    with open_at(book) as opened:
        told = life_of_electrolyte(opened, electrolyte_called(opened, name), discard_ah_per_l)
    if told is None:
        raise BookError(f"the volume of {name} is not known; note its making up with --bath-volume-l")
    show_answer(told, as_json, f"Life of {name}", electrolyte=name)


def add_commands(app):
    """Add the group of commands to the shell."""
    group = typer.Typer(help="Electrolytes of the book.", no_args_is_help=True)
    group.command("list")(list_tanks)
    for command in (note, life):
        group.command()(command)
    app.add_typer(group, name="tank")

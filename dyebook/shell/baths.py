"""Shell commands for the electrolytes of the book: what happened to them, and how far they are used.

Shell commands for the dye baths of the book: how they stand, what happened to them, topping up, level, rules.
"""

from typing import Annotated

import typer

from dyebook.shell.options import BookOption, Json, Letter, Page, given, open_at, option, print_json, show_answer

__all__ = ["add_commands"]

BathArgument = Annotated[str, typer.Argument(help="The bath as 'dye, bath', or its name alone where no other has it.")]
_KINDS = ("made_up", "topped_up", "ph_moved", "filtered", "measured", "thrown_out")


def list_baths(book: BookOption = None, as_json: Json = False):
    """List the dye baths in use: strength now, area dyed, days, what they want.

    Example: dyebook bath list
    """
    from dyebook.jobs.bath_state import bath_state
    from dyebook.jobs.baths import baths_by_name

    with open_at(book) as opened:
        known = baths_by_name(opened)
        states = [bath_state(opened, name, row)[0] for name, row in known.items()]
    if as_json:
        print_json([state.to_dict() for state in states])
    else:
        from dyebook.report.baths import bath_line

        typer.echo("\n".join(bath_line(state.to_dict()) for state in states) or "no dye bath is in the book yet")


def show(bath: BathArgument, book: BookOption = None, as_json: Json = False):
    """Show a bath's strength over time, its age, and what its films take up.

    Example: dyebook bath show "Ember, E1"
    """
    with open_at(book) as opened:
        _show(opened, bath, as_json)


def _show(book, name, as_json):
    from dyebook.jobs.bath_state import bath_called, bath_state
    from dyebook.report.baths import strength_table

    label, row = bath_called(book, name)
    state, line = bath_state(book, label, row)
    if not as_json:
        typer.echo("\n".join([*strength_table(line.points), ""]))
    show_answer(state, as_json, label)


def note(
    bath: BathArgument,
    kind: Annotated[str, typer.Argument(help="made-up, topped-up, ph-moved, filtered, measured, thrown-out.")],
    dye_g_per_l: Annotated[str | None, option("Strength as found or left.")] = None,
    bath_volume_l: Annotated[str | None, option("Volume as found or left; tells the level too.")] = None,
    ph: Annotated[float | None, option("pH as found or left.")] = None,
    bath_temp_c: Annotated[str | None, option("Temperature.")] = None,
    at: Annotated[str | None, option("When, such as 2026-03-28T14:30; now without it.")] = None,
    text: Annotated[str | None, option("Anything worth remembering.", "--note")] = None,
    book: BookOption = None,
    as_json: Json = False,
):
    """Note what happened to a bath; one that is made up may be new.

    Example: dyebook bath note "Ember, E1" made-up --dye-g-per-l 3 --bath-volume-l 2 --ph 5.5
    """
    from dyebook.jobs.bath_state import bath_called
    from dyebook.jobs.baths import find_bath, note_bath
    from dyebook.jobs.strength import outside_window

    event = kind.replace("-", "_")
    if event not in _KINDS:
        raise typer.BadParameter(f"{kind!r} is none of {', '.join(_KINDS).replace('_', '-')}")
    told = {
        "dye_g_per_l": given("dye_g_per_l", dye_g_per_l),
        "bath_volume_l": given("bath_volume_l", bath_volume_l),
        "ph": ph,
        "bath_temp_c": given("bath_temp_c", bath_temp_c),
        "note": text,
    }
    with open_at(book) as opened:
        if event == "made_up":
            dye, _, name = bath.partition(", ")
            bath_id = find_bath(opened, dye, name, told["bath_volume_l"])
        else:
            dye, bath_id = (row := bath_called(opened, bath)[1])["dye"], row["id"]
        number = note_bath(opened, bath_id, event, at, **told)
        problems = outside_window(opened, dye, ph=ph, bath_temp_c=told["bath_temp_c"])
    for problem in problems:
        typer.echo(f"note: {problem}", err=True)
    if as_json:
        print_json({"bath": bath, "event": number, "kind": event, "problems": problems})
    else:
        typer.echo(f"{bath}: {event.replace('_', ' ')}, noted")


def top_up(
    bath: BathArgument,
    dye_g_per_l: Annotated[str | None, option("Wanted strength; as it was made up without it.")] = None,
    measured_g_per_l: Annotated[str | None, option("Strength measured now; reckoned without it.")] = None,
    present_l: Annotated[str | None, option("Volume now.")] = None,
    dyed_dm2: Annotated[
        str | None, option("Area dyed since its last noted strength; as in the book without it.")
    ] = None,
    evaporated_l: Annotated[str, option("Water lost to the air besides what the book knows.")] = "0",
    keep: Annotated[bool, typer.Option("--keep", help="It is done: note the top-up in the book.")] = False,
    book: BookOption = None,
    page: Page = None,
    letter: Letter = False,
    as_json: Json = False,
):
    """Dye and water that bring a bath back, from all that went through it.

    Example: dyebook bath top-up "Ember, E1" --evaporated-l 0.1
    """
    from dyebook.jobs.bath_state import bath_called, bath_line
    from dyebook.jobs.baths import note_bath
    from dyebook.jobs.strength import top_up_of

    with open_at(book) as opened:
        label, row = bath_called(opened, bath)
        line = bath_line(opened, row["id"])
        wanted, plan = top_up_of(
            line,
            row["bath_volume_l"],
            target_g_per_l=given("dye_g_per_l", dye_g_per_l),
            measured_g_per_l=given("dye_g_per_l", measured_g_per_l),
            present_l=given("volume_l", present_l),
            dyed_dm2=given("dyed_dm2", dyed_dm2),
            evaporated_l=given("volume_l", evaporated_l),
        )
        if keep:
            note_bath(opened, row["id"], "topped_up", dye_g_per_l=wanted, bath_volume_l=row["bath_volume_l"])
    show_answer(
        plan, as_json, f"Top up {label} to {wanted:g} g/L" + (", noted" if keep else ""), page, letter, bath=label
    )


def level(
    part_height_mm: Annotated[str, option("Height of the hanging load, such as 80 or '3 in'.")],
    bath: Annotated[str | None, typer.Argument(help="A bath of the book, whose volume and tank are known.")] = None,
    volume_l: Annotated[str | None, option("Volume in the tank.")] = None,
    tank_area_dm2: Annotated[str | None, option("Inside of the tank from above, such as 1.2 or '18 in2'.")] = None,
    part_volume_l: Annotated[str, option("Volume of the load.")] = "0",
    book: BookOption = None,
    page: Page = None,
    letter: Letter = False,
    as_json: Json = False,
):
    """Whether the dye covers a hanging part.

    Example: dyebook bath level --volume-l 2 --tank-area-dm2 1.2 --part-height-mm 80
    """
    from dyebook.errors import RecordError
    from dyebook.physics.bathcare import check_level

    volume, floor = given("volume_l", volume_l), given("tank_area_dm2", tank_area_dm2)
    if bath is not None:
        volume, floor = _known_tank(book, bath, volume, floor)
    if volume is None or floor is None:
        raise RecordError("volume and area of the tank are needed: give them, or a bath whose rules hold them")
    height, displaced = given("part_height_mm", part_height_mm), given("part_volume_l", part_volume_l)
    show_answer(check_level(volume, floor, height, displaced), as_json, "Does the dye cover the part?", page, letter)


def _known_tank(book, name, volume, floor):
    from dyebook.jobs.bath_state import bath_called, bath_line
    from dyebook.jobs.strength import dye_rules

    with open_at(book) as opened:
        row = bath_called(opened, name)[1]
        known = bath_line(opened, row["id"]).present_volume_l or row["bath_volume_l"]
        return volume or known, floor or dye_rules(opened, row["dye"]).get("tank_area_dm2")


def rules(
    dye: Annotated[str, typer.Argument(help="Name of the dye.")],
    ph: Annotated[str | None, option("Window of pH, such as 5,6.")] = None,
    bath_temp_c: Annotated[str | None, option("Window of temperature, such as 45,55.")] = None,
    uptake_mg_per_dm2: Annotated[float | None, option("Dye a usual film takes up.")] = None,
    limit_dm2_per_l: Annotated[float | None, option("Spent after so much area per litre.")] = None,
    limit_days: Annotated[float | None, option("Or after so many days.")] = None,
    evaporation_l_per_day: Annotated[
        float | None, option("Water lost to the air, where you do not fill it up.")
    ] = None,
    tank_area_dm2: Annotated[str | None, option("Inside of its tank from above.")] = None,
    clear: Annotated[list[str] | None, option("Name of a rule to take away; repeatable.")] = None,
    book: BookOption = None,
    as_json: Json = False,
):
    """See and set the shop's own rules for a dye.

    Example: dyebook bath rules Ember --ph 5,6 --bath-temp-c 45,55 --limit-days 365
    """
    from dyebook.jobs.strength import dye_rules, set_dye_rules

    told = {
        "ph": _window(ph),
        "bath_temp_c": _window(bath_temp_c),
        "uptake_mg_per_dm2": uptake_mg_per_dm2,
        "limit_dm2_per_l": limit_dm2_per_l,
        "limit_days": limit_days,
        "evaporation_l_per_day": evaporation_l_per_day,
        "tank_area_dm2": given("tank_area_dm2", tank_area_dm2),
    }
    changes = {name: value for name, value in told.items() if value is not None}
    unknown = [name for name in clear or () if name not in told]
    if unknown:
        raise typer.BadParameter(f"no rule is called {unknown[0]!r}; there are {', '.join(told)}")
    with open_at(book) as opened:
        if changes or clear:
            set_dye_rules(opened, dye, **changes, **dict.fromkeys(clear or ()))
        kept = dye_rules(opened, dye)
    if as_json:
        print_json({"dye": dye, "rules": kept})
    else:
        from dyebook.report.baths import rule_lines

        typer.echo("\n".join([f"Rules for {dye}", *rule_lines(kept)]))


def _window(text):
    if text is None:
        return None
    try:
        low, high = (float(part) for part in text.split(","))
    except ValueError:
        raise typer.BadParameter(f"{text!r} is no window; write lower,upper such as 5,6") from None
    return low, high


TankArgument = Annotated[str, typer.Argument(help="Name of the electrolyte.")]
_TANK_KINDS = ("made_up", "topped_up", "titrated", "diluted", "thrown_out")


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
    from dyebook.report.baths import tank_line

    lines = [tank_line(row, life and life.to_dict()) for row, life in zip(rows, lives, strict=True)]
    typer.echo("\n".join(lines) or "no electrolyte is in the book yet")


def note_tank(
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
    if event not in _TANK_KINDS:
        raise typer.BadParameter(f"{kind!r} is none of {', '.join(_TANK_KINDS).replace('_', '-')}")
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
    """Add the commands to the shell."""
    group = typer.Typer(help="Dye baths of the book.", no_args_is_help=True)
    group.command("list")(list_baths)
    group.command("top-up")(top_up)
    for command in (show, note, level, rules):
        group.command()(command)
    app.add_typer(group, name="bath")
    group = typer.Typer(help="Electrolytes of the book.", no_args_is_help=True)
    group.command("list")(list_tanks)
    group.command("note")(note_tank)
    group.command()(life)
    app.add_typer(group, name="tank")

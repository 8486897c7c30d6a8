"""Shell commands for the dye baths and electrolytes of the book: how they stand, and what happened to them."""

from typing import Annotated

import typer

from dyebook.errors import BookError, RecordError
from dyebook.record import BATH_EVENTS, ELECTROLYTE_EVENTS
from dyebook.shell.options import (
    BookOption,
    JsonOption,
    PageOption,
    given,
    given_each,
    open_at,
    option,
    print_result,
    show_answer,
)

__all__ = ["add_commands"]

BathArgument = Annotated[str, typer.Argument(help="The bath as 'dye, bath', or its name alone where no other has it.")]


def _words_of(events):
    return ", ".join(events).replace("_", "-")


def list_baths(book: BookOption = None, as_json: JsonOption = False):
    """List the dye baths in use: strength now, area dyed, days, what they want.

    Example: dyebook bath list
    """
    from dyebook.jobs.bath_state import bath_state
    from dyebook.jobs.baths import baths_by_name
    from dyebook.report.baths import bath_line

    with open_at(book) as opened:
        states = [bath_state(opened, row) for row in baths_by_name(opened).values()]

    def text_of(states):
        return "\n".join(bath_line(state) for state in states) or "no dye bath is in the book yet"

    print_result(states, as_json, text_of)


def show(bath: BathArgument, book: BookOption = None, as_json: JsonOption = False):
    """Show a bath's strength over time, its age, and what its films take up.

    Example: dyebook bath show "Ember, E1"
    """
    from dyebook.jobs.bath_state import bath_state
    from dyebook.jobs.baths import bath_called
    from dyebook.report.baths import strength_table

    with open_at(book) as opened:
        state = bath_state(opened, bath_called(opened, bath, in_use=True))
    if not as_json:
        typer.echo("\n".join([*strength_table(state.line.points), ""]))
    show_answer(state, as_json, state.bath)


def note(
    bath: BathArgument,
    kind: Annotated[str, typer.Argument(help=f"{_words_of(BATH_EVENTS)}.")],
    dye_g_per_l: Annotated[str | None, option("Strength as found or left.")] = None,
    bath_volume_l: Annotated[str | None, option("Volume as found or left; tells the level too.")] = None,
    ph: Annotated[float | None, option("pH as found or left.")] = None,
    bath_temp_c: Annotated[str | None, option("Temperature.")] = None,
    at: Annotated[str | None, option("When, such as 2026-03-28T14:30; now without it.")] = None,
    text: Annotated[str | None, option("Anything worth remembering.", "--note")] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Note what happened to a bath; one that is made up may be new.

    Example: dyebook bath note "Ember, E1" made-up --dye-g-per-l 3 --bath-volume-l 2 --ph 5.5
    """
    from dyebook.jobs.baths import bath_called, find_bath, note_bath, outside_window

    event = _event(kind, BATH_EVENTS)
    found = given_each(dye_g_per_l=dye_g_per_l, bath_volume_l=bath_volume_l, bath_temp_c=bath_temp_c)
    with open_at(book) as opened:
        if event == "made_up":
            dye, _, name = bath.partition(", ")
            bath_id = find_bath(opened, dye, name, found.get("bath_volume_l"))
        else:
            row = bath_called(opened, bath, in_use=True)
            dye, bath_id = row["dye"], row["id"]
        number = note_bath(opened, bath_id, event, at, ph=ph, note=text, **found)
        problems = outside_window(opened, dye, ph=ph, bath_temp_c=found.get("bath_temp_c"))
    for problem in problems:
        typer.echo(f"note: {problem}", err=True)
    _print_noted(
        {"bath": bath, "event": number, "kind": event, "problems": problems}, as_json, bath, BATH_EVENTS[event]
    )


def _event(kind, known):
    """The kind of event as the book calls it."""
    event = kind.replace("-", "_")
    if event not in known:
        raise typer.BadParameter(f"{kind!r} is none of {_words_of(known)}")
    return event


def _print_noted(noted, as_json, name, words):
    print_result(noted, as_json, lambda _: f"{name}: {words}, noted")


def top_up(
    bath: BathArgument,
    dye_g_per_l: Annotated[str | None, option("Another strength than is wanted of it.")] = None,
    measured_g_per_l: Annotated[str | None, option("Strength measured now; worked out without it.")] = None,
    present_l: Annotated[str | None, option("Volume now.")] = None,
    dyed_dm2: Annotated[
        str | None, option("Area dyed since its last noted strength; as in the book without it.")
    ] = None,
    evaporated_l: Annotated[str, option("Water lost to the air besides what the book knows.")] = "0",
    keep: Annotated[bool, typer.Option("--keep", help="It is done: note the top-up in the book.")] = False,
    book: BookOption = None,
    page: PageOption = None,
    as_json: JsonOption = False,
):
    """Dye and water that bring a bath back, from all that went through it.

    Example: dyebook bath top-up "Ember, E1" --evaporated-l 0.1
    """
    from dyebook.jobs.bath_state import bath_line
    from dyebook.jobs.baths import bath_called, note_bath
    from dyebook.jobs.strength import top_up_of

    with open_at(book) as opened:
        row = bath_called(opened, bath, in_use=True)
        wanted, plan = top_up_of(
            bath_line(opened, row["id"]),
            row["bath_volume_l"],
            target_g_per_l=given("dye_g_per_l", dye_g_per_l),
            measured_g_per_l=given("dye_g_per_l", measured_g_per_l),
            present_l=given("volume_l", present_l),
            dyed_dm2=given("dyed_dm2", dyed_dm2),
            evaporated_l=given("volume_l", evaporated_l),
        )
        if keep:
            note_bath(opened, row["id"], "topped_up", dye_g_per_l=wanted, bath_volume_l=row["bath_volume_l"])
    label = f"{row['dye']}, {row['name']}"
    title = f"Top up {label} to {wanted:g} g/L" + (", noted" if keep else "")
    show_answer(plan, as_json, title, page, book, bath=label)


def wanted(
    bath: BathArgument,
    strength: Annotated[str, typer.Argument(help="made (up or topped up to), recipe, measured, or a figure in g/L.")],
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Set the strength that top-ups bring a bath back to.

    Example: dyebook bath wanted "Ember, E1" 3
    """
    from dyebook.jobs.bath_state import bath_line
    from dyebook.jobs.baths import bath_called, want_strength
    from dyebook.report.baths import wanted_text

    word = strength.strip().lower()
    with open_at(book) as opened:
        row = bath_called(opened, bath, in_use=True)
        is_word = word in ("made", "recipe", "measured")
        want_strength(opened, row["id"], word if is_word else given("dye_g_per_l", strength))
        line = bath_line(opened, row["id"])
    answer = {"bath": f"{row['dye']}, {row['name']}", "wanted_g_per_l": line.wanted_g_per_l, "as": line.wanted_as}
    print_result(answer, as_json, lambda one: f"{one['bath']}: {wanted_text(line) or 'no strength is known yet'}")


def level(
    part_height_mm: Annotated[str, option("Height of the hanging load, such as 80 or '3 in'.")],
    bath: Annotated[str | None, typer.Argument(help="A bath of the book, whose volume and tank are known.")] = None,
    volume_l: Annotated[str | None, option("Volume in the tank.")] = None,
    tank_area_dm2: Annotated[str | None, option("Inside of the tank from above, such as 1.2 or '18 in2'.")] = None,
    part_volume_l: Annotated[str, option("Volume of the load.")] = "0",
    book: BookOption = None,
    page: PageOption = None,
    as_json: JsonOption = False,
):
    """Whether the dye covers a hanging part.

    Example: dyebook bath level --volume-l 2 --tank-area-dm2 1.2 --part-height-mm 80
    """
    from dyebook.physics.bathcare import check_level

    volume, floor = given("volume_l", volume_l), given("tank_area_dm2", tank_area_dm2)
    if bath is not None:
        volume, floor = _known_tank(book, bath, volume, floor)
    if volume is None or floor is None:
        raise RecordError("volume and area of the tank are needed: give them, or a bath whose rules hold them")
    height, displaced = given("part_height_mm", part_height_mm), given("part_volume_l", part_volume_l)
    show_answer(check_level(volume, floor, height, displaced), as_json, "Does the dye cover the part?", page, book)


def _known_tank(book, name, volume, floor):
    from dyebook.jobs.bath_state import bath_line
    from dyebook.jobs.baths import bath_called, dye_rules

    with open_at(book) as opened:
        row = bath_called(opened, name, in_use=True)
        known = bath_line(opened, row["id"]).present_volume_l or row["bath_volume_l"]
        return volume or known, floor or dye_rules(opened, row["dye"]).get("tank_area_dm2")


def rules(
    dye: Annotated[str, typer.Argument(help="Name of the dye.")],
    ph: Annotated[str | None, option("Window of pH, such as 5,6.")] = None,
    bath_temp_c: Annotated[str | None, option("Window of temperature, such as 45,55.")] = None,
    dye_g_per_l: Annotated[str | None, option("Strength of its recipe.")] = None,
    uptake_mg_per_dm2: Annotated[float | None, option("Dye a usual film takes up.")] = None,
    limit_dm2_per_l: Annotated[float | None, option("Spent after so much area per litre.")] = None,
    limit_days: Annotated[float | None, option("Or after so many days.")] = None,
    evaporation_l_per_day: Annotated[
        float | None, option("Water lost to the air, where you do not fill it up.")
    ] = None,
    tank_area_dm2: Annotated[str | None, option("Inside of its tank from above.")] = None,
    clear: Annotated[list[str] | None, option("Name of a rule to take away; repeatable.")] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """See and set the shop's own rules for a dye.

    Example: dyebook bath rules Ember --ph 5,6 --bath-temp-c 45,55 --limit-days 365
    """
    from dyebook.jobs.baths import dye_rules, set_dye_rules
    from dyebook.report.baths import rule_lines

    rules = {
        "ph": _window(ph),
        "bath_temp_c": _window(bath_temp_c),
        "dye_g_per_l": given("dye_g_per_l", dye_g_per_l),
        "uptake_mg_per_dm2": uptake_mg_per_dm2,
        "limit_dm2_per_l": limit_dm2_per_l,
        "limit_days": limit_days,
        "evaporation_l_per_day": evaporation_l_per_day,
        "tank_area_dm2": given("tank_area_dm2", tank_area_dm2),
    }
    changes = {name: value for name, value in rules.items() if value is not None}
    unknown = [name for name in clear or () if name not in rules]
    if unknown:
        raise typer.BadParameter(f"no rule is called {unknown[0]!r}; there are {', '.join(rules)}")
    with open_at(book) as opened:
        if changes or clear:
            set_dye_rules(opened, dye, **changes, **dict.fromkeys(clear or ()))
        kept = dye_rules(opened, dye)
    answer = {"dye": dye, "rules": kept}
    print_result(answer, as_json, lambda one: "\n".join([f"Rules for {dye}", *rule_lines(one["rules"])]))


def _window(text):
    if text is None:
        return None
    try:
        low, high = (float(part) for part in text.split(","))
    except ValueError:
        raise typer.BadParameter(f"{text!r} is no window; write lower,upper such as 5,6") from None
    return low, high


TankArgument = Annotated[str, typer.Argument(help="Name of the electrolyte.")]


def list_tanks(book: BookOption = None, as_json: JsonOption = False):
    """List the electrolytes with the charge they have carried.

    Example: dyebook tank list
    """
    from dyebook.jobs.baths import life_of_electrolyte
    from dyebook.report.baths import tank_line

    with open_at(book) as opened:
        lives = [(row["name"], life_of_electrolyte(opened, row["id"])) for row in opened.rows("electrolytes")]
    tanks = [{"electrolyte": name, **(life.to_dict() if life else {})} for name, life in lives]

    def text_of(tanks):
        return "\n".join(tank_line(tank) for tank in tanks) or "no electrolyte is in the book yet"

    print_result(tanks, as_json, text_of)


def note_tank(
    name: TankArgument,
    kind: Annotated[str, typer.Argument(help=f"{_words_of(ELECTROLYTE_EVENTS)}.")],
    electrolyte_g_per_l: Annotated[str | None, option("Acid as found or left.")] = None,
    bath_volume_l: Annotated[str | None, option("Volume.")] = None,
    dissolved_al_g_per_l: Annotated[float | None, option("Dissolved aluminium, by titration.")] = None,
    sample_ml: Annotated[float | None, option("Or the burette: bath in the flask.")] = None,
    free_ml: Annotated[float | None, option("Soda with fluoride: free acid.")] = None,
    total_ml: Annotated[float | None, option("Soda without: acid and aluminium.")] = None,
    naoh_mol_per_l: Annotated[float, option("Strength of the soda.")] = 1.0,
    chloride_mg_per_l: Annotated[float | None, option("Chloride.")] = None,
    at: Annotated[str | None, option("When, such as 2026-03-28T14:30; now without it.")] = None,
    text: Annotated[str | None, option("Anything worth remembering.", "--note")] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Note what happened to an electrolyte; one that is made up may be new.

    Example: dyebook tank note "Tank" titrated --sample-ml 5 --free-ml 16.8 --total-ml 20.1
    """
    from dyebook.jobs.baths import electrolyte_called, electrolyte_named, note_electrolyte
    from dyebook.physics.electrolyte import titrate_bath

    event = _event(kind, ELECTROLYTE_EVENTS)
    found = given_each(electrolyte_g_per_l=electrolyte_g_per_l, bath_volume_l=bath_volume_l)
    measured = {"dissolved_al_g_per_l": dissolved_al_g_per_l, "chloride_mg_per_l": chloride_mg_per_l}
    if sample_ml is not None and free_ml is not None:
        by_burette = titrate_bath(sample_ml, free_ml, total_ml, naoh_mol_per_l=naoh_mol_per_l)
        found["electrolyte_g_per_l"] = by_burette.g_per_l
        measured["dissolved_al_g_per_l"] = by_burette.aluminium_g_per_l
    with open_at(book) as opened:
        if event == "made_up":
            tank = electrolyte_named(opened, name, found.get("bath_volume_l"))
        else:
            tank = electrolyte_called(opened, name)
        number = note_electrolyte(opened, tank, event, at, note=text, **found, **measured)
    _print_noted({"electrolyte": name, "event": number, "kind": event}, as_json, name, ELECTROLYTE_EVENTS[event])


def lot(
    product: Annotated[str | None, typer.Argument(help="The dye or chemical; without it, every lot is listed.")] = None,
    number: Annotated[str | None, typer.Argument(help="Lot number on the tin.")] = None,
    opened_on: Annotated[str | None, option("Day it was opened, such as 2026-03-28; today without it.")] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Write down the lot of a dye or chemical that was opened; or list the lots. Batches take the newest of their dye.

    Example: dyebook lot Ember L2231
    """
    from dyebook.jobs.baths import open_lot

    with open_at(book) as opened:
        if product is not None:
            open_lot(opened, product, number, opened_on)
        kept = [{name: row[name] for name in ("product", "lot", "opened_on")} for row in opened.rows("lots")]
    lines = "\n".join(f"{one['product']}: lot {one['lot']}, opened {one['opened_on']}" for one in kept)
    print_result(kept, as_json, lambda _: lines or "no lot is in the book yet")


def life(
    name: TankArgument,
    discard_ah_per_l: Annotated[float | None, option("Your own discard point, A·h per litre.")] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """How far an electrolyte is used, from the runs that went through it.

    Example: dyebook tank life Tank
    """
    from dyebook.jobs.baths import electrolyte_called, life_of_electrolyte

    with open_at(book) as opened:
        used = life_of_electrolyte(opened, electrolyte_called(opened, name), discard_ah_per_l)
    if used is None:
        raise BookError(f"the volume of {name} is not known; note its making up with --bath-volume-l")
    show_answer(used, as_json, f"Life of {name}", electrolyte=name)


def add_commands(app):
    """Add the commands to the shell."""
    group = typer.Typer(help="Dye baths of the book.", no_args_is_help=True)
    group.command("list")(list_baths)
    group.command("top-up")(top_up)
    for command in (show, note, wanted, level, rules):
        group.command()(command)
    app.add_typer(group, name="bath")
    group = typer.Typer(help="Electrolytes of the book.", no_args_is_help=True)
    group.command("list")(list_tanks)
    group.command("note")(note_tank)
    group.command()(life)
    app.add_typer(group, name="tank")
    app.command()(lot)

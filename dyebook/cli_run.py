"""Shell commands for runs on the bench: plan, start, note, pause, resume, end, and what stands."""

from contextlib import contextmanager
from typing import Annotated

import typer

from dyebook.cli_answer import Json, Letter, Page, given, option, show_answer
from dyebook.cli_book import BookOption, open_at
from dyebook.cli_photo import print_json

__all__ = ["RunArgument", "add_commands", "open_run", "show_run"]

RunArgument = Annotated[int, typer.Argument(help="Number of the run.")]
_GROUP = {"help": "Runs on the bench, kept in the book.", "no_args_is_help": True}


@contextmanager
def open_run(path, number):
    """Yield the open book and a run of it, which must be there."""
    from dyebook.jobs.run_state import bench_run

    with open_at(path) as opened:
        yield opened, bench_run(opened, number)


def show_run(book, number, as_json):
    """Print how a run stands."""
    from dyebook.jobs.run_state import bench_run, state_of

    state = state_of(book, bench_run(book, number))
    show_answer(state, as_json, f"Run {number} is {state.state}")


def plan(
    area_dm2: Annotated[str, option("Wetted area, such as 1.5 or '24 in2'.")],
    film_um: Annotated[str, option("Film wanted, such as 12 or '0.5 mil'.")],
    current_density_a_per_dm2: Annotated[str, option("Current density, such as 1.5 or '14 asf'.")] = "1.5",
    supply_max_a: Annotated[str | None, option("What the supply gives at most.")] = None,
    alloy: Annotated[str | None, option("Alloy, such as 6061.")] = None,
    finish: Annotated[str | None, option("Surface: polished, brushed, blasted, etched.")] = None,
    electrolyte: Annotated[str | None, option("Its name in the book; its charge is then counted.")] = None,
    electrolyte_temp_c: Annotated[str | None, option("Electrolyte now.")] = None,
    voltage_v: Annotated[str | None, option("Voltage at the tank.")] = None,
    by: Annotated[str, option("Film reckoned by: 720, 0.30, or gauge (your own readings).")] = "720",
    parts: Annotated[int | None, option("Equal parts on the jig.")] = None,
    order: Annotated[str | None, option("The order it is for.")] = None,
    book: BookOption = None,
    page: Page = None,
    letter: Letter = False,
    as_json: Json = False,
):
    """Plan a run and keep the plan.

    Example: dyebook run plan --area-dm2 2 --film-um 12 --supply-max-a 3 --alloy 6061
    """
    from dyebook.jobs.baths import electrolyte_named
    from dyebook.jobs.gauge import FILM_BY
    from dyebook.jobs.run import plan_run
    from dyebook.jobs.run_plan import reckon_run

    if by not in FILM_BY:
        raise typer.BadParameter(f"{by!r} is none of {', '.join(FILM_BY)}", param_hint="--by")
    temp = given("electrolyte_temp_c", electrolyte_temp_c)
    figures = (
        given("area_dm2", area_dm2),
        given("current_density_a_per_dm2", current_density_a_per_dm2),
        given("film_um", film_um),
    )
    conditions = {"alloy": alloy, "electrolyte_temp_c": temp, "supply_max_a": given("supply_max_a", supply_max_a)}
    with open_at(book) as opened:
        supply, _ = reckon_run(opened, *figures, film_by=by, **conditions)
        run = supply.run
        known = {"alloy": alloy, "finish": finish, "voltage_v": given("voltage_v", voltage_v)}
        known["electrolyte_temp_c"] = None if by == "0.30" else temp
        if electrolyte:
            known["electrolyte_id"] = electrolyte_named(opened, electrolyte)
        wanted = {"area_dm2": run.area_dm2, "current_a": run.current_a, "film_um": run.film_um, "minutes": run.minutes}
        number = plan_run(opened, **wanted, film_by=by, order=order, **known)
    answer = _with_notes(run, supply.notes, parts)
    show_answer(
        answer, as_json, f"Run {number} is planned; start it with: dyebook run start {number}", page, letter, run=number
    )


def _with_notes(run, notes, parts):
    """The plan with what the supply and the jig add to it."""
    from dataclasses import replace

    from dyebook.physics.film import lost_contact_factor

    more = ()
    if parts is not None and parts >= 2:
        factor = lost_contact_factor(parts, 1)
        more = (
            f"at constant current one lost contact among {parts} parts does not show in the total: the others get "
            f"{factor:.2f} times the film",
        )
    return replace(run, notes=(*notes, *more))


def list_runs(
    count: Annotated[int, typer.Option(min=1, help="How many at most.")] = 20,
    is_open: Annotated[bool, typer.Option("--open", help="Only those planned or on.")] = False,
    book: BookOption = None,
    as_json: Json = False,
):
    """List the runs that went over the bench, newest first.

    Example: dyebook run list --open
    """
    from dyebook.jobs.run_state import bench_runs, state_of

    with open_at(book) as opened:
        rows = [row for row in bench_runs(opened) if not is_open or row["anodise_min"] is None]
        states = [state_of(opened, row) for row in rows[:count]]
    if as_json:
        print_json([state.to_dict() for state in states])
    else:
        from dyebook.report_run import run_line

        typer.echo("\n".join(run_line(state.to_dict()) for state in states) or "no run went over the bench yet")


def show(number: RunArgument, book: BookOption = None, as_json: Json = False):
    """Show how a run stands: film now, clock time of the end, charge so far.

    Example: dyebook run show 12
    """
    with open_at(book) as opened:
        show_run(opened, number, as_json)


def start(
    number: RunArgument,
    current_a: Annotated[str | None, option("What the supply shows; as planned without it.")] = None,
    book: BookOption = None,
    as_json: Json = False,
):
    """Start a planned run.

    Example: dyebook run start 12 --current-a 2.9
    """
    from dyebook.jobs.run import start_run

    with open_run(book, number) as (opened, _):
        start_run(opened, number, given("current_a", current_a))
        show_run(opened, number, as_json)


def note(
    number: RunArgument,
    current_a: Annotated[str, typer.Argument(help="What the supply shows now, in A.")],
    voltage_v: Annotated[str | None, option("Voltage now.")] = None,
    electrolyte_temp_c: Annotated[str | None, option("Electrolyte now.")] = None,
    book: BookOption = None,
    as_json: Json = False,
):
    """Note what the supply shows.

    Example: dyebook run note 12 2.8 --electrolyte-temp-c 21
    """
    from dyebook.jobs.run import note_current

    seen = {
        "voltage_v": given("voltage_v", voltage_v),
        "electrolyte_temp_c": given("electrolyte_temp_c", electrolyte_temp_c),
    }
    with open_run(book, number) as (opened, _):
        note_current(opened, number, given("current_a", current_a), **seen)
        show_run(opened, number, as_json)


def pause(number: RunArgument, book: BookOption = None, as_json: Json = False):
    """Note that the current is off for a while.

    Example: dyebook run pause 12
    """
    from dyebook.jobs.run_break import pause_run

    with open_run(book, number) as (opened, _):
        pause_run(opened, number)
        show_run(opened, number, as_json)


def resume(
    number: RunArgument,
    current_a: Annotated[str | None, option("What the supply shows; as before without it.")] = None,
    book: BookOption = None,
    as_json: Json = False,
):
    """Let a run go on after a pause, or after it was ended too early.

    Example: dyebook run resume 12
    """
    from dyebook.jobs.run_break import resume_run

    with open_run(book, number) as (opened, _):
        resume_run(opened, number, given("current_a", current_a))
        show_run(opened, number, as_json)


def end(number: RunArgument, book: BookOption = None, as_json: Json = False):
    """End a run: charge, time and film go into the book.

    Example: dyebook run end 12
    """
    from dyebook.jobs.run import finish_run

    with open_run(book, number) as (opened, _):
        finish_run(opened, number)
        show_run(opened, number, as_json)


def drop(number: RunArgument, book: BookOption = None, as_json: Json = False):
    """Mark a run as deleted, a mistake for instance; it stays in the book's history.

    Example: dyebook run drop 12
    """
    from dyebook.jobs.run import drop_run

    with open_run(book, number) as (opened, _):
        drop_run(opened, number)
    print_json({"run": number, "dropped": True}) if as_json else typer.echo(f"run {number} is dropped")


def add_commands(app):
    """Add the group of commands to the shell."""
    from dyebook import cli_run_work

    group = typer.Typer(**_GROUP)
    group.command("plan")(plan)
    group.command("list")(list_runs)
    for command in (show, start, note, pause, resume, end, drop):
        group.command()(command)
    cli_run_work.add_commands(group)
    app.add_typer(group, name="run")

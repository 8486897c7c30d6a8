"""Shell commands for the work around a run: preparation, wet steps, its batch, gauge readings and its log."""

from pathlib import Path
from typing import Annotated

import typer

from dyebook.cli_answer import Json, given, option, show_answer
from dyebook.cli_book import BookOption
from dyebook.cli_photo import print_json
from dyebook.cli_run import RunArgument, open_run, show_run

__all__ = ["add_commands"]

_KINDS = "clean, etch, desmut, polish, blast, brush, water-break-test, contacts, rinse"


def tick(
    number: RunArgument,
    kind: Annotated[str, typer.Argument(help=f"The step: {_KINDS}.")],
    fails: Annotated[
        bool, typer.Option("--fails", help="It did not pass, such as a sheet of water that breaks.")
    ] = False,
    undo: Annotated[bool, typer.Option("--undo", help="Take the ticks of this step back.")] = False,
    minutes: Annotated[str | None, option("How long it took.")] = None,
    note: Annotated[str | None, option("Anything worth remembering.")] = None,
    book: BookOption = None,
    as_json: Json = False,
):
    """Tick a step of a run's preparation.

    Example: dyebook run tick 12 water-break-test
    """
    from dyebook.jobs.run import tick_step, untick_step

    step = kind.replace("-", "_")
    told = {"passed": False if fails else True if step == "water_break_test" else None, "note": note}
    with open_run(book, number) as (opened, _):
        if undo:
            untick_step(opened, number, step)
        else:
            tick_step(opened, number, step, dwell_min=given("run_min", minutes), **told)
        show_run(opened, number, as_json)


def gauge(
    number: RunArgument,
    readings: Annotated[list[str], typer.Argument(help="What the gauge shows, in µm or such as '0.47 mil'.")],
    book: BookOption = None,
    as_json: Json = False,
):
    """Keep what a gauge read on the parts of a run; it teaches the growth rate.

    Example: dyebook run gauge 12 11.8 12.1 "0.47 mil"
    """
    from dyebook.jobs.gauge import keep_gauge, own_rate

    values = [given("film_measured_um", text) for text in readings]
    with open_run(book, number) as (opened, _):
        row = keep_gauge(opened, number, values)
        conditions = {"alloy": row["alloy"], "electrolyte_temp_c": row["electrolyte_temp_c"]}
        rate = own_rate(opened, **conditions)
    kept = {"run": number, "film_measured_um": row["film_measured_um"]}
    show_answer(rate, as_json, f"Run {number}: {len(values)} readings kept; your growth rate now", **kept)


def log(
    number: RunArgument,
    file: Annotated[Path, typer.Argument(help="CSV of any logger.")],
    supply_max_a: Annotated[str | None, option("The supply's limit.")] = None,
    column: Annotated[list[str] | None, option("Name a column: current_a='Ch 2'; repeatable.")] = None,
    book: BookOption = None,
    as_json: Json = False,
):
    """Keep a logger's file with a run: its charge and film take the place of what the notes said.

    Example: dyebook run log 12 samples/trace_contact_lost.csv
    """
    from dyebook.cli_bench import named_columns
    from dyebook.jobs.gauge import rate_of_trace
    from dyebook.jobs.run import keep_log
    from dyebook.physics.trace import report_trace
    from dyebook.physics.trace_read import read_trace

    trace = read_trace(file, named_columns(column))
    with open_run(book, number) as (opened, row):
        asked = {name: row[name] for name in ("area_dm2", "alloy", "electrolyte_temp_c")}
        rate = rate_of_trace(opened, trace, **asked)
        report = report_trace(trace, own_rate=rate, supply_max_a=given("supply_max_a", supply_max_a), **asked)
        keep_log(opened, number, trace, report)
    show_answer(report, as_json, f"Run {number} now has the log {file.name}", run=number)


def step(
    number: RunArgument,
    name: Annotated[str, typer.Argument(help="cold rinse, bores, dye, rinse, seal.")],
    out: Annotated[bool, typer.Option("--out", help="The step ends; it begins without.")] = False,
    book: BookOption = None,
    as_json: Json = False,
):
    """Note that a wet step after a run begins, or ends.

    Example: dyebook run step 12 dye
    """
    from dyebook.jobs.wet import mark_step, minutes_of, steps_of

    with open_run(book, number) as (opened, _):
        row = mark_step(opened, number, name, ended=out)
    took = minutes_of(row, name)
    if as_json:
        begun, ended = steps_of(row)[name]
        times = {"started_at": begun.isoformat(), "ended_at": ended and ended.isoformat(), "minutes": took}
        print_json({"run": number, "step": name, **times})
    else:
        typer.echo(f"{name} of run {number}: " + ("in" if took is None else f"took {took:.2f} min"))


def dyed(
    number: RunArgument,
    dye: Annotated[str, option("Name of the dye.")],
    dye_g_per_l: Annotated[str, option("Dye strength.")],
    bath_temp_c: Annotated[str, option("Dye bath, such as 50 or '122 °F'.")],
    dwell_min: Annotated[str | None, option("Time in dye; by the clock of its step without.")] = None,
    bath: Annotated[str | None, option("Name of the made-up tank.")] = None,
    second_dye: Annotated[str | None, option("A second dye in the same bath.")] = None,
    second_dye_g_per_l: Annotated[str | None, option("Its strength.")] = None,
    ph: Annotated[float | None, option("pH of the dye bath.")] = None,
    rinse_temp_c: Annotated[str | None, option("Cold rinse.")] = None,
    wait_min: Annotated[
        str | None, option("Wait between the cold rinse and the dye; by the clock of their steps without.")
    ] = None,
    seal: Annotated[
        str | None, option("hot_water, mid_temperature, nickel_acetate, cold_nickel; none without.")
    ] = None,
    seal_temp_c: Annotated[str | None, option("Seal bath.")] = None,
    seal_min: Annotated[str | None, option("Time in the seal; by the clock of its step without.")] = None,
    order: Annotated[str | None, option("The order it belongs to; a nickel seal is flagged by it.")] = None,
    note: Annotated[str | None, option("Anything worth remembering.")] = None,
    book: BookOption = None,
    as_json: Json = False,
):
    """Write the batch that went through a run into the book.

    Example: dyebook run dyed 12 --dye Ember --bath E1 --dye-g-per-l 3 --bath-temp-c 50 --dwell-min 6 --seal hot_water
    """
    from dyebook.jobs.wet import keep_batch, minutes_of, plan_seal_of, seal_values, wait_of

    with open_run(book, number) as (opened, row):
        dip = {
            "dye_g_per_l": given("dye_g_per_l", dye_g_per_l),
            "bath_temp_c": given("bath_temp_c", bath_temp_c),
            "dwell_min": given("dwell_min", dwell_min) or minutes_of(row, "dye"),
            "ph": ph,
            "wait_min": wait_of(row) if wait_min is None else given("wait_min", wait_min),
        }
        rinse_temp = given("rinse_temp_c", rinse_temp_c)
        rinse = {"kind": "tap", "rinse_temp_c": rinse_temp, "dwell_min": minutes_of(row, "cold rinse")}
        sealed = plan = None
        if seal is not None:
            plan = plan_seal_of(opened, row, seal, order)
            took = given("seal_min", seal_min) or minutes_of(row, "seal")
            sealed = seal_values(seal, took, given("seal_temp_c", seal_temp_c))
        told = {"rinse": rinse, "seal": sealed, "note": note, "order": order}
        if second_dye is not None:
            told["second"] = {"dye": second_dye, "dye_g_per_l": given("dye_g_per_l", second_dye_g_per_l)}
        batch = keep_batch(opened, number, dye=dye, bath=bath, dip=dip, **told)
    if as_json:
        print_json({"run": number, "batch": batch, "seal": plan and plan.to_dict()})
        return
    typer.echo(f"batch {batch} is in the book, with run {number}")
    if plan is not None:
        show_answer(plan, False, "The seal")


def add_commands(group):
    """Add the commands to the group of runs."""
    for command in (tick, gauge, log, step, dyed):
        group.command()(command)

"""Shell commands for runs on the bench: from plan and preparation to the end, its log, wet steps and its batch."""

from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from dyebook.shell.options import (
    BookOption,
    JsonOption,
    PageOption,
    PartsOption,
    given,
    given_each,
    open_at,
    option,
    print_result,
    show_answer,
)

__all__ = ["add_commands"]


WhyOption = Annotated[str | None, option("The reason to go on in spite of what was asked; it is kept.")]
RunArgument = Annotated[int, typer.Argument(help="Number of the run.")]


@contextmanager
def _open_run(path, number):
    """Yield the open book and a run of it, which must be there."""
    from dyebook.jobs.run import bench_run

    with open_at(path) as opened:
        yield opened, bench_run(opened, number)


def _show_run(book, number, as_json):
    """Print how a run stands."""
    from dyebook.jobs.run import bench_run, state_of

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
    by: Annotated[str, option("Film worked out by: 720, 0.30, or gauge (your own readings).")] = "720",
    parts: Annotated[int | None, option("Equal parts on the jig.")] = None,
    order: Annotated[str | None, option("The order it is for.")] = None,
    book: BookOption = None,
    page: PageOption = None,
    as_json: JsonOption = False,
):
    """Plan a run and keep the plan.

    Example: dyebook run plan --area-dm2 2 --film-um 12 --supply-max-a 3 --alloy 6061
    """
    from dyebook.jobs.baths import electrolyte_named
    from dyebook.jobs.gauge import FILM_BY
    from dyebook.jobs.run import plan_run, work_out_run

    if by not in FILM_BY:
        raise typer.BadParameter(f"{by!r} is none of {', '.join(FILM_BY)}", param_hint="--by")
    figures = given_each(area_dm2=area_dm2, film_um=film_um, supply_max_a=supply_max_a)
    figures |= given_each(current_density_a_per_dm2=current_density_a_per_dm2)
    temp = given("electrolyte_temp_c", electrolyte_temp_c)
    known = {"alloy": alloy, "finish": finish, **given_each(voltage_v=voltage_v)}
    known["electrolyte_temp_c"] = None if by == "0.30" else temp
    with open_at(book) as opened:
        supply, _ = work_out_run(opened, **figures, film_by=by, alloy=alloy, electrolyte_temp_c=temp)
        run = supply.run
        if electrolyte:
            known["electrolyte_id"] = electrolyte_named(opened, electrolyte)
        wanted = {name: getattr(run, name) for name in ("area_dm2", "current_a", "film_um", "minutes")}
        number = plan_run(opened, **wanted, film_by=by, order=order, **known)
    title = f"Run {number} is planned; start it with: dyebook run start {number}"
    show_answer(_with_notes(run, supply.notes, parts), as_json, title, page, book, run=number)


def _with_notes(run, notes, parts):
    """The plan with what the supply and the jig add to it."""
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
    as_json: JsonOption = False,
):
    """List the runs that went over the bench, newest first.

    Example: dyebook run list --open
    """
    from dyebook.jobs.run import bench_runs, state_of
    from dyebook.report.bench import run_line

    with open_at(book) as opened:
        rows = [row for row in bench_runs(opened) if not is_open or row["anodise_min"] is None]
        states = [state_of(opened, row) for row in rows[:count]]

    def text_of(states):
        return "\n".join(run_line(state.to_dict()) for state in states) or "no run went over the bench yet"

    print_result(states, as_json, text_of)


def show(number: RunArgument, book: BookOption = None, as_json: JsonOption = False):
    """Show how a run stands: film now, clock time of the end, charge so far.

    Example: dyebook run show 12
    """
    with _open_run(book, number) as (opened, _):
        _show_run(opened, number, as_json)


def start(
    number: RunArgument,
    current_a: Annotated[str | None, option("What the supply shows; as planned without it.")] = None,
    why: WhyOption = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Start a planned run.

    Example: dyebook run start 12 --current-a 2.9
    """
    from dyebook.jobs.run import start_run

    with _open_run(book, number) as (opened, _):
        start_run(opened, number, given("current_a", current_a), why=why)
        _show_run(opened, number, as_json)


def note(
    number: RunArgument,
    current_a: Annotated[str, typer.Argument(help="What the supply shows now, in A.")],
    voltage_v: Annotated[str | None, option("Voltage now.")] = None,
    electrolyte_temp_c: Annotated[str | None, option("Electrolyte now.")] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Note what the supply shows.

    Example: dyebook run note 12 2.8 --electrolyte-temp-c 21
    """
    from dyebook.jobs.run import note_current

    seen = given_each(voltage_v=voltage_v, electrolyte_temp_c=electrolyte_temp_c)
    with _open_run(book, number) as (opened, _):
        note_current(opened, number, given("current_a", current_a), **seen)
        _show_run(opened, number, as_json)


def pause(number: RunArgument, book: BookOption = None, as_json: JsonOption = False):
    """Note that the current is off for a while.

    Example: dyebook run pause 12
    """
    from dyebook.jobs.run import pause_run

    with _open_run(book, number) as (opened, _):
        pause_run(opened, number)
        _show_run(opened, number, as_json)


def resume(
    number: RunArgument,
    current_a: Annotated[str | None, option("What the supply shows; as before without it.")] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Let a run go on after a pause, or after it was ended too early.

    Example: dyebook run resume 12
    """
    from dyebook.jobs.run import resume_run

    with _open_run(book, number) as (opened, _):
        resume_run(opened, number, given("current_a", current_a))
        _show_run(opened, number, as_json)


def end(
    number: RunArgument,
    minutes: Annotated[
        str | None, option("Minutes from its start after which the current went off; now without.")
    ] = None,
    why: WhyOption = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """End a run: charge, time and film go into the book.

    Example: dyebook run end 12
    """
    from dyebook.jobs.run import finish_run

    with _open_run(book, number) as (opened, _):
        finish_run(opened, number, minutes=given("run_min", minutes), why=why)
        _show_run(opened, number, as_json)


def drop(number: RunArgument, book: BookOption = None, as_json: JsonOption = False):
    """Mark a run as deleted, a mistake for instance; it stays in the book's history.

    Example: dyebook run drop 12
    """
    from dyebook.jobs.run import drop_run

    with _open_run(book, number) as (opened, _):
        drop_run(opened, number)
    print_result({"run": number, "dropped": True}, as_json, lambda _: f"run {number} is dropped")


_STEPS = "clean, etch, desmut, polish, blast, brush, water-break-test, contacts, rinse"


def tick(
    number: RunArgument,
    kind: Annotated[str, typer.Argument(help=f"The step: {_STEPS}.")],
    fails: Annotated[
        bool, typer.Option("--fails", help="It did not pass, such as a sheet of water that breaks.")
    ] = False,
    undo: Annotated[bool, typer.Option("--undo", help="Take the ticks of this step back.")] = False,
    minutes: Annotated[str | None, option("How long it took.")] = None,
    note: Annotated[str | None, option("Anything worth remembering.")] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Tick a step of a run's preparation.

    Example: dyebook run tick 12 water-break-test
    """
    from dyebook.jobs.run import tick_step, untick_step

    step = kind.replace("-", "_")
    found = {"passed": False if fails else True if step == "water_break_test" else None, "note": note}
    with _open_run(book, number) as (opened, _):
        if undo:
            untick_step(opened, number, step)
        else:
            tick_step(opened, number, step, dwell_min=given("run_min", minutes), **found)
        _show_run(opened, number, as_json)


def gauge(
    number: RunArgument,
    readings: Annotated[list[str], typer.Argument(help="What the gauge shows, a place each, in µm or as '0.47 mil'.")],
    film_class: Annotated[str | None, option("ISO 7599 class asked for, such as AA10.")] = None,
    why: WhyOption = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Keep what a gauge read on the parts of a run; it teaches the growth rate.

    Example: dyebook run gauge 12 11.8 12.1 "0.47 mil"
    """
    from dyebook.jobs.gauge import gauge_check, keep_gauge, own_rate

    values = [given("film_measured_um", text) for text in readings]
    with _open_run(book, number) as (opened, _):
        row = keep_gauge(opened, number, values, film_class, why)
        conditions = {"alloy": row["alloy"], "electrolyte_temp_c": row["electrolyte_temp_c"]}
        rate = own_rate(opened, **conditions)
    check = gauge_check(row)
    kept = {"run": number, "film_measured_um": row["film_measured_um"], "gauge": check.to_dict()}
    if not as_json:
        show_answer(check, False, f"Run {number} by gauge")
    show_answer(rate, as_json, f"Run {number}: {len(values)} readings kept; your growth rate now", **kept)


def log(
    number: RunArgument,
    file: Annotated[Path, typer.Argument(help="CSV of any logger.")],
    supply_max_a: Annotated[str | None, option("The supply's limit.")] = None,
    parts: PartsOption = None,
    column: Annotated[list[str] | None, option("Name a column: current_a='Ch 2'; repeatable.")] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Keep a logger's file with a run: its charge and film take the place of what the notes said.

    Example: dyebook run log 12 samples/trace_contact_lost.csv
    """
    from dyebook.jobs.gauge import rate_of_trace
    from dyebook.jobs.run import keep_log
    from dyebook.physics.trace.events import report_trace
    from dyebook.physics.trace.read import read_trace
    from dyebook.shell.bench import named_columns

    trace = read_trace(file, named_columns(column))
    with _open_run(book, number) as (opened, row):
        asked = {name: row[name] for name in ("area_dm2", "alloy", "electrolyte_temp_c")}
        rate = rate_of_trace(opened, trace, **asked)
        asked["supply_max_a"] = given("supply_max_a", supply_max_a)
        report = report_trace(trace, own_rate=rate, parts=parts, **asked)
        keep_log(opened, number, trace, report)
    show_answer(report, as_json, f"Run {number} now has the log {file.name}", run=number)


def step(
    number: RunArgument,
    name: Annotated[str, typer.Argument(help="cold rinse, bores, dye, rinse, seal: hot water.")],
    out: Annotated[bool, typer.Option("--out", help="The step ends; it begins without.")] = False,
    why: WhyOption = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Note that a wet step after a run begins, or ends.

    Example: dyebook run step 12 dye
    """
    from dyebook.jobs.wet import mark_step, minutes_of, steps_of

    with _open_run(book, number) as (opened, _):
        row = mark_step(opened, number, name, ended=out, why=why)
    took, (begun, ended) = minutes_of(row, name), steps_of(row)[name]
    times = {"started_at": begun.isoformat(), "ended_at": ended and ended.isoformat(), "minutes": took}
    words = "in" if took is None else f"took {took:.2f} min"
    print_result({"run": number, "step": name, **times}, as_json, lambda _: f"{name} of run {number}: {words}")


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
    order: Annotated[str | None, option("The order it belongs to; a nickel seal is asked about by it.")] = None,
    note: Annotated[str | None, option("Anything worth remembering.")] = None,
    why: WhyOption = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Write the batch that went through a run into the book.

    Example: dyebook run dyed 12 --dye Ember --bath E1 --dye-g-per-l 3 --bath-temp-c 50 --dwell-min 6 --seal hot_water
    """
    from dyebook.jobs.wet import keep_batch, minutes_of, plan_seal_of, seal_values, wait_of

    with _open_run(book, number) as (opened, row):
        dip = given_each(dye_g_per_l=dye_g_per_l, bath_temp_c=bath_temp_c) | {
            "dwell_min": given("dwell_min", dwell_min) or minutes_of(row, "dye"),
            "ph": ph,
            "wait_min": wait_of(row) if wait_min is None else given("wait_min", wait_min),
        }
        more = {"order": order, "note": note, "why": why}
        more["rinse"] = {
            "kind": "tap",
            "rinse_temp_c": given("rinse_temp_c", rinse_temp_c),
            "dwell_min": minutes_of(row, "cold rinse"),
        }
        plan = None
        if seal is not None:
            plan = plan_seal_of(opened, row, seal, order)
            took = given("seal_min", seal_min) or minutes_of(row, "seal")
            more["seal"] = seal_values(seal, took, given("seal_temp_c", seal_temp_c))
        if second_dye is not None:
            more["second"] = {"dye": second_dye, "dye_g_per_l": given("dye_g_per_l", second_dye_g_per_l)}
        batch = keep_batch(opened, number, dye=dye, bath=bath, dip=dip, **more)
    answer = {"run": number, "batch": batch, "seal": plan and plan.to_dict()}
    print_result(answer, as_json, lambda _: f"batch {batch} is in the book, with run {number}")
    if plan is not None and not as_json:
        show_answer(plan, False, "The seal")


def seal_test(
    number: RunArgument,
    stain: Annotated[int, typer.Argument(help="Stain of the dye spot, from 0, none, to 5, as deep as unsealed.")],
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Keep the dye spot test of a run's seal (ISO 2143), and say whether it passes.

    Example: dyebook run seal-test 12 1
    """
    from dyebook.jobs.wet import keep_seal_test

    with _open_run(book, number) as (opened, _):
        found = keep_seal_test(opened, number, stain)
    show_answer(found, as_json, f"Seal of run {number}", run=number)


def add_commands(app):
    """Add the group of commands to the shell."""
    group = typer.Typer(help="Runs on the bench, kept in the book.", no_args_is_help=True)
    group.command()(plan)
    group.command("list")(list_runs)
    for command in (show, start, note, pause, resume, end, drop, tick, gauge, log, step, dyed, seal_test):
        group.command()(command)
    app.add_typer(group, name="run")

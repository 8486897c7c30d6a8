"""Shell commands for sums of the bench: acid, electrolyte, area, film, heat, growth, trace, dye bath and seal."""

from pathlib import Path
from typing import Annotated

import typer

from dyebook.errors import RecordError
from dyebook.shell.options import (
    BookOption,
    JsonOption,
    PageOption,
    PartsOption,
    given,
    given_each,
    open_at,
    option,
    show_answer,
)

__all__ = ["add_commands", "named_columns"]


def acid(
    g_per_l: Annotated[str, option("Wanted strength, such as 165 or '22 oz/gal'.")],
    volume_l: Annotated[str, option("Wanted bath, such as 2 or '5 gal'.")],
    wt: Annotated[float | None, option("Sulphuric acid at hand, weight percent, up to 98.")] = None,
    sg: Annotated[float | None, option("Or its specific gravity 20/20, up to 95 %.")] = None,
    sg_temp_c: Annotated[str, option("Temperature at which it was read.")] = "20",
    page: PageOption = None,
    as_json: JsonOption = False,
):
    """How much sulphuric acid and water make an electrolyte.

    Example: dyebook acid --wt 96 --g-per-l 165 --volume-l 2
    """
    if (wt is None) == (sg is None):
        raise typer.BadParameter("give the acid's strength once: --wt from the label, or --sg")
    from dyebook.physics.electrolyte import mix_acid

    strength, volume = given("electrolyte_g_per_l", g_per_l), given("volume_l", volume_l)
    mix = mix_acid(strength, volume, wt_percent=wt, sg=sg, sg_temp_c=given("sg_temp_c", sg_temp_c))
    show_answer(mix, as_json, "Sulphuric acid slowly into water, never the other way round.", page)


def electrolyte(
    sg: Annotated[float | None, option("Specific gravity of the bath, 20/20.")] = None,
    sg_temp_c: Annotated[str, option("Temperature at which it was read.")] = "20",
    aluminium_g_per_l: Annotated[
        float | None, option("Aluminium dissolved in it, for the hydrometer, which reads it as acid.")
    ] = None,
    sample_ml: Annotated[float | None, option("Titration: bath in the flask.")] = None,
    free_ml: Annotated[float | None, option("Soda to the end point with fluoride: free acid.")] = None,
    total_ml: Annotated[float | None, option("Soda to the end point without: acid and aluminium.")] = None,
    naoh_mol_per_l: Annotated[float, option("Strength of the soda.")] = 1.0,
    charge_ah: Annotated[str | None, option("All charge the bath has carried.")] = None,
    volume_l: Annotated[str | None, option("Volume of the bath.")] = None,
    discard_ah_per_l: Annotated[float | None, option("Your own discard point, A·h per litre.")] = None,
    page: PageOption = None,
    as_json: JsonOption = False,
):
    """How strong a bath is by hydrometer or burette, or how much of its life is used.

    Example: dyebook electrolyte --charge-ah 120 --volume-l 2
    """
    from dyebook.physics.electrolyte import bath_life, check_bath, titrate_bath

    if sg is not None:
        found = check_bath(sg, given("sg_temp_c", sg_temp_c), aluminium_g_per_l=aluminium_g_per_l)
        show_answer(found, as_json, "Bath by hydrometer", page)
        return
    if sample_ml is not None and free_ml is not None:
        found = titrate_bath(sample_ml, free_ml, total_ml, naoh_mol_per_l=naoh_mol_per_l)
        show_answer(found, as_json, "Bath by titration", page)
        return
    if charge_ah is None or volume_l is None:
        raise typer.BadParameter(
            "give --sg, or --sample-ml and --free-ml, for the strength, or --charge-ah and --volume-l for the life used"
        )
    used, volume = given("charge_ah", charge_ah), given("volume_l", volume_l)
    show_answer(bath_life(used, volume, discard_ah_per_l=discard_ah_per_l), as_json, "Life of the bath", page)


def area(
    parts: Annotated[list[str], typer.Argument(help="Shapes with measures in mm or with a unit.")],
    jig_dm2: Annotated[str, option("Wetted aluminium of the jig.")] = "0",
    page: PageOption = None,
    as_json: JsonOption = False,
):
    """Wetted area of a load.

    Shapes: rod, tube, plate, disc, ring, ball, cap, cone, turned, hexagon, angle, area; "x4" for four alike.
    A rod may have a thread or a knurl: thread_pitch=1.5 thread_length=20.

    Example: dyebook area "rod diameter=10 length=50 x4" "turned profile=20x30,12x15"
    """
    from dyebook.physics.area import parse_shape, sum_areas

    show_answer(sum_areas([parse_shape(text) for text in parts], given("jig_dm2", jig_dm2)), as_json, "Area", page)


def film(
    area_dm2: Annotated[str, option("Wetted area, such as 1.5 or '24 in2'.")],
    current_a: Annotated[str, option("Current of the run.")],
    minutes: Annotated[str | None, option("Time of the run, to learn the film; 40 or 40:30.")] = None,
    film_um: Annotated[str | None, option("Or the film wanted, to learn the time; 12 or '0.5 mil'.")] = None,
    alloy: Annotated[str | None, option("Alloy, such as 6061.")] = None,
    electrolyte_temp_c: Annotated[
        str | None, option("Corrects for temperature, density and time; the plain rule without it.")
    ] = None,
    rule: Annotated[str, option("720 or 0.30; never mixed.")] = "720",
    readings: Annotated[Path | None, option("CSV of gauged runs: your own growth rate.")] = None,
    page: PageOption = None,
    as_json: JsonOption = False,
):
    """Film from time, or time from film, at constant current.

    Example: dyebook film --area-dm2 1.5 --current-a 2.1 --film-um "0.5 mil"
    """
    if minutes is None and film_um is None:
        raise typer.BadParameter("give --minutes to learn the film, or --film-um for the time")
    from dyebook.physics.film import plan_film

    surface, current = given("area_dm2", area_dm2), given("current_a", current_a)
    temp = given("electrolyte_temp_c", electrolyte_temp_c)
    own = None
    if readings is not None:
        density = current / surface if surface > 0 else None
        own = _own_rate(readings, alloy, temp, density).rate
    plan = plan_film(
        surface,
        current,
        minutes=given("run_min", minutes),
        film_um=given("film_um", film_um),
        alloy=alloy,
        electrolyte_temp_c=temp,
        rule=rule,
        own_rate=own,
    )
    show_answer(plan, as_json, "Anodise run", page)


def heat(
    volume_l: Annotated[str, option("Volume of the tank.")],
    voltage_v: Annotated[str, option("Voltage at the tank.")],
    current_a: Annotated[str, option("Current of the run.")],
    minutes: Annotated[str, option("Time of the run.")],
    start_temp_c: Annotated[str, option("Electrolyte at the start.")] = "20",
    allowed_temp_c: Annotated[str, option("Warmest you allow.")] = "22",
    loss_w_per_k: Annotated[float, option("Heat the tank loses to the room, W per °C.")] = 0.0,
    current_density_a_per_dm2: Annotated[str, option("Current density of the run.")] = "1.5",
    page: PageOption = None,
    as_json: JsonOption = False,
):
    """How warm a run makes the tank, and what keeps it cool.

    Example: dyebook heat --volume-l 2 --voltage-v 15 --current-a 3 --minutes 40
    """
    from dyebook.physics.heat import warm_tank

    plan = warm_tank(
        given("volume_l", volume_l),
        given("voltage_v", voltage_v),
        given("current_a", current_a),
        given("run_min", minutes),
        room_temp_c=given("start_temp_c", start_temp_c),
        loss_w_per_k=loss_w_per_k,
        **given_each(start_temp_c=start_temp_c, allowed_temp_c=allowed_temp_c),
        **given_each(current_density_a_per_dm2=current_density_a_per_dm2),
    )
    show_answer(plan, as_json, "The tank warms", page)


def growth(
    readings: Annotated[
        Path | None, typer.Argument(help="CSV: area_dm2, current_a, minutes, film_measured_um, …; the book without it.")
    ] = None,
    alloy: Annotated[str | None, option("Alloy the rate is wanted for.")] = None,
    electrolyte_temp_c: Annotated[str | None, option("Temperature it is wanted for.")] = None,
    book: BookOption = None,
    page: PageOption = None,
    as_json: JsonOption = False,
):
    """The shop's own growth rate from gauge readings, of the book or of a file.

    Columns: area_dm2, current_a, minutes, film_measured_um; optional electrolyte_temp_c, alloy, gauge_sd_um.

    Example: dyebook growth samples/gauged_runs.csv --alloy 6061
    """
    temp = given("electrolyte_temp_c", electrolyte_temp_c)
    if readings is not None:
        rate = _own_rate(readings, alloy, temp)
    else:
        from dyebook.jobs.gauge import own_rate

        with open_at(book) as opened:
            rate = own_rate(opened, alloy=alloy, electrolyte_temp_c=temp)
    show_answer(rate, as_json, "Your growth rate", page)


def _own_rate(path, alloy, temp_c, density=None):
    from dyebook.physics.growth import learn_growth_rate, read_gauged_runs

    extra = {} if density is None else {"current_density_a_per_dm2": density}
    return learn_growth_rate(read_gauged_runs(path), alloy=alloy, electrolyte_temp_c=temp_c, **extra)


def trace(
    log: Annotated[Path, typer.Argument(help="CSV of any logger: time, current, optional voltage, temperature.")],
    area_dm2: Annotated[str | None, option("Wetted area, for the film.")] = None,
    supply_max_a: Annotated[str | None, option("The supply's limit.")] = None,
    alloy: Annotated[str | None, option("Alloy, such as 6061.")] = None,
    electrolyte_temp_c: Annotated[str | None, option("Electrolyte of the run.")] = None,
    parts: PartsOption = None,
    column: Annotated[
        list[str] | None, option("Name a column where the guess is wrong: current_a='Ch 2'; repeatable.")
    ] = None,
    page: PageOption = None,
    as_json: JsonOption = False,
):
    """Charge, film and events of a run's log.

    Example: dyebook trace samples/trace_contact_lost.csv --area-dm2 1.5
    """
    from dyebook.physics.trace.events import report_trace
    from dyebook.physics.trace.read import read_trace

    report = report_trace(
        read_trace(log, named_columns(column)),
        **given_each(area_dm2=area_dm2, supply_max_a=supply_max_a, electrolyte_temp_c=electrolyte_temp_c),
        alloy=alloy,
        parts=parts,
    )
    show_answer(report, as_json, f"Log {log.name}", page)


def named_columns(pairs):
    """Return columns named as ``quantity=header``, as `read_trace` takes them."""
    named = dict(pair.partition("=")[::2] for pair in pairs or ())
    if "" in named.values():
        raise RecordError("a column is named as quantity=header, such as current_a='Ch 2'")
    return named


def dyebath(
    dye_g_per_l: Annotated[str, option("Wanted strength.")],
    volume_l: Annotated[str, option("Bath at its full level.")],
    measured_g_per_l: Annotated[str | None, option("Strength as measured, for a top-up.")] = None,
    present_l: Annotated[str | None, option("Volume now, for a top-up.")] = None,
    dyed_dm2: Annotated[str | None, option("Or the area dyed since it stood at strength.")] = None,
    film_um: Annotated[str, option("Film of that work.")] = "10",
    evaporated_l: Annotated[str, option("Water lost to the air since.")] = "0",
    uptake_mg_per_dm2: Annotated[float | None, option("Dye taken up per area, where known.")] = None,
    second_dye_g_per_l: Annotated[str | None, option("Of a second dye in the same bath.")] = None,
    page: PageOption = None,
    as_json: JsonOption = False,
):
    """Dye for a new bath, or what brings a used one back.

    Example: dyebook dyebath --dye-g-per-l 3 --volume-l 2 --dyed-dm2 40 --evaporated-l 0.1
    """
    from dyebook.physics.bathcare import make_up_bath, top_up_bath

    wanted, volume = given("dye_g_per_l", dye_g_per_l), given("volume_l", volume_l)
    if measured_g_per_l is None and dyed_dm2 is None:
        second = given("dye_g_per_l", second_dye_g_per_l)
        show_answer(make_up_bath(wanted, volume, second), as_json, "New dye bath", page)
        return
    use = {}
    if measured_g_per_l is None:
        use = given_each(dyed_dm2=dyed_dm2, film_um=film_um, evaporated_l=evaporated_l)
        use["uptake_mg_per_dm2"] = uptake_mg_per_dm2
    measured, present = given("dye_g_per_l", measured_g_per_l), given("volume_l", present_l)
    answer = top_up_bath(wanted, volume, measured_g_per_l=measured, present_volume_l=present, **use)
    show_answer(answer, as_json, "Top up the dye bath", page)


def seal(
    film_um: Annotated[str, option("Film to seal, such as 12 or '0.5 mil'.")],
    kind: Annotated[str, option("hot_water, mid_temperature, nickel_acetate, cold_nickel.")] = "hot_water",
    min_per_um: Annotated[float | None, option("Your own minutes per µm.")] = None,
    skin_or_food: Annotated[bool, option("Worn on the skin or used with food.", "--skin-or-food")] = False,
    no_nickel: Annotated[
        bool, option("The safety data sheet of a mid-temperature seal names no nickel.", "--no-nickel")
    ] = False,
    order: Annotated[str | None, option("The order it is for, which says so.")] = None,
    book: BookOption = None,
    page: PageOption = None,
    as_json: JsonOption = False,
):
    """Time and window to seal a film.

    Example: dyebook seal --film-um 12 --kind hot_water
    """
    from dyebook.physics.sealing import plan_seal

    film = given("film_um", film_um)
    if order is not None:
        from dyebook.jobs.orders import is_for_skin

        with open_at(book) as opened:
            skin_or_food = skin_or_food or is_for_skin(opened, order)
    answer = plan_seal(film, kind, min_per_um=min_per_um, skin_or_food=skin_or_food, no_nickel=no_nickel)
    show_answer(answer, as_json, "Seal", page)


def add_commands(app):
    """Add the bench commands to a shell."""
    for command in (acid, electrolyte, area, film, heat, growth, trace, dyebath, seal):
        app.command()(command)

"""Shell commands that learn a bath from its dips and say what to set."""

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from dyebook.record import check_tolerance, check_value
from dyebook.shell.options import (
    BookOption,
    JsonOption,
    given_each,
    open_at,
    option,
    parse_lab,
    print_result,
    shop_setting,
)
from dyebook.units import UNIT_OF

__all__ = ["add_commands"]

RecordsOption = Annotated[
    Path | None, option("CSV file with a row a dip: film_um, dye_g_per_l, … L, a, b; else the book.")
]
BathOption = Annotated[str | None, option("Bath (or dye) of the book whose dips are learned.")]
TargetOption = Annotated[str, option("The shade to reach, L,a,b under D65/2°.")]
FixOption = Annotated[list[str] | None, option("A setting that cannot move, name=value; repeatable.")]
FreeOption = Annotated[
    bool, option("Let strength and temperature be chosen; without, a bath of the book is as today.", "--free-strength")
]


def suggest(
    target: TargetOption,
    records: RecordsOption = None,
    bath: BathOption = None,
    every: Annotated[bool, option("Ask every bath of the book: which first, or two dyes.", "--all")] = False,
    book: BookOption = None,
    film_um: Annotated[str | None, option("Film of the part; free when left out.")] = None,
    ph: Annotated[float | None, option("pH of the bath.")] = None,
    fix: FixOption = None,
    free_strength: FreeOption = False,
    count: Annotated[int, typer.Option(min=1, max=20, help="How many answers at most.")] = 3,
    sample: Annotated[str | None, option("What the sample is: metal, plastic, paper, cloth, paint.")] = None,
    as_json: JsonOption = False,
):
    """Say which settings should give a shade, and how sure that is.

    Example: dyebook suggest --records dips.csv --target 45,20,-35 --film-um 12 --fix bath_temp_c=40
    """
    from dyebook.advice.suggest import sample_caution
    from dyebook.jobs.shade import learn_book, learn_named
    from dyebook.report.shade import baths_text, stands_text, suggestions_text

    asked, shade, fixed = {"ph": ph, **given_each(film_um=film_um)}, parse_lab(target), _fixed(fix)
    if caution := sample_caution(sample):
        typer.echo(f"note: {caution}", err=True)
    if not every and _is_file(records, bath):
        found = _learn_file(records).suggest(shade, fixed=fixed, count=count, **asked)
        print_result(found, as_json, suggestions_text)
        return
    with open_at(book) as opened:
        label, learned = (None, learn_book(opened)) if every else learn_named(opened, bath)
    if every:
        found = learned.suggest(shade, fixed, free_strength, **asked)
        shown = [(name, _as_it_stands(learned, name, one, fixed)) for name, one in found.suggestions]
        found = replace(found, suggestions=shown)
    else:
        found = learned.suggest_in(label, shade, fixed, free_strength, count=count, **asked)
        found = [_as_it_stands(learned, label, one, fixed) for one in found]
    if not free_strength:
        for name in learned.models:
            if line := stands_text(learned.stands.get(name)):
                typer.echo(f"note: {name} taken at {line}, as it is", err=True)
    if not every and not found[0].reachable:
        typer.echo("note: `dyebook suggest --all` asks the other baths, and two dyes", err=True)
    print_result(found, as_json, baths_text if every else suggestions_text)


def _as_it_stands(learned, label, one, given):
    return replace(one, settings=learned.as_it_stands(label, one.settings, given))


def _fixed(pairs):
    """{setting: number} of ``name=value`` texts, units converted; `typer.BadParameter` when one is not that."""
    fixed = {}
    for pair in pairs or ():
        name, equals, value = (piece.strip() for piece in pair.partition("="))
        if not (name and equals and value):
            raise typer.BadParameter(f"{pair!r} fixes nothing; write a setting and its value, such as bath_temp_c=40")
        if name == "ph":
            fixed[name] = check_value("ph", value)
        elif any(name.endswith(ending) for ending in UNIT_OF):
            fixed |= given_each(**{name: value})
        else:
            raise typer.BadParameter(f"{name!r} is no setting of a dip; such as bath_temp_c=40 is")
    return fixed


def _is_file(records, bath):
    """Whether the dips are a file's; else a bath of the book must be named."""
    if records is None and bath is None:
        raise typer.BadParameter("no dips to learn from; give --records FILE.csv, or --bath NAME of the book")
    return records is not None


def _learn_file(records):
    from dyebook.advice.learn import learn_bath
    from dyebook.jobs.shade import read_records_file

    return learn_bath(read_records_file(records))


def mix(
    target: TargetOption,
    bath: Annotated[list[str] | None, option("A bath of the book; give two.")] = None,
    records: Annotated[list[Path] | None, option("CSV file of one dye's dips, in place of a bath.")] = None,
    book: BookOption = None,
    film_um: Annotated[str | None, option("Film of the part; as usual in the first bath without.")] = None,
    fix: FixOption = None,
    as_json: JsonOption = False,
):
    """Say how two dyes come to a shade: both in one bath, or one bath after the other, and how far to trust that.

    Example: dyebook mix --bath E1 --bath B1 --target 30,5,-10 --film-um 12
    """
    from dyebook.report.shade import mixes_text

    learned = _two_baths(bath or [], records or [], book)
    found = learned.mixes(list(learned.models), parse_lab(target), _fixed(fix), **given_each(film_um=film_um))
    print_result(found, as_json, mixes_text)


def _two_baths(baths, records, book):
    """The two dyes as `LearnedBaths`; those of files stand nowhere."""
    from dyebook.jobs.shade import LearnedBaths, learn_named

    if len(baths) + len(records) != 2:
        raise typer.BadParameter(f"{len(baths) + len(records)} dyes given; --bath or --records is needed twice in all")
    models, stands = {}, {}
    for name in baths:
        with open_at(book) as opened:
            label, learned = learn_named(opened, name)
        models[label] = learned.the(label)
        stands |= learned.stands
    models |= {path.stem: _learn_file(path) for path in records}
    if len(models) != 2:
        raise typer.BadParameter("the two dyes are one and the same; give two different ones")
    return LearnedBaths(models, stands, {})


def redip(
    reading: Annotated[str, option("The part's colour now, L,a,b.")],
    target: TargetOption,
    dye_g_per_l: Annotated[str, option("Dye strength it was dipped in.")],
    bath_temp_c: Annotated[str, option("Bath temperature it was dipped at.")],
    dwell_min: Annotated[str, option("How long it was in the dye, minutes or min:sec.")],
    records: RecordsOption = None,
    bath: BathOption = None,
    book: BookOption = None,
    film_um: Annotated[str | None, option("Its film.")] = None,
    ph: Annotated[float | None, option("pH of the bath.")] = None,
    dry: Annotated[bool | None, option("Dry at any time since the dye.", "--dried/--never-dried")] = None,
    sealed: Annotated[bool | None, option("State of the film.", "--sealed/--unsealed")] = None,
    tolerance: Annotated[float | None, option("Largest difference that passes; else the shop's.")] = None,
    as_json: JsonOption = False,
):
    """Say what to do with a dyed part that is off its shade: more time, another bath of the book next, or strip it.

    Example: dyebook redip --records dips.csv --reading 60,18,-30 --target 50,20,-38 --dye-g-per-l 3
    --bath-temp-c 40 --dwell-min 3 --never-dried --unsealed
    """
    from dyebook.jobs.shade import learn_named
    from dyebook.report.shade import redip_text

    settings = given_each(dye_g_per_l=dye_g_per_l, bath_temp_c=bath_temp_c, dwell_min=dwell_min, film_um=film_um)
    settings |= {} if ph is None else {"ph": ph}
    limit = {"tolerance": shop_setting(book, "tolerance_de00") if tolerance is None else check_tolerance(tolerance)}
    part = (settings, parse_lab(reading), parse_lab(target), dry, sealed)
    if _is_file(records, bath):
        advice = _learn_file(records).redip(*part, **limit)
    else:
        with open_at(book) as opened:
            label, learned = learn_named(opened, bath, others=True)
        advice = learned.redip(label, *part, **limit)
    print_result(advice, as_json, redip_text)


def coupon(
    target: TargetOption,
    records: Annotated[Path | None, option("CSV file of dips; none for a new dye.")] = None,
    bath: BathOption = None,
    book: BookOption = None,
    film_um: Annotated[str | None, option("Film of the coupon.")] = None,
    dye_g_per_l: Annotated[str | None, option("Dye strength of the bath.")] = None,
    fix: FixOption = None,
    free_strength: FreeOption = False,
    as_json: JsonOption = False,
):
    """Say which test dip would teach most about a shade, or how to begin with a new dye.

    Example: dyebook coupon --records dips.csv --target 45,20,-35 --film-um 12
    """
    from dyebook.advice.coupon import starting_plan
    from dyebook.jobs.shade import learn_named
    from dyebook.report.shade import coupons_text

    shade, fixed = parse_lab(target), _fixed(fix) | given_each(film_um=film_um, dye_g_per_l=dye_g_per_l)
    if records is not None:
        found = [_learn_file(records).coupon(shade, fixed=fixed)]
    elif bath is not None:
        with open_at(book) as opened:
            label, learned = learn_named(opened, bath)
        found = [learned.coupon(label, shade, fixed, free_strength)]
    elif {"film_um", "dye_g_per_l"} <= fixed.keys():
        found = starting_plan(fixed["film_um"], fixed["dye_g_per_l"], fixed.get("bath_temp_c"))
    else:
        raise typer.BadParameter("a plan for a new dye needs --film-um and --dye-g-per-l")
    print_result(found, as_json, coupons_text)


def add_commands(app):
    """Add the commands of this file to the shell."""
    for command in (suggest, mix, redip, coupon):
        app.command()(command)

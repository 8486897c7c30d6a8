"""Shell commands that learn a bath from its dips and say what to set."""

from pathlib import Path
from typing import Annotated

import typer

from dyebook.shell.options import BookOption, open_at, parse_lab, print_json

__all__ = ["add_commands"]

RecordsOption = Annotated[
    Path | None, typer.Option(help="CSV file with a row a dip: film_um, dye_g_per_l, … L, a, b; else the book.")
]
BathOption = Annotated[str | None, typer.Option(help="Bath (or dye) of the book whose dips are learned.")]
TargetOption = Annotated[str, typer.Option(help="The shade to reach, L,a,b under D65/2°.")]
FixOption = Annotated[list[str] | None, typer.Option(help="A setting that cannot move, name=value; repeatable.")]
FreeOption = Annotated[
    bool, typer.Option("--free-strength", help="Let the strength be chosen; without, a bath of the book is as today.")
]
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


def _table(records, bath):
    """The table of dips of a file; None where a bath of the book is meant."""
    from dyebook.jobs.shade import read_records_file

    if records is not None:
        return read_records_file(records)
    if bath is None:
        raise typer.BadParameter("no dips to learn from; give --records FILE.csv, or --bath NAME of the book")
    return None


def _learned(book, bath):
    """The bath's label and its book's `LearnedBaths`, with only that bath learned."""
    from dyebook.jobs.shade import baths_named, learn_frames

    with open_at(book) as opened:
        frames = baths_named(opened, bath)
        return next(iter(frames)), learn_frames(opened, frames)


def suggest(
    target: TargetOption,
    records: RecordsOption = None,
    bath: BathOption = None,
    every: Annotated[bool, typer.Option("--all", help="Ask every bath of the book: which first, or two dyes.")] = False,
    book: BookOption = None,
    film_um: Annotated[str | None, typer.Option(help="Film of the part; free when left out.")] = None,
    ph: Annotated[float | None, typer.Option(help="pH of the bath.")] = None,
    fix: FixOption = None,
    free_strength: FreeOption = False,
    count: Annotated[int, typer.Option(min=1, max=20, help="How many answers at most.")] = 3,
    sample: Annotated[str | None, typer.Option(help="What the sample is: metal, plastic, paper, cloth, paint.")] = None,
    as_json: JsonOption = False,
):
    """Say which settings should give a shade, and how sure that is.

    Example: dyebook suggest --records dips.csv --target 45,20,-35 --film-um 12 --fix bath_temp_c=40
    """
    from dyebook.advice.suggest import sample_caution

    asked = {"film_um": None if film_um is None else _quantity("film_um", film_um), "ph": ph}
    fixed, shade = parse_fixed(fix), parse_lab(target)
    if sample_caution(sample):
        typer.echo(f"note: {sample_caution(sample)}", err=True)
    if every:
        _suggest_all(book, shade, fixed, free_strength, asked, as_json)
        return
    table = _table(records, bath)
    if table is not None:
        from dyebook.jobs.shade import suggest_from_frame

        _show(suggest_from_frame(table, shade, fixed=fixed, count=count, **asked), as_json)
        return
    label, learned = _learned(book, bath)
    found = learned.suggest_in(label, shade, fixed, free_strength, count=count, **asked)
    _tell_strength(learned, fixed, free_strength)
    if not found[0].reachable:
        typer.echo("note: `dyebook suggest --all` asks the other baths, and two dyes", err=True)
    _show(found, as_json)


def _show(found, as_json):
    from dyebook.report.shade import suggestions_text

    print_json([one.to_dict() for one in found]) if as_json else typer.echo(suggestions_text(found))


def _suggest_all(book, shade, fixed, free_strength, asked, as_json):
    from dyebook.jobs.shade import learn_book
    from dyebook.report.shade import baths_text

    with open_at(book) as opened:
        learned = learn_book(opened)
    advice = learned.suggest(shade, fixed, free_strength, **asked)
    _tell_strength(learned, fixed, free_strength)
    print_json(advice.to_dict()) if as_json else typer.echo(baths_text(advice))


def _tell_strength(learned, fixed, free_strength):
    """Say on stderr which strengths were taken."""
    if free_strength or "dye_g_per_l" in fixed:
        return
    for label in learned.models:
        if label in learned.strengths:
            typer.echo(f"note: {label} taken at {learned.strengths[label]:.3g} g/L, as last written down", err=True)


def mix(
    target: TargetOption,
    bath: Annotated[list[str] | None, typer.Option(help="A bath of the book; give two.")] = None,
    records: Annotated[list[Path] | None, typer.Option(help="CSV file of one dye's dips, in place of a bath.")] = None,
    book: BookOption = None,
    film_um: Annotated[str | None, typer.Option(help="Film of the part; as usual in the first bath without.")] = None,
    fix: FixOption = None,
    as_json: JsonOption = False,
):
    """Say how two dyes come to a shade: both in one bath, or one bath after the other, and how far to trust that.

    Example: dyebook mix --bath E1 --bath B1 --target 30,5,-10 --film-um 12
    """
    from dyebook.jobs.shade import mixes_of
    from dyebook.report.shade import mixes_text

    models, fixed_of = _two_baths(bath or [], records or [], book, parse_fixed(fix))
    film = None if film_um is None else _quantity("film_um", film_um)
    found = mixes_of(models, list(models), parse_lab(target), film, fixed_of)
    print_json([one.to_dict() for one in found]) if as_json else typer.echo(mixes_text(found))


def _two_baths(baths, records, book, fixed):
    """Two models by name, and what cannot move in each."""
    from dyebook.advice.learn import learn_bath
    from dyebook.jobs.shade import read_records_file

    if len(baths) + len(records) != 2:
        raise typer.BadParameter(f"{len(baths) + len(records)} dyes given; --bath or --records is needed twice in all")
    models, fixed_of = {}, {}
    for name in baths:
        label, learned = _learned(book, name)
        models[label], fixed_of[label] = learned.the(label), learned.fixed(label, fixed)
    for path in records:
        models[path.stem], fixed_of[path.stem] = learn_bath(read_records_file(path)), fixed
    if len(models) != 2:
        raise typer.BadParameter("the two dyes are one and the same; give two different ones")
    return models, fixed_of


def redip(
    reading: Annotated[str, typer.Option(help="The part's colour now, L,a,b.")],
    target: TargetOption,
    dye_g_per_l: Annotated[str, typer.Option(help="Dye strength it was dipped in.")],
    bath_temp_c: Annotated[str, typer.Option(help="Bath temperature it was dipped at.")],
    dwell_min: Annotated[str, typer.Option(help="How long it was in the dye, minutes or min:sec.")],
    records: RecordsOption = None,
    bath: BathOption = None,
    book: BookOption = None,
    film_um: Annotated[str | None, typer.Option(help="Its film.")] = None,
    ph: Annotated[float | None, typer.Option(help="pH of the bath.")] = None,
    dry: Annotated[bool | None, typer.Option("--dried/--never-dried", help="Dry at any time since the dye.")] = None,
    sealed: Annotated[bool | None, typer.Option("--sealed/--unsealed", help="State of the film.")] = None,
    as_json: JsonOption = False,
):
    """Say what to do with a dyed part that is off its shade: more time, another bath of the book next, or strip it.

    Example: dyebook redip --records dips.csv --reading 60,18,-30 --target 50,20,-38 --dye-g-per-l 3
    --bath-temp-c 40 --dwell-min 3 --never-dried --unsealed
    """
    from dyebook.report.shade import redip_text

    texts = {"dye_g_per_l": dye_g_per_l, "bath_temp_c": bath_temp_c, "dwell_min": dwell_min, "film_um": film_um}
    settings = {name: _quantity(name, text) for name, text in texts.items() if text is not None}
    if ph is not None:
        settings["ph"] = ph
    table, colours = _table(records, bath), (parse_lab(reading), parse_lab(target))
    if table is not None:
        from dyebook.jobs.shade import redip_from_frame

        advice = redip_from_frame(table, settings, *colours, dry=dry, sealed=sealed)
    else:
        from dyebook.jobs.shade import redip_in_book

        with open_at(book) as opened:
            advice = redip_in_book(opened, bath, settings, *colours, dry=dry, sealed=sealed)
    print_json(advice.to_dict()) if as_json else typer.echo(redip_text(advice))


def coupon(
    target: TargetOption,
    records: Annotated[Path | None, typer.Option(help="CSV file of dips; none for a dye nobody has dipped.")] = None,
    bath: BathOption = None,
    book: BookOption = None,
    film_um: Annotated[str | None, typer.Option(help="Film of the coupon.")] = None,
    dye_g_per_l: Annotated[str | None, typer.Option(help="Dye strength of the bath.")] = None,
    fix: FixOption = None,
    free_strength: FreeOption = False,
    as_json: JsonOption = False,
):
    """Say which test dip would teach most about a shade, or how to begin with a new dye.

    Example: dyebook coupon --records dips.csv --target 45,20,-35 --film-um 12
    """
    from dyebook.report.shade import coupons_text

    fixed = parse_fixed(fix)
    for name, text in (("film_um", film_um), ("dye_g_per_l", dye_g_per_l)):
        if text is not None:
            fixed[name] = _quantity(name, text)
    found = _plan(records, bath, book, parse_lab(target), fixed, free_strength)
    print_json([one.to_dict() for one in found]) if as_json else typer.echo(coupons_text(found))


def _plan(records, bath, book, target, fixed, free_strength):
    if records is not None:
        from dyebook.jobs.shade import coupon_from_frame

        return [coupon_from_frame(_table(records, bath), target, fixed=fixed)]
    if bath is not None:
        label, learned = _learned(book, bath)
        return [learned.the(label).coupon(target, fixed=learned.fixed(label, fixed, free_strength))]
    from dyebook.advice.coupon import starting_plan

    missing = [name for name in ("film_um", "dye_g_per_l") if name not in fixed]
    if missing:
        raise typer.BadParameter("a plan for a new dye needs --film-um and --dye-g-per-l")
    return starting_plan(fixed["film_um"], fixed["dye_g_per_l"], fixed.get("bath_temp_c"))


def add_commands(app):
    """Add the commands of this file to the shell."""
    for command in (suggest, mix, redip, coupon):
        app.command()(command)

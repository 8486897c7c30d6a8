"""Shell commands that learn a bath from its dips and say what to set."""

from pathlib import Path
from typing import Annotated

import typer

from dyebook.cli_book import BookOption, open_at
from dyebook.cli_photo import parse_lab, print_json

__all__ = ["add_commands"]

RecordsOption = Annotated[
    Path | None, typer.Option(help="CSV file with a row a dip: film_um, dye_g_per_l, … L, a, b; else the book.")
]
BathOption = Annotated[str | None, typer.Option(help="Bath (or dye) of the book whose dips are learned.")]
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


def _dips(records, book, bath):
    """The table of dips of a file, or of one bath of the book."""
    from dyebook.jobs.shade import dips_in_book, read_records_file

    if records is not None:
        return read_records_file(records)
    if bath is None:
        raise typer.BadParameter("no dips to learn from; give --records FILE.csv, or --bath NAME of the book")
    return dips_in_book(open_at(book), bath)


def suggest(
    target: TargetOption,
    records: RecordsOption = None,
    bath: BathOption = None,
    book: BookOption = None,
    film_um: Annotated[str | None, typer.Option(help="Film of the part; free when left out.")] = None,
    ph: Annotated[float | None, typer.Option(help="pH of the bath.")] = None,
    fix: Annotated[list[str] | None, typer.Option(help="A setting that cannot move, name=value; repeatable.")] = None,
    count: Annotated[int, typer.Option(min=1, max=20, help="How many answers at most.")] = 3,
    sample: Annotated[str | None, typer.Option(help="What the sample is: metal, plastic, paper, cloth, paint.")] = None,
    as_json: JsonOption = False,
):
    """Say which settings should give a shade, and how sure that is.

    Example: dyebook suggest --records dips.csv --target 45,20,-35 --film-um 12 --fix bath_temp_c=40
    """
    from dyebook.advice.light import sample_caution
    from dyebook.jobs.shade import suggest_from_frame
    from dyebook.report_shade import suggestions_text

    film = None if film_um is None else _quantity("film_um", film_um)
    asked = {"film_um": film, "ph": ph, "fixed": parse_fixed(fix), "count": count}
    found = suggest_from_frame(_dips(records, book, bath), parse_lab(target), **asked)
    if sample_caution(sample):
        typer.echo(f"note: {sample_caution(sample)}", err=True)
    print_json([one.to_dict() for one in found]) if as_json else typer.echo(suggestions_text(found))


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
    """Say what to do with a dyed part that is off its shade.

    Example: dyebook redip --records dips.csv --reading 60,18,-30 --target 50,20,-38 --dye-g-per-l 3
    --bath-temp-c 40 --dwell-min 3 --never-dried --unsealed
    """
    from dyebook.jobs.shade import redip_from_frame
    from dyebook.report_shade import redip_text

    texts = {"dye_g_per_l": dye_g_per_l, "bath_temp_c": bath_temp_c, "dwell_min": dwell_min, "film_um": film_um}
    settings = {name: _quantity(name, text) for name, text in texts.items() if text is not None}
    if ph is not None:
        settings["ph"] = ph
    table, colours = _dips(records, book, bath), (parse_lab(reading), parse_lab(target))
    advice = redip_from_frame(table, settings, *colours, dry=dry, sealed=sealed)
    print_json(advice.to_dict()) if as_json else typer.echo(redip_text(advice))


def coupon(
    target: TargetOption,
    records: Annotated[Path | None, typer.Option(help="CSV file of dips; none for a dye nobody has dipped.")] = None,
    bath: BathOption = None,
    book: BookOption = None,
    film_um: Annotated[str | None, typer.Option(help="Film of the coupon.")] = None,
    dye_g_per_l: Annotated[str | None, typer.Option(help="Dye strength of the bath.")] = None,
    fix: Annotated[list[str] | None, typer.Option(help="A setting that cannot move, name=value; repeatable.")] = None,
    as_json: JsonOption = False,
):
    """Say which test dip would teach most about a shade, or how to begin with a new dye.

    Example: dyebook coupon --records dips.csv --target 45,20,-35 --film-um 12
    """
    from dyebook.report_shade import coupons_text

    fixed = parse_fixed(fix)
    for name, text in (("film_um", film_um), ("dye_g_per_l", dye_g_per_l)):
        if text is not None:
            fixed[name] = _quantity(name, text)
    table = None if records is None and bath is None else _dips(records, book, bath)
    found = _plan(table, parse_lab(target), fixed)
    print_json([one.to_dict() for one in found]) if as_json else typer.echo(coupons_text(found))


def _plan(table, target, fixed):
    if table is not None:
        from dyebook.jobs.shade import coupon_from_frame

        return [coupon_from_frame(table, target, fixed=fixed)]
    from dyebook.advice.coupon import starting_plan

    missing = [name for name in ("film_um", "dye_g_per_l") if name not in fixed]
    if missing:
        raise typer.BadParameter("a plan for a new dye needs --film-um and --dye-g-per-l")
    return starting_plan(fixed["film_um"], fixed["dye_g_per_l"], fixed.get("bath_temp_c"))


def add_commands(app):
    """Add the commands of this file to the shell."""
    for command in (suggest, redip, coupon):
        app.command()(command)

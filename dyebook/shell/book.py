"""Shell commands that keep the book: write, list, find, correct, carry in and out; no command ever loses anything."""

from pathlib import Path
from typing import Annotated

import typer

from dyebook.record import GEOMETRIES, SETTINGS, SHOP_SETTINGS, geometry_named, parse_value
from dyebook.shell.options import (
    BookOption,
    CountOption,
    JsonOption,
    SetupOption,
    field_options,
    open_at,
    optional,
    parse_lab,
    print_result,
    progress_bar,
    record_from,
    with_options,
)

__all__ = ["add_commands"]


@with_options(*field_options(*SETTINGS, "wet", "sealed"))
def record(
    photo: Annotated[Path | None, typer.Option(help="Photo of the part beside the grey card.")] = None,
    part: Annotated[str, typer.Option(help="Which part of the photo, as `measure` counts them, or all.")] = "1",
    lab: Annotated[str | None, typer.Option(help="A reading from an instrument, L,a,b under D65/2°.")] = None,
    geometry: Annotated[str | None, typer.Option(help=f"How that instrument looks: {', '.join(GEOMETRIES)}.")] = None,
    replaces: Annotated[int | None, typer.Option(help="The batch that was stripped and is done again.")] = None,
    setup: SetupOption = None,
    book: BookOption = None,
    as_json: JsonOption = False,
    **settings,
):
    """Write a batch into the book, with its photo measured. Settings may be given in other units.

    Example: dyebook record --dye "Harbour blue" --film-um 12 --dye-g-per-l 3 --bath-temp-c 40 --dwell-min 5
    """
    if geometry is not None and lab is None:
        raise typer.BadParameter("--geometry is that of the instrument which read --lab")
    if part != "all" and not (part.isdecimal() and int(part)):
        raise typer.BadParameter(f"--part is a number from 1, or all, not {part!r}")
    which = None if part == "all" else int(part) - 1
    new, geometry = record_from(settings, None if lab is None else parse_lab(lab)), geometry_named(geometry)
    from dyebook.jobs.photo import record_dip

    with open_at(book) as opened:
        kept = record_dip(opened, new, photo, which, replaces, None, geometry, setup=setup, finish=new.finish)
    for warning in kept.warnings:
        typer.echo(f"note: {warning}", err=True)
    print_result(kept, as_json, lambda _: f"batch {kept.batch} is in the book")


_FEW_FILTERS = (
    optional("dye", "Only this dye."),
    optional("bath", "Only this bath."),
    optional("since", "From this day on, such as 2026-03-01."),
    optional("until", "Up to this day."),
)
_FILTERS = (
    *_FEW_FILTERS,
    optional("alloy", "Only this alloy."),
    optional("order", "Only this order."),
    optional("text", "Words in notes and names."),
)


@with_options(*_FILTERS)
def list_batches(
    count: Annotated[int | None, typer.Option(min=1, help="The newest so many; all without.")] = None,
    deleted: Annotated[bool, typer.Option("--deleted", help="Those marked as deleted instead.")] = False,
    book: BookOption = None,
    as_json: JsonOption = False,
    **filters,
):
    """List the batches, newest first.

    Example: dyebook list --count 10
    """
    from dyebook.report.batches import batches_text

    with open_at(book) as opened:
        found = opened.batches(count, deleted=deleted, **filters)
    print_result(found, as_json, batches_text)


@with_options(*_FILTERS)
def find(
    lab: Annotated[str | None, typer.Option(help="The shade, L,a,b under D65/2°.")] = None,
    photo: Annotated[Path | None, typer.Option(help="A photo of the shade beside the grey card.")] = None,
    count: CountOption = 20,
    book: BookOption = None,
    as_json: JsonOption = False,
    **filters,
):
    """Find the batches nearest in colour, by CIEDE2000, or those that match.

    Example: dyebook find --lab 35,10,-42 --count 5
    """
    if lab is not None and photo is not None:
        raise typer.BadParameter("give the shade either as --lab or as --photo")
    from dyebook.report.batches import batches_text

    shade = None if lab is None else parse_lab(lab)
    with open_at(book) as opened:
        if photo is not None:
            from dyebook.jobs.photo import shade_of

            shade = shade_of(opened, photo)
        found = opened.find(shade, count, **filters)
    rows, differences = [one.row for one in found], [one.delta_e00 for one in found]
    print_result(found, as_json, lambda _: batches_text(rows, differences))


def check(
    salvage: Annotated[
        Path | None,
        typer.Option(help="Write what can still be read of a damaged book to a new one: its folder.", file_okay=False),
    ] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Check that the book still holds what it was given; exit 1 where it does not.

    Example: dyebook check
    """
    if salvage is not None:
        _salvage(salvage, book, as_json)
        return
    with open_at(book) as opened:
        problems = opened.check()
    answer = {"ok": not problems, "problems": problems}
    print_result(answer, as_json, lambda _: "\n".join(problems) or "the book is sound")
    if problems:
        raise typer.Exit(1)


def _salvage(folder, book, as_json):
    from dyebook.book.connect import find_place
    from dyebook.book.salvage import salvage_book

    told = salvage_book(find_place(book), folder)
    words = f"{told['batches']} batches and {told['photos']} photos are in the new book {folder}"
    if told["lost_rows"] or told["lost_photos"]:
        words += f"\nlost: {told['lost_rows']} rows of {told['lost_rows'] + told['rows']}, {told['lost_photos']} photos"
        words += "; keep the damaged book, and compare with the last backup"
    print_result({"book": str(folder), **told}, as_json, lambda _: words)


def import_(
    file: Annotated[Path, typer.Argument(help="CSV, XLSX, JSON Lines or Parquet; or ISO 28178 text, ISO 17972-1 XML.")],
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Say what would happen, and write nothing.")] = False,
    duplicates: Annotated[str, typer.Option(help="Rows that are there already: refuse, skip or keep.")] = "refuse",
    batch: Annotated[int | None, typer.Option(help="For instrument readings: the batch they belong to.")] = None,
    white: Annotated[str | None, typer.Option(help="For readings that do not say: white point, such as D50.")] = None,
    observer: Annotated[str | None, typer.Option(help="For readings that do not say: 2 or 10.")] = None,
    geometry: Annotated[
        str | None, typer.Option(help="For readings that do not say: 45/0, d/8 included or d/8 excluded.")
    ] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Import records or instrument readings, all of them or none.

    Example: dyebook import notes.csv --dry-run
    """
    if duplicates not in ("refuse", "skip", "keep"):
        raise typer.BadParameter("--duplicates is refuse, skip or keep")
    from dyebook.report.batches import import_text

    stated = {"white": white, "observer": observer, "geometry": geometry}
    with open_at(book) as opened, progress_bar("importing") as progress:
        done = opened.import_file(file, dry_run, duplicates, progress, batch=batch, **stated)
    for note in done.notes:
        typer.echo(f"note: {note}", err=True)
    print_result(done, as_json, import_text)


@with_options(*_FEW_FILTERS)
def export(
    file: Annotated[Path, typer.Argument(help="To write: .csv, .xlsx, .jsonl or .parquet.", writable=True)],
    book: BookOption = None,
    as_json: JsonOption = False,
    **filters,
):
    """Write the batches as a table, a row a reading.

    Example: dyebook export batches.csv
    """
    with open_at(book) as opened:
        rows = opened.export_file(file, **filters)
    print_result({"file": str(file), "rows": rows}, as_json, lambda _: f"{rows} rows written to {file}")


def backup(
    file: Annotated[Path, typer.Argument(help="The zip file to write.", writable=True)],
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Write the whole book with its photos into one file, while it is in use.

    Example: dyebook backup shop.zip
    """
    with open_at(book) as opened:
        done = opened.back_up(file)
    words = f"{done['batches']} batches and {done['photos']} photos are in {file}"
    print_result({"file": str(file), **done}, as_json, lambda _: words)


def restore(
    file: Annotated[Path, typer.Argument(help="A file that the backup command made.")],
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Replace the whole book by a backup, once all of it has been verified.

    Example: dyebook restore shop.zip
    """
    with open_at(book) as opened:
        done = opened.restore(file)
    words = f"{done['batches']} batches and {done['photos']} photos are back"
    if done["saved"]:
        words += f"\nwhat was there before is kept in {done['saved']}"
    print_result(done, as_json, lambda _: words)


BatchArgument = Annotated[int, typer.Argument(help="Number of the batch.")]
VersionOption = Annotated[
    int | None, typer.Option(help="The version you looked at; refused if the batch was changed since.")
]


def correct(
    batch: BatchArgument,
    changes: Annotated[list[str], typer.Argument(help="What to set, name=value; other units are converted.")],
    version: VersionOption = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Correct settings of a batch; the old values stay in its history.

    Example: dyebook correct 118 dwell_min=5:30 note="clock was slow"
    """
    values = _values_of(changes)
    with open_at(book) as opened:
        new = opened.correct_batch(batch, values, version)
    print_result({"batch": batch, "version": new}, as_json, lambda _: f"batch {batch} is now at version {new}")


def _values_of(changes):
    """Names and values of ``name=value`` words, units converted."""
    values = {}
    for word in changes:
        name, equals, text = word.partition("=")
        if not equals or name not in SETTINGS:
            raise typer.BadParameter(f"{word!r} is not name=value with one of {', '.join(SETTINGS)}")
        values[name] = parse_value(name, text)
    return values


def delete(
    batch: BatchArgument,
    undo: Annotated[bool, typer.Option("--undo", help="Bring it back instead.")] = False,
    version: VersionOption = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Mark a batch as deleted; it stays in the book and can be brought back.

    Example: dyebook delete 118
    """
    with open_at(book) as opened:
        new = (opened.undelete if undo else opened.delete)("batches", batch, version)
    words = f"batch {batch} is back" if undo else f"batch {batch} is marked as deleted; --undo brings it back"
    print_result({"batch": batch, "version": new, "deleted": not undo}, as_json, lambda _: words)


def history(batch: BatchArgument, book: BookOption = None, as_json: JsonOption = False):
    """Show who changed a batch, when, from what to what.

    Example: dyebook history 118
    """
    from dyebook.report.batches import history_text

    with open_at(book) as opened:
        lines = opened.batch_history(batch)
    print_result(lines, as_json, history_text)


def settings(
    name: Annotated[str | None, typer.Argument(help="One of the settings; all without it.")] = None,
    value: Annotated[str | None, typer.Argument(help="What it is to be from now on; '' for its default.")] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Show or change what the shop sets once: its name, the grey card's Lab, the tolerance, the photos, the address.

    Example: dyebook settings tolerance_de00 1.5
    """
    from dyebook.report.words import setting_text

    if name is not None and name not in SHOP_SETTINGS:
        raise typer.BadParameter(f"{name!r} is no setting; one of {', '.join(SHOP_SETTINGS)}")
    with open_at(book) as opened:
        if value is not None:
            opened.set_setting(name, value)
        values = {one: opened.setting(one) for one in SHOP_SETTINGS if name in (None, one)}

    def line_of(one):
        row = SHOP_SETTINGS[one]
        return f"{one:15} {setting_text(values[one]) or 'not set'}   {row.label}: {row.meaning}"

    print_result(values, as_json, lambda _: "\n".join(map(line_of, values)))


def add_commands(app):
    """Add the commands to the shell."""
    app.command("import")(import_)
    for command in (export, backup, restore, record):
        app.command()(command)
    app.command("list")(list_batches)
    for command in (find, check, correct, delete, history, settings):
        app.command()(command)

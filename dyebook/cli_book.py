"""Shell commands that keep the book."""

import sys
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from dyebook.cli_photo import parse_lab, print_json

__all__ = ["BookOption", "JsonOption", "add_commands", "open_at", "progress_bar", "record_from"]

_BOOK = typer.Option("--book", help="Folder, .sqlite file or postgresql:// URL; else DYEBOOK_BOOK, else your own.")
BookOption = Annotated[str | None, _BOOK]
JsonOption = Annotated[bool, typer.Option("--json", help="One JSON value on stdout.")]
CountOption = Annotated[int, typer.Option(min=1, help="How many at most.")]


def _quantity(text):
    return typer.Option(help=text + "; other units are converted.")


def open_at(path):
    """Return the open book at a path or URL, or where the environment says; say on stderr where it had to be begun."""
    from dyebook.book.place import find_place
    from dyebook.book.store import open_book

    place = find_place(path)
    is_new = place.file is not None and not place.file.exists()
    book = open_book(path)
    if is_new:
        typer.echo(f"no book stood at {place.name}: a new, empty one was begun there", err=True)
    return book


@contextmanager
def progress_bar(words):
    """A progress bar on stderr, shown only to people: a function of (done, total), or None."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(words, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def record(
    dye: Annotated[str, typer.Option(help="Name of the dye.")],
    film_um: Annotated[str, _quantity("Film in µm, or such as '0.5 mil'")],
    dye_g_per_l: Annotated[str, _quantity("Dye strength in g/L")],
    bath_temp_c: Annotated[str, _quantity("Dye bath in °C, or such as '140 °F'")],
    dwell_min: Annotated[str, _quantity("Time in dye in minutes, or min:sec")],
    ph: Annotated[str | None, typer.Option(help="pH of the dye bath.")] = None,
    bath: Annotated[str | None, typer.Option(help="Name of the made-up tank.")] = None,
    film_measured_um: Annotated[str | None, _quantity("Film as a gauge read it")] = None,
    film_sd_um: Annotated[str | None, _quantity("Uncertainty of the film")] = None,
    area_dm2: Annotated[str | None, _quantity("Wetted area")] = None,
    current_density_a_per_dm2: Annotated[str | None, _quantity("Anodising current per area")] = None,
    electrolyte_temp_c: Annotated[str | None, _quantity("Acid during the run")] = None,
    alloy: Annotated[str | None, typer.Option(help="Alloy such as 6061.")] = None,
    finish: Annotated[str | None, typer.Option(help="Surface before anodising.")] = None,
    rinse_temp_c: Annotated[str | None, _quantity("Rinse before the dye")] = None,
    wait_min: Annotated[str | None, _quantity("Wait between that rinse and the dye, in minutes or min:sec")] = None,
    wet: Annotated[bool | None, typer.Option("--wet/--dry", help="State of the part when read.")] = None,
    sealed: Annotated[bool | None, typer.Option("--sealed/--unsealed", help="State of the film when read.")] = None,
    dyed_at: Annotated[str | None, typer.Option(help="Date and time, such as 2026-03-28T14:30.")] = None,
    note: Annotated[str | None, typer.Option(help="Anything worth remembering.")] = None,
    photo: Annotated[Path | None, typer.Option(help="Photo of the part beside the grey card.")] = None,
    part: Annotated[int, typer.Option(min=1, help="Which part of the photo, as `measure` counts them.")] = 1,
    lab: Annotated[str | None, typer.Option(help="A reading from an instrument, L,a,b under D65/2°.")] = None,
    replaces: Annotated[int | None, typer.Option(help="The batch that was stripped and is done again.")] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Write a batch into the book, with its photo measured.

    Example: dyebook record --dye "Harbour blue" --film-um 12 --dye-g-per-l 3 --bath-temp-c 40 --dwell-min 5
    """
    given = dict(locals())
    record_of = record_from(given, None if lab is None else parse_lab(lab))
    from dyebook.jobs.keep import record_dip

    with open_at(book) as opened:
        kept = record_dip(opened, record_of, photo, part - 1, replaces)
    for warning in kept.warnings:
        typer.echo(f"note: {warning}", err=True)
    print_json(kept.to_dict()) if as_json else typer.echo(f"batch {kept.batch} is in the book")


def record_from(given, lab):
    """A `DyeRecord` of the options that are record fields, units converted."""
    import math

    from dyebook.lab import Lab
    from dyebook.record import FIELDS, DyeRecord, Reading, check_value
    from dyebook.units import parse_quantity

    values = {name: value for name, value in given.items() if name in FIELDS and value is not None}
    for name in values:
        if FIELDS[name].kind is float and name != "ph":
            values[name] = parse_quantity(name, values[name])
    unknown = (math.nan,) * 3
    if lab is not None:
        checked = Lab(*(check_value(axis, value) for axis, value in zip("Lab", lab, strict=True)))
        values["readings"] = (Reading(checked, unknown, unknown),)
    return DyeRecord(**values)


def list_batches(
    count: Annotated[int | None, typer.Option(min=1, help="The newest so many; all without.")] = None,
    dye: Annotated[str | None, typer.Option(help="Only this dye.")] = None,
    bath: Annotated[str | None, typer.Option(help="Only this bath.")] = None,
    alloy: Annotated[str | None, typer.Option(help="Only this alloy.")] = None,
    text: Annotated[str | None, typer.Option(help="Words in notes and names.")] = None,
    since: Annotated[str | None, typer.Option(help="From this day on, such as 2026-03-01.")] = None,
    until: Annotated[str | None, typer.Option(help="Up to this day.")] = None,
    order: Annotated[str | None, typer.Option(help="Only this order.")] = None,
    deleted: Annotated[bool, typer.Option("--deleted", help="Those marked as deleted instead.")] = False,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """List the batches, newest first.

    Example: dyebook list --count 10
    """
    filters = {"dye": dye, "bath": bath, "alloy": alloy, "text": text, "since": since, "until": until, "order": order}
    with open_at(book) as opened:
        found = opened.batches(count, deleted=deleted, **filters)
    if as_json:
        print_json([row.to_dict() for row in found])
    else:
        from dyebook.report import batches_text

        typer.echo(batches_text(found))


def find(
    lab: Annotated[str | None, typer.Option(help="The shade, L,a,b under D65/2°.")] = None,
    photo: Annotated[Path | None, typer.Option(help="A photo of the shade beside the grey card.")] = None,
    count: CountOption = 20,
    dye: Annotated[str | None, typer.Option(help="Only this dye.")] = None,
    bath: Annotated[str | None, typer.Option(help="Only this bath.")] = None,
    alloy: Annotated[str | None, typer.Option(help="Only this alloy.")] = None,
    text: Annotated[str | None, typer.Option(help="Words in notes and names.")] = None,
    since: Annotated[str | None, typer.Option(help="From this day on, such as 2026-03-01.")] = None,
    until: Annotated[str | None, typer.Option(help="Up to this day.")] = None,
    order: Annotated[str | None, typer.Option(help="Only this order.")] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Find the batches nearest in colour, by CIEDE2000, or those that match.

    Example: dyebook find --lab 35,10,-42 --count 5
    """
    if lab is not None and photo is not None:
        raise typer.BadParameter("give the shade either as --lab or as --photo")
    shade = None if lab is None else parse_lab(lab)
    if photo is not None:
        shade = _shade_of(photo)
    wanted = {"dye": dye, "bath": bath, "alloy": alloy, "text": text, "since": since, "until": until, "order": order}
    filters = {name: value for name, value in wanted.items() if value is not None}
    with open_at(book) as opened:
        found = opened.find(shade, count, **filters)
    if as_json:
        print_json([one.to_dict() for one in found])
    else:
        from dyebook.report import batches_text

        typer.echo(batches_text([one.row for one in found], [one.delta_e00 for one in found]))


def _shade_of(photo):
    from dyebook.errors import PhotoError
    from dyebook.photo.measure import measure

    parts = measure(photo).parts
    if not parts:
        raise PhotoError(f"no part was found in {photo.name}; measure it with --part-at and give its colour as --lab")
    return parts[0].lab


def check(book: BookOption = None, as_json: JsonOption = False):
    """Check that the book still holds what it was given.

    Example: dyebook check
    """
    with open_at(book) as opened:
        problems = opened.check()
    if as_json:
        print_json({"ok": not problems, "problems": problems})
    else:
        typer.echo("\n".join(problems) or "the book is sound")


def import_(
    file: Annotated[Path, typer.Argument(help="CSV, XLSX, JSON Lines or Parquet; or ISO 28178 text, ISO 17972-1 XML.")],
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Say what would happen, and write nothing.")] = False,
    duplicates: Annotated[str, typer.Option(help="Rows that are there already: refuse, skip or keep.")] = "refuse",
    batch: Annotated[int | None, typer.Option(help="For instrument readings: the batch they belong to.")] = None,
    white: Annotated[str | None, typer.Option(help="For readings that do not say: white point, such as D50.")] = None,
    observer: Annotated[str | None, typer.Option(help="For readings that do not say: 2 or 10.")] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Import records or instrument readings, all of them or none.

    Example: dyebook import notes.csv --dry-run
    """
    if duplicates not in ("refuse", "skip", "keep"):
        raise typer.BadParameter("--duplicates is refuse, skip or keep")
    with open_at(book) as opened, progress_bar("importing") as progress:
        told = opened.import_file(file, dry_run, duplicates, progress, batch=batch, white=white, observer=observer)
    for note in told.notes:
        typer.echo(f"note: {note}", err=True)
    if as_json:
        print_json(told.to_dict())
    else:
        from dyebook.report import import_text

        typer.echo(import_text(told))


def export(
    file: Annotated[Path, typer.Argument(help="To write: .csv, .xlsx, .jsonl or .parquet.")],
    dye: Annotated[str | None, typer.Option(help="Only this dye.")] = None,
    bath: Annotated[str | None, typer.Option(help="Only this bath.")] = None,
    since: Annotated[str | None, typer.Option(help="From this day on, such as 2026-03-01.")] = None,
    until: Annotated[str | None, typer.Option(help="Up to this day.")] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Write the batches as a table, a row a reading.

    Example: dyebook export batches.csv
    """
    with open_at(book) as opened:
        rows = opened.export_file(file, dye=dye, bath=bath, since=since, until=until)
    print_json({"file": str(file), "rows": rows}) if as_json else typer.echo(f"{rows} rows written to {file}")


def backup(
    file: Annotated[Path, typer.Argument(help="The zip file to write.")],
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Write the whole book with its photos into one file, while it is in use.

    Example: dyebook backup shop.zip
    """
    with open_at(book) as opened:
        told = opened.back_up(file)
    if as_json:
        print_json({"file": str(file), **told})
    else:
        typer.echo(f"{told['batches']} batches and {told['photos']} photos are in {file}")


def restore(
    file: Annotated[Path, typer.Argument(help="A file that the backup command made.")],
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Replace the whole book by a backup, once all of it has been verified.

    Example: dyebook restore shop.zip
    """
    with open_at(book) as opened:
        told = opened.restore(file)
    if as_json:
        print_json(told)
    else:
        typer.echo(f"{told['batches']} batches and {told['photos']} photos are back")
        if told["saved"]:
            typer.echo(f"what was there before is kept in {told['saved']}")


def add_commands(app):
    """Add the book's commands to the shell."""
    app.command("import")(import_)
    app.command()(export)
    app.command()(backup)
    app.command()(restore)
    app.command()(record)
    app.command("list")(list_batches)
    app.command()(find)
    app.command()(check)

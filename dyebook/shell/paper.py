"""Shell commands that put the book on paper: cards, notes, logs, labels and months."""

from pathlib import Path
from typing import Annotated

import typer

from dyebook.shell.book import BatchArgument
from dyebook.shell.options import BookOption, JsonOption, open_at, option, print_result, shop_setting
from dyebook.units import shop_now

__all__ = ["add_commands"]

_PAPERS = ("a4", "letter")
FileArgument = Annotated[Path, typer.Argument(help="To write: .pdf or .html.", writable=True)]
PaperOption = Annotated[str | None, option("a4 or letter; the shop's without it.")]
AddressOption = Annotated[
    str | None, option("Where phones reach the app, such as http://bench.local:8640; goes into the code.")
]


def card(
    batch: BatchArgument,
    file: FileArgument,
    paper: PaperOption = None,
    address: AddressOption = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Write the card of a batch on one page: swatch, photo, settings, run, verdict, and a code for a phone.

    Example: dyebook card 118 card.pdf
    """
    kind, paper = _checked(file, paper, book)
    from dyebook.jobs.paper import batch_facts
    from dyebook.report.paper.card import card_sheet

    with open_at(book) as opened:
        facts = batch_facts(opened, batch, address)
    _write(card_sheet(facts), file, kind, paper, as_json, batch=batch)


def shade_note(
    batch: BatchArgument,
    file: FileArgument,
    target: Annotated[str | None, option("Name of the shade that was wanted; as judged if left out.")] = None,
    paper: PaperOption = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Write the shade note of a batch for the customer: wanted beside made, the difference in words, no recipe.

    Example: dyebook shade-note 118 note.pdf --target "Lamp knobs, as the sample"
    """
    kind, paper = _checked(file, paper, book)
    from dyebook.jobs.paper import shade_facts
    from dyebook.report.paper.card import note_sheet

    with open_at(book) as opened:
        facts = shade_facts(opened, batch, target)
    _write(note_sheet(facts, shop_now().date()), file, kind, paper, as_json, batch=batch)


def bath_log(
    bath: Annotated[str, typer.Argument(help="Name of the bath, or 'dye, bath'.")],
    file: FileArgument,
    dye: Annotated[str | None, option("Its dye, where baths of several dyes have the name.")] = None,
    blank_lines: Annotated[int, typer.Option(min=0, max=200, help="Empty lines to write on at the bench.")] = 6,
    paper: PaperOption = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Write the log of a bath since it was made up: strength, shades, every dip and every event.

    Example: dyebook bath-log E1 bath.pdf --dye Ember
    """
    kind, paper = _checked(file, paper, book)
    from dyebook.jobs.baths import bath_called
    from dyebook.jobs.paper import bath_facts
    from dyebook.report.paper.ledger import bath_sheet

    with open_at(book) as opened:
        facts = bath_facts(opened, bath_called(opened, bath, dye)["id"])
    _write(bath_sheet(facts, blank_lines), file, kind, paper, as_json, bath=bath)


def month(
    month: Annotated[str, typer.Argument(help="Year and month, such as 2026-10.")],
    file: FileArgument,
    paper: PaperOption = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Write the summary of a month: batches, verdicts, dyes and baths, what was off, orders.

    Example: dyebook month 2026-10 october.pdf
    """
    kind, paper = _checked(file, paper, book)
    from dyebook.jobs.paper import month_facts
    from dyebook.report.paper.ledger import month_sheet

    with open_at(book) as opened:
        facts = month_facts(opened, month)
    _write(month_sheet(facts), file, kind, paper, as_json, month=f"{facts.year:04d}-{facts.month:02d}")


def labels(
    file: Annotated[Path, typer.Argument(help="PDF to write.", writable=True)],
    batches: Annotated[list[int], typer.Argument(help="Numbers of the batches.")],
    grid: Annotated[
        str | None, option("a4-3x7, a4-3x8, a4-2x7, letter-3x10 or letter-2x5; by the shop's paper without it.")
    ] = None,
    copies: Annotated[int, typer.Option(min=1, max=1000, help="Labels of each batch.")] = 1,
    first: Annotated[int, typer.Option(min=1, help="First free label of the sheet, from 1, row by row.")] = 1,
    outlines: Annotated[bool, option("Draw the edges, for plain paper and scissors.", "--outlines")] = False,
    address: AddressOption = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Write labels for bags: swatch, batch, dye, film, date, and a code for a phone. Print at 100 %.

    Example: dyebook labels labels.pdf 117 118 --copies 3
    """
    from dyebook.jobs.paper import batch_facts
    from dyebook.report.paper.html import kind_of, save_paper
    from dyebook.report.paper.labels import GRIDS, USUAL_GRIDS, labels_pdf

    kind_of(file, (".pdf",))
    grid = grid or USUAL_GRIDS[shop_setting(book, "paper")]
    if grid not in GRIDS:
        raise typer.BadParameter(f"{grid!r} is no sheet of labels; use one of {', '.join(GRIDS)}")
    if first > GRIDS[grid].columns * GRIDS[grid].rows:
        raise typer.BadParameter(f"a sheet has {GRIDS[grid].columns * GRIDS[grid].rows} labels, {first} is not on it")
    with open_at(book) as opened:
        facts = [batch_facts(opened, number, address, picture=None) for number in batches]
    save_paper(file, labels_pdf([one for one in facts for _ in range(copies)], GRIDS[grid], first, outlines))
    answer = {"file": str(file), "grid": grid, "labels": len(facts) * copies}
    print_result(answer, as_json, lambda _: f"{answer['labels']} labels are in {file}; print at 100 %")


def _checked(file, paper, book):
    """The ending of the file and the paper, once both are known to be possible."""
    from dyebook.report.paper.html import kind_of

    if paper not in (None, *_PAPERS):
        raise typer.BadParameter(f"{paper!r} is no paper we know; use {' or '.join(_PAPERS)}")
    return kind_of(file), paper or shop_setting(book, "paper")


def _write(sheet, file, kind, paper, as_json, **what):
    from dyebook.report.paper.html import save_paper, sheet_bytes

    save_paper(file, sheet_bytes(sheet, kind, paper))
    print_result({"file": str(file), "paper": paper, **what}, as_json, lambda _: f"written to {file}")


def add_commands(app):
    """Add the commands to the shell."""
    app.command()(card)
    app.command("shade-note")(shade_note)
    app.command("bath-log")(bath_log)
    app.command()(labels)
    app.command()(month)

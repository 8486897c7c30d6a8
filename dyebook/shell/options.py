"""What commands share: options, figures in any unit, and the one way an answer is printed, as text or as JSON."""

import json
import math
import re
import sys
from contextlib import contextmanager
from inspect import Parameter, Signature, signature
from operator import methodcaller
from pathlib import Path
from typing import Annotated

import typer

from dyebook.record import FIELDS, SHOP_SETTINGS, DyeRecord, Reading, check_value, parse_value
from dyebook.units import ZONE, parse_quantity

__all__ = [
    "BookOption", "CountOption", "JsonOption", "PageOption", "PartsOption", "SetupOption", "field_options",
    "given", "given_each", "open_at", "option", "optional", "parse_lab", "parse_points", "print_result",
    "progress_bar", "record_from", "shop_setting", "show_answer", "with_options",
]  # fmt: skip

KEYWORD = Parameter.KEYWORD_ONLY

_BOOK = typer.Option("--book", help="Folder, .sqlite file or postgresql:// URL; else DYEBOOK_BOOK, else your own.")
BookOption = Annotated[str | None, _BOOK]
JsonOption = Annotated[bool, typer.Option("--json", help="One JSON value on stdout.")]
CountOption = Annotated[int, typer.Option(min=1, help="How many at most.")]
PartsOption = Annotated[int | None, typer.Option(min=1, help="Equal parts on the jig, for a contact that was lost.")]
PageOption = Annotated[Path | None, typer.Option(help="Write it as one printed page too, a PDF file.", writable=True)]
SetupOption = Annotated[
    str | None, typer.Option(help="Name of camera, lamp, card and place; recognised by itself without.")
]


def option(text, *names):
    """Return a shell option with its help."""
    return typer.Option(*names, help=text)


def given(name, text):
    """Return the number in our unit; None where nothing was typed."""
    return None if text is None else parse_quantity(name, text)


def given_each(**texts):
    """Return the numbers in our units by name, without those that were not typed."""
    return {name: parse_quantity(name, text) for name, text in texts.items() if text is not None}


def print_result(result, as_json: bool, text_of):
    """Print what a command found; as JSON it is one value, the only thing on stdout.

    `result`: a result object, a list of them, or plain values. `text_of`: takes the result and returns its text.
    """
    plain = {"ensure_ascii": False, "allow_nan": False, "default": methodcaller("to_dict")}
    typer.echo(json.dumps(result, **plain) if as_json else text_of(result))


def show_answer(answer, as_json: bool, title: str, page=None, book=None, **more):
    """Print a bench answer, and what else belongs to it, as `print_result`; a page on asking.

    `page` is a PDF to write too, on the paper of the shop of `book` (see `shop_setting`). `more` goes into the JSON
    before the answer's own values.
    """
    content = {**more, **answer.to_dict()}
    if page is not None:
        from dyebook.report.bench import answer_page
        from dyebook.report.paper.html import save_paper

        save_paper(page, answer_page(title.partition(";")[0], content, shop_setting(book, "paper")))
        typer.echo(f"the page is in {page}", err=True)
    print_result(content, as_json, lambda _: _answer_text(title, content))


def _answer_text(title, content):
    from dyebook.report.bench import answer_lines

    return "\n".join([title, "", *_extra_lines(content), *answer_lines(content)])


def _extra_lines(content):
    lines = [f"{line['count']} x {line['label']}: {line['area_dm2']:.4g} dm²" for line in content.get("lines", ())]
    lines += [
        f"{event['time_min']:.1f} min: {event['kind'].replace('_', ' ')} ({event['because']})\n    {event['remedy']}"
        for event in content.get("events", ())
    ]
    return [*lines, ""] if lines else []


def open_at(path):
    """Return the open book at a path or URL, or where the environment says; say on stderr where it had to be begun."""
    from dyebook.book.connect import find_place
    from dyebook.book.store import open_book

    place = find_place(path)
    is_new = place.file is not None and not place.file.exists()
    book = open_book(path)
    ZONE.set(book.setting("time_zone"))
    if is_new:
        typer.echo(f"no book stood at {place.name}: a new, empty one was begun there", err=True)
    return book


def shop_setting(path, name: str) -> object:
    """Return one of `SHOP_SETTINGS` of the book at a path or URL, its default where none was begun; begins none."""
    from dyebook.book.connect import find_place, stored_setting

    place = find_place(path)
    if place.file is None:
        with open_at(path) as book:
            return book.setting(name)
    value = stored_setting(place, name)
    return SHOP_SETTINGS[name].default if value is None else value


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


def with_options(*options: Parameter):
    """Return a decorator that puts options before a command's own; the command takes them as keywords, ``**name``."""

    def add_options(command):
        own = [
            one.replace(kind=KEYWORD) for one in signature(command).parameters.values() if one.kind != one.VAR_KEYWORD
        ]
        command.__signature__ = Signature([*options, *(one.replace(kind=KEYWORD) for one in own)])
        return command

    return add_options


def optional(name: str, text: str) -> Parameter:
    """Return an option for a word or figure that may be left out."""
    return Parameter(name, KEYWORD, default=None, annotation=Annotated[str | None, option(text)])


def field_options(*names: str) -> list[Parameter]:
    """Return an option for each of these fields of a record."""
    return [_field_option(FIELDS[name]) for name in names]


# the switch for "no" of a field that is yes or no
_OPPOSITES = {"wet": "dry", "sealed": "unsealed"}


def _field_option(field):
    example = f", such as {field.example}" if field.example else ""
    text = f"{field.heading}: {field.meaning}{example}."
    if field.kind is bool:
        switch = option(text, f"--{field.name}/--{_OPPOSITES[field.name]}")
        return Parameter(field.name, KEYWORD, default=None, annotation=Annotated[bool | None, switch])
    if not field.required:
        return optional(field.name, text)
    return Parameter(field.name, KEYWORD, annotation=Annotated[str, option(text)])


def record_from(settings: dict, lab: tuple | None = None):
    """Return the `DyeRecord` of settings as they were typed, with a reading where a Lab value was given."""
    from dyebook.lab import Lab

    values = {name: parse_value(name, text) for name, text in settings.items() if text is not None}
    if lab is not None:
        unknown = (math.nan,) * 3
        values["readings"] = (Reading(Lab(*map(check_value, "Lab", lab)), unknown, unknown),)
    return DyeRecord(**values)


def parse_points(text):
    """Return [(x, y), …] of ``"x,y x,y …"``; raises `typer.BadParameter` (exit 2) when it is not that."""
    try:
        points = [tuple(float(number) for number in pair.split(",")) for pair in re.split(r"[\s;]+", text.strip())]
    except ValueError:
        points = []
    if len(points) < 3 or any(len(point) != 2 for point in points):
        raise typer.BadParameter(f'{text!r} is not a list of corners; write "x,y x,y x,y x,y"')
    return points


def parse_lab(text):
    """Return (L, a, b) of ``"L,a,b"``; raises `typer.BadParameter` (exit 2) when it is not that."""
    try:
        numbers = tuple(float(number) for number in text.split(","))
    except ValueError:
        numbers = ()
    if len(numbers) != 3:
        raise typer.BadParameter(f'{text!r} is not a Lab colour; write "L,a,b" such as 49.5,0,0')
    return numbers

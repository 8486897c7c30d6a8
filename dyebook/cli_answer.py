"""What commands of the bench share: options, figures in any unit, answers as lines or as JSON."""

import json
from pathlib import Path
from typing import Annotated

import typer

from dyebook.units import parse_quantity

__all__ = ["Json", "Letter", "Page", "given", "option", "show_answer"]

Json = Annotated[bool, typer.Option("--json", help="One JSON object instead of text.")]


Page = Annotated[Path | None, typer.Option(help="Write it as one printed page too, a PDF file.")]
Letter = Annotated[bool, typer.Option("--letter", help="That page on Letter paper instead of A4.")]


def option(text, *names):
    """Return a shell option with its help."""
    return typer.Option(*names, help=text)


def given(name, text):
    """Return the number in our unit; None where nothing was typed."""
    return None if text is None else parse_quantity(name, text)


def show_answer(answer, as_json, title, page=None, letter=False, **more):
    """Print an answer, and what else belongs to it: JSON alone on stdout, or lines for people; a page on asking."""
    content = {**more, **answer.to_dict()}
    if page is not None:
        from dyebook.report_bench import answer_page
        from dyebook.report_paper import save_paper

        save_paper(page, answer_page(title.partition(";")[0], content, "letter" if letter else "a4"))
        typer.echo(f"the page is in {page}", err=True)
    if as_json:
        typer.echo(json.dumps(content))
        return
    from dyebook.report_bench import answer_lines

    typer.echo("\n".join([title, "", *_extra_lines(content), *answer_lines(content)]))


def _extra_lines(content):
    lines = [f"{line['count']} x {line['label']}: {line['area_dm2']:.4g} dm²" for line in content.get("lines", ())]
    lines += [
        f"{event['time_min']:.1f} min: {event['kind'].replace('_', ' ')} ({event['because']})\n    {event['remedy']}"
        for event in content.get("events", ())
    ]
    return [*lines, ""] if lines else []

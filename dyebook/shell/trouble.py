"""Shell commands for what came out wrong: verdict, why, drift."""

import json
from pathlib import Path
from typing import Annotated

import typer

from dyebook.shell.options import BookOption, open_at, parse_lab, print_json

__all__ = ["add_commands"]

JsonOption = Annotated[bool, typer.Option("--json", help="One JSON value on stdout.")]


def _pair(text):
    """Two colours of ``"L,a,b L,a,b"``."""
    pieces = text.split()
    if len(pieces) != 2:
        raise typer.BadParameter(f'{text!r} is no pair of colours; write "L,a,b L,a,b", the light limit first')
    return tuple(parse_lab(piece) for piece in pieces)


def verdict(
    target: Annotated[
        str | None, typer.Option(help="The shade to match, L,a,b under D65/2°; else the batch's.")
    ] = None,
    reading: Annotated[str | None, typer.Option(help="The part's colour, L,a,b.")] = None,
    batch: Annotated[int | None, typer.Option(help="A batch of the book instead of a reading.")] = None,
    tolerance: Annotated[
        float | None, typer.Option(help="Largest difference that passes; 1.5, or the order's.")
    ] = None,
    measure: Annotated[str, typer.Option(help="00 (CIEDE2000), 76, 94 or cmc (2:1).")] = "00",
    reading_u: Annotated[str | None, typer.Option(help="Standard uncertainty of the reading, L,a,b.")] = None,
    target_u: Annotated[str | None, typer.Option(help="That of the target; none for a stated shade.")] = None,
    together: Annotated[bool, typer.Option("--together", help="Both were read from one photo.")] = False,
    limits: Annotated[str | None, typer.Option(help="Light and dark limit sample, 'L,a,b L,a,b'.")] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Say whether a part is in tolerance, with the reading's own doubt.

    Example: dyebook verdict --target 45,20,-35 --reading 47,19,-33 --tolerance 2
    """
    from dyebook.advice.judge import MEASURES
    from dyebook.report.trouble import verdict_text

    if measure not in MEASURES:
        raise typer.BadParameter(f"{measure!r} is no measure; one of {', '.join(MEASURES)}")
    if (batch is None) == (reading is None):
        raise typer.BadParameter("give the part either as --reading L,a,b or as --batch NUMBER of the book")
    wanted = None if target is None else parse_lab(target)
    if batch is not None:
        found = _judge_kept(book, batch, wanted, tolerance, measure)
    elif wanted is None:
        raise typer.BadParameter("a reading is judged against --target L,a,b")
    else:
        doubts = [None if text is None else parse_lab(text) for text in (target_u, reading_u)]
        found = _judge((wanted, parse_lab(reading)), doubts, tolerance or 1.5, measure, together, limits)
    print_json(found.to_dict()) if as_json else typer.echo(verdict_text(found))


def _judge(colours, doubts, tolerance, measure, together, limits):
    """Verdict of two colours given as numbers; a target without doubt is a stated shade."""
    from dyebook.advice.judge import Shade, judge_shade

    wanted, part = Shade(colours[0], doubts[0] or (0.0, 0.0, 0.0)), Shade(colours[1], doubts[1])
    pair = None if limits is None else _pair(limits)
    return judge_shade(wanted, part, tolerance, measure=measure, together=together, limits=pair)


def _judge_kept(book, batch, wanted, tolerance, measure):
    from dyebook.jobs.trouble import judge_batch

    with open_at(book) as opened:
        return judge_batch(opened, batch, wanted, tolerance, measure)


def why(
    row: Annotated[
        Path | None, typer.Argument(help="CSV file whose last row is the batch: as set, and L, a, b.")
    ] = None,
    batch: Annotated[int | None, typer.Option(help="A batch of the book instead of a file.")] = None,
    records: Annotated[Path | None, typer.Option(help="CSV file of the bath's earlier dips.")] = None,
    photo: Annotated[Path | None, typer.Option(help="What `measure --json` said of the photo.")] = None,
    trace: Annotated[Path | None, typer.Option(help="CSV of the run's log.")] = None,
    ask: Annotated[bool, typer.Option("--ask", help="Ask up to five questions.")] = False,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Say why a batch came out as it did, and what to try next.

    Example: dyebook why --batch 118 --ask
    """
    from dyebook.report.trouble import causes_text

    if (batch is None) == (row is None):
        raise typer.BadParameter("give the batch either as a CSV file or as --batch NUMBER of the book")
    case = _case_of_file(row, records, photo, trace) if batch is None else _case_of_book(book, batch)
    found = _answer(case, ask)
    for text in case.missing:
        typer.echo(f"not at hand: {text}", err=True)
    print_json([one.to_dict() for one in found]) if as_json else typer.echo(causes_text(found))


def _case_of_file(row, records, photo, trace):
    from dyebook.jobs.shade import read_records_file
    from dyebook.jobs.trouble import Case

    table = read_records_file(row)
    if table.empty:
        raise typer.BadParameter(f"{row} has no row")
    record, missing = table.iloc[-1].to_dict(), _unknown_columns(table)
    return Case(0, record, _learned(records), _photo(photo), _log(trace), None, missing)


def _unknown_columns(table):
    """What is told of columns whose names say nothing here; a slip in a heading is not to be lost unseen."""
    from dyebook.record import FIELDS

    unknown = [str(name) for name in table.columns if name not in FIELDS and name != "batch"]
    if not unknown:
        return ()
    near = [name for name in FIELDS if name not in table.columns and name not in ("dye", "bath", "coupon")]
    return (f"columns {', '.join(unknown)}: not among the names known, which are {', '.join(near)}",)


def _case_of_book(book, batch):
    from dyebook.jobs.trouble import case_of

    with open_at(book) as opened:
        return case_of(opened, batch)


def _learned(records):
    if records is None:
        return None
    from dyebook.advice.learn import learn_bath
    from dyebook.jobs.shade import read_records_file

    return learn_bath(read_records_file(records))


def _photo(path):
    if path is None:
        return None
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise typer.BadParameter(f"{path} holds no measurement ({error}); save what `measure --json` prints") from None


def _log(path):
    if path is None:
        return None
    import pandas as pd

    from dyebook.physics.trace.read import read_trace

    log = read_trace(path)
    names = ("time_min", "current_a", "voltage_v", "electrolyte_temp_c")
    return pd.DataFrame({name: getattr(log, name) for name in names if getattr(log, name) is not None})


def _answer(case, ask):
    """Causes, after as many questions as are worth asking."""
    from dyebook.advice.diagnose import next_question
    from dyebook.report.trouble import question_text

    answers, found = {}, case.causes()
    kinds = case.kinds() if ask else set()
    while ask:
        name = next_question({one.id: one.probability for one in found}, kinds, answers)
        if name is None:
            break
        answers[name] = typer.confirm(question_text(name), err=True)
        found = case.causes(answers)
    return found


def drift(
    records: Annotated[
        Path | None, typer.Argument(help="CSV file of one bath's dips in order of time, with L, a, b.")
    ] = None,
    bath: Annotated[str | None, typer.Option(help="A bath of the book instead of a file.")] = None,
    baseline: Annotated[int, typer.Option(min=6, help="Dips at the start that say what is usual.")] = 12,
    coupon: Annotated[Path | None, typer.Option(help="CSV file of the check coupon's readings, L, a, b.")] = None,
    bath_volume_l: Annotated[float | None, typer.Option(help="Of the bath, for the grams to add.")] = None,
    dye_g_per_l: Annotated[float | None, typer.Option(help="Strength as made up.")] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Say whether a bath drifts, since when, and what to add.

    Example: dyebook drift --bath E1
    """
    from dyebook.report.trouble import drift_text

    if (bath is None) == (records is None):
        raise typer.BadParameter("give the dips either as a CSV file or as --bath NAME of the book")
    if bath is not None:
        found = _drift_in_book(book, bath)
    else:
        told = {"bath_volume_l": bath_volume_l, "dye_g_per_l": dye_g_per_l}
        found = _drift_in_file(records, baseline, coupon, told)
    print_json(found.to_dict()) if as_json else typer.echo(drift_text(found))


def _drift_in_file(records, baseline, coupon, told):
    from dyebook.advice.drift import compare_with_expectation, find_drift
    from dyebook.advice.learn import learn_bath
    from dyebook.jobs.shade import read_records_file

    dips = read_records_file(records)
    if len(dips) <= baseline:
        raise typer.BadParameter(f"{records} has {len(dips)} dips; more than the {baseline} of the baseline are needed")
    history = compare_with_expectation(learn_bath(dips.head(baseline)), dips)
    still = None if coupon is None else _coupon_history(read_records_file(coupon))
    return find_drift(history, baseline=baseline, coupon=still, **told)


def _drift_in_book(book, bath):
    from dyebook.jobs.trouble import bath_named, drift_in_book

    with open_at(book) as opened:
        return drift_in_book(opened, *bath_named(opened, bath)).drift


def _coupon_history(readings):
    """Differences of the coupon's readings to its first."""
    import pandas as pd

    from dyebook.advice.drift import DRIFT_COLUMNS
    from dyebook.advice.judge import split_difference

    lab = readings[["L", "a", "b"]].to_numpy(float)
    return pd.DataFrame(split_difference(lab[:1], lab), columns=list(DRIFT_COLUMNS[:3]))


def add_commands(app):
    """Add the commands of this file to the shell."""
    for command in (why, verdict, drift):
        app.command()(command)

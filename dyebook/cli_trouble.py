"""Shell commands for what came out wrong: verdict, why, drift."""

import json
from pathlib import Path
from typing import Annotated

import typer

from dyebook.cli_photo import parse_lab, print_json

__all__ = ["add_commands"]

JsonOption = Annotated[bool, typer.Option("--json", help="One JSON value on stdout.")]
TargetOption = Annotated[str, typer.Option(help="The shade to match, L,a,b under D65/2°.")]


def _pair(text):
    """Two colours of ``"L,a,b L,a,b"``."""
    pieces = text.split()
    if len(pieces) != 2:
        raise typer.BadParameter(f'{text!r} is no pair of colours; write "L,a,b L,a,b", the light limit first')
    return tuple(parse_lab(piece) for piece in pieces)


def verdict(
    target: TargetOption,
    reading: Annotated[str, typer.Option(help="The part's colour, L,a,b.")],
    tolerance: Annotated[float, typer.Option(help="Largest difference that passes.")] = 1.5,
    measure: Annotated[str, typer.Option(help="00 (CIEDE2000), 76, 94 or cmc (2:1).")] = "00",
    reading_u: Annotated[str | None, typer.Option(help="Standard uncertainty of the reading, L,a,b.")] = None,
    target_u: Annotated[str | None, typer.Option(help="That of the target; none for a stated shade.")] = None,
    together: Annotated[bool, typer.Option("--together", help="Both were read from one photo.")] = False,
    limits: Annotated[str | None, typer.Option(help="Light and dark limit sample, 'L,a,b L,a,b'.")] = None,
    as_json: JsonOption = False,
):
    """Say whether a part is in tolerance, with the reading's own doubt.

    Example: dyebook verdict --target 45,20,-35 --reading 47,19,-33 --tolerance 2
    """
    from dyebook.advice.verdict import MEASURES, Shade, judge_shade
    from dyebook.report_trouble import verdict_text

    if measure not in MEASURES:
        raise typer.BadParameter(f"{measure!r} is no measure; one of {', '.join(MEASURES)}")
    wanted = Shade(parse_lab(target), (0.0, 0.0, 0.0) if target_u is None else parse_lab(target_u))
    part = Shade(parse_lab(reading), None if reading_u is None else parse_lab(reading_u))
    pair = None if limits is None else _pair(limits)
    found = judge_shade(wanted, part, tolerance, measure=measure, together=together, limits=pair)
    print_json(found.to_dict()) if as_json else typer.echo(verdict_text(found))


def why(
    batch: Annotated[Path, typer.Argument(help="CSV file whose last row is the batch: settings as set, and L, a, b.")],
    records: Annotated[Path | None, typer.Option(help="CSV file of the bath's earlier dips.")] = None,
    photo: Annotated[Path | None, typer.Option(help="What `measure --json` said of the batch's photo.")] = None,
    trace: Annotated[Path | None, typer.Option(help="CSV of the run's log.")] = None,
    ask: Annotated[bool, typer.Option("--ask", help="Ask up to five questions.")] = False,
    as_json: JsonOption = False,
):
    """Say why a batch came out as it did, and what to try next.

    Example: dyebook why batch.csv --records dips.csv --trace run.csv --ask
    """
    from dyebook.jobs.shade import read_records_file
    from dyebook.report_trouble import causes_text

    table = read_records_file(batch)
    if table.empty:
        raise typer.BadParameter(f"{batch} has no row")
    evidence = {"model": _learned(records), "measurement": _photo(photo), "trace": _log(trace)}
    found = _answer(table.iloc[-1].to_dict(), evidence, ask)
    print_json([one.to_dict() for one in found]) if as_json else typer.echo(causes_text(found))


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

    from dyebook.physics.trace_read import read_trace

    log = read_trace(path)
    names = ("time_min", "current_a", "voltage_v", "electrolyte_temp_c")
    return pd.DataFrame({name: getattr(log, name) for name in names if getattr(log, name) is not None})


def _answer(record, evidence, ask):
    """Causes, after as many questions as are worth asking."""
    from dyebook.advice.diagnose import diagnose
    from dyebook.advice.evidence import gather
    from dyebook.advice.questions import QUESTIONS, next_question

    answers, found = {}, diagnose(record, **evidence)
    kinds = {item.kind for item in gather(record, **evidence)} if ask else set()
    while ask:
        name = next_question({one.id: one.probability for one in found}, kinds, answers)
        if name is None:
            break
        answers[name] = typer.confirm(QUESTIONS[name].text, err=True)
        found = diagnose(record, **evidence, answers=answers)
    return found


def drift(
    records: Annotated[Path, typer.Argument(help="CSV file of one bath's dips in order of time, with L, a, b.")],
    baseline: Annotated[int, typer.Option(min=6, help="Dips at the start that say what is usual.")] = 12,
    coupon: Annotated[Path | None, typer.Option(help="CSV file of the check coupon's readings, L, a, b.")] = None,
    bath_volume_l: Annotated[float | None, typer.Option(help="Of the bath, for the grams to add.")] = None,
    dye_g_per_l: Annotated[float | None, typer.Option(help="Strength as made up.")] = None,
    as_json: JsonOption = False,
):
    """Say whether a bath drifts, since when, and what to add.

    Example: dyebook drift dips.csv --coupon coupon.csv --bath-volume-l 2 --dye-g-per-l 4
    """
    from dyebook.advice.drift import compare_with_expectation, find_drift
    from dyebook.advice.learn import learn_bath
    from dyebook.jobs.shade import read_records_file
    from dyebook.report_trouble import drift_text

    dips = read_records_file(records)
    if len(dips) <= baseline:
        raise typer.BadParameter(f"{records} has {len(dips)} dips; more than the {baseline} of the baseline are needed")
    history = compare_with_expectation(learn_bath(dips.head(baseline)), dips)
    still = None if coupon is None else _coupon_history(read_records_file(coupon))
    found = find_drift(history, baseline=baseline, coupon=still, bath_volume_l=bath_volume_l, dye_g_per_l=dye_g_per_l)
    print_json(found.to_dict()) if as_json else typer.echo(drift_text(found))


def _coupon_history(readings):
    """Differences of the coupon's readings to its first."""
    import pandas as pd

    from dyebook.advice.drift import DRIFT_COLUMNS
    from dyebook.advice.verdict import split_difference

    lab = readings[["L", "a", "b"]].to_numpy(float)
    return pd.DataFrame(split_difference(lab[:1], lab), columns=list(DRIFT_COLUMNS[:3]))


def add_commands(app):
    """Add the commands of this file to the shell."""
    for command in (why, verdict, drift):
        app.command()(command)

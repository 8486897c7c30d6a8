"""Shell commands for what came out wrong: verdict, why, drift."""

import json
import re
from pathlib import Path
from typing import Annotated

import typer

from dyebook.record import FIELDS, check_tolerance
from dyebook.shell.options import BookOption, JsonOption, open_at, option, parse_lab, print_result, shop_setting

__all__ = ["add_commands"]


def verdict(
    target: Annotated[
        str | None, option("The shade to match: L,a,b under D65/2°, or as --reading; else the batch's.")
    ] = None,
    reading: Annotated[
        str | None, option("The part's colour: L,a,b, or FILE:2, part 2 of what `measure --json` saved.")
    ] = None,
    batch: Annotated[int | None, option("A batch of the book instead of a reading.")] = None,
    tolerance: Annotated[
        float | None, option("Largest difference that passes; else the order's or the shop's.")
    ] = None,
    reading_u: Annotated[str | None, option("Standard uncertainty of the reading, L,a,b.")] = None,
    target_u: Annotated[str | None, option("That of the target; none for a stated shade.")] = None,
    together: Annotated[bool, option("Both were read from one photo.", "--together")] = False,
    limits: Annotated[str | None, option("Light and dark limit sample, 'L,a,b L,a,b'; else the order's.")] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Say whether a part is in tolerance, with the reading's own doubt.

    Example: dyebook verdict --target 45,20,-35 --reading 47,19,-33 --tolerance 2
    """
    from dyebook.advice.judge import judge, one_photo_error, own_error
    from dyebook.jobs.trouble import judge_batch
    from dyebook.report.trouble import verdict_text

    if (batch is None) == (reading is None):
        raise typer.BadParameter("give the part either as --reading L,a,b or as --batch NUMBER of the book")
    if target is None and batch is None:
        raise typer.BadParameter("a reading is judged against --target L,a,b")
    if batch is not None:
        with open_at(book) as opened:
            found = judge_batch(opened, batch, _lab(target), tolerance, _pair(limits))
    else:
        error, photo = (one_photo_error, "one") if together else (own_error, None)
        # a target without doubt is a stated shade
        target_error = {} if target_u is None else error(parse_lab(target_u))
        shades = _shade(target, target_error, photo), _shade(reading, error(_lab(reading_u)), photo)
        if tolerance is None:
            tolerance = shop_setting(book, "tolerance_de00")
        found = judge(*shades, check_tolerance(tolerance), _pair(limits))
    print_result(found, as_json, verdict_text)


def _shade(text, error, photo):
    """A colour as typed, with its error and photo, or a part of a saved measurement with its own."""
    from dyebook.advice.judge import Shade

    path, _, number = text.rpartition(":") if re.search(r":\d+$", text) else (text, "", "1")
    if not Path(path).is_file():
        return Shade(parse_lab(text), error, photo=photo)
    saved = _photo(Path(path))
    parts = saved.get("parts", [saved]) if isinstance(saved, dict) else []
    if not 1 <= int(number) <= len(parts) or "lab" not in parts[int(number) - 1]:
        raise typer.BadParameter(
            f"{path} holds {len(parts)} parts and no part {number}; save what `measure --json` prints"
        )
    return Shade.of(parts[int(number) - 1])


def _lab(text):
    return None if text is None else parse_lab(text)


def _pair(text):
    """Two colours of ``"L,a,b L,a,b"``."""
    pieces = (text or "").split()
    if len(pieces) not in (0, 2):
        raise typer.BadParameter(f'{text!r} is no pair of colours; write "L,a,b L,a,b", the light limit first')
    return tuple(parse_lab(piece) for piece in pieces) or None


def why(
    row: Annotated[
        Path | None, typer.Argument(help="CSV file whose last row is the batch: as set, and L, a, b.")
    ] = None,
    batch: Annotated[int | None, option("A batch of the book instead of a file.")] = None,
    records: Annotated[Path | None, option("CSV file of the bath's earlier dips.")] = None,
    photo: Annotated[Path | None, option("What `measure --json` said of the photo.")] = None,
    trace: Annotated[Path | None, option("CSV of the run's log.")] = None,
    ask: Annotated[bool, option("Ask up to five questions.", "--ask")] = False,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Say why a batch came out as it did, and what to try next.

    Example: dyebook why --batch 118 --ask
    """
    from dyebook.jobs.trouble import case_of
    from dyebook.report.trouble import causes_text

    if (batch is None) == (row is None):
        raise typer.BadParameter("give the batch either as a CSV file or as --batch NUMBER of the book")
    if batch is not None and (records or photo or trace):
        raise typer.BadParameter("--records, --photo and --trace go with a CSV file; a batch has its own in the book")
    if batch is None:
        case = _case_of_file(row, records, photo, trace)
    else:
        with open_at(book) as opened:
            case = case_of(opened, batch)
    found = _causes_after_questions(case) if ask else case.causes()
    for text in case.missing:
        typer.echo(f"not at hand: {text}", err=True)
    print_result(found, as_json, causes_text)


def _case_of_file(row, records, photo, trace):
    from dyebook.advice.learn import learn_bath
    from dyebook.jobs.shade import read_records_file
    from dyebook.jobs.trouble import Case

    table = read_records_file(row)
    if table.empty:
        raise typer.BadParameter(f"{row} has no row")
    model = None if records is None else learn_bath(read_records_file(records))
    return Case(0, table.iloc[-1].to_dict(), model, _photo(photo), _log(trace), None, _unknown_columns(table))


def _unknown_columns(table):
    """What is said of columns whose names mean nothing here; a slip in a heading is not to be lost unseen."""
    unknown = [str(name) for name in table.columns if name not in FIELDS and name != "batch"]
    if not unknown:
        return ()
    near = [name for name in FIELDS if name not in table.columns and name not in ("dye", "bath", "coupon")]
    return (f"columns {', '.join(unknown)}: not among the names known, which are {', '.join(near)}",)


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


def _causes_after_questions(case):
    """Causes, after as many questions as are worth asking."""
    from dyebook.advice.diagnose import next_question
    from dyebook.report.trouble import question_text

    answers, found, kinds = {}, case.causes(), case.kinds()
    while name := next_question({one.id: one.probability for one in found}, kinds, answers):
        answers[name] = typer.confirm(question_text(name), err=True)
        found = case.causes(answers)
    return found


def drift(
    records: Annotated[
        Path | None, typer.Argument(help="CSV file of one bath's dips in order of time, with L, a, b.")
    ] = None,
    bath: Annotated[str | None, option("A bath of the book instead of a file.")] = None,
    baseline: Annotated[int, typer.Option(min=6, help="Dips at the start that say what is usual.")] = 12,
    coupon: Annotated[Path | None, option("CSV file of the check coupon's readings, L, a, b.")] = None,
    bath_volume_l: Annotated[float | None, option("Of the bath, for the grams to add.")] = None,
    dye_g_per_l: Annotated[float | None, option("Strength as made up.")] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Say whether a bath drifts, since when, and what to add.

    Example: dyebook drift --bath E1
    """
    from dyebook.jobs.baths import bath_called
    from dyebook.jobs.trouble import drift_in_book
    from dyebook.report.trouble import drift_text

    if (bath is None) == (records is None):
        raise typer.BadParameter("give the dips either as a CSV file or as --bath NAME of the book")
    if bath is None:
        found = _drift_in_file(records, baseline, coupon, bath_volume_l=bath_volume_l, dye_g_per_l=dye_g_per_l)
    else:
        with open_at(book) as opened:
            row = bath_called(opened, bath)
            found = drift_in_book(opened, row["dye"], row["name"]).drift
    print_result(found, as_json, drift_text)


def _drift_in_file(records, baseline, coupon, **known):
    from dyebook.advice.drift import compare_with_expectation, find_drift
    from dyebook.advice.learn import learn_bath
    from dyebook.jobs.shade import read_records_file

    dips = read_records_file(records)
    if len(dips) <= baseline:
        raise typer.BadParameter(f"{records} has {len(dips)} dips; more than the {baseline} of the baseline are needed")
    history = compare_with_expectation(learn_bath(dips.head(baseline)), dips)
    still = None if coupon is None else _coupon_history(read_records_file(coupon))
    return find_drift(history, baseline=baseline, coupon=still, **known)


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

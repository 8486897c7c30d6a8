"""Shell commands that photograph one coupon again and again: how well readings repeat, and whether they drift."""

import math
from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from dyebook.cli_book import BookOption, JsonOption, open_at
from dyebook.cli_photo import parse_lab, parse_points, print_json
from dyebook.errors import PhotoError

__all__ = ["add_commands"]


def check(
    photos: Annotated[list[Path], typer.Argument(help="Photos of one coupon, moved and photographed anew each time.")],
    camera: Annotated[str | None, typer.Option(help="Learned camera to read with, and to keep the spread.")] = None,
    card_at: Annotated[str | None, typer.Option(help="Corners of the grey area, the same in each photo.")] = None,
    card_lab: Annotated[str | None, typer.Option(help="The card's own Lab, L,a,b; else the book's.")] = None,
    part_at: Annotated[str | None, typer.Option(help="Outline of the coupon, the same in each photo.")] = None,
    batch_sd: Annotated[str | None, typer.Option(help="Spread (sd) of your batches, L,a,b.")] = None,
    day: Annotated[
        str | None, typer.Option(help="Keep it as this day's reading of the check coupon: today, or 2026-11-25.")
    ] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Check how well readings repeat: the same coupon in ten or more photos. With --day: whether they drift.

    Example: dyebook camera check day1.jpg day2.jpg day3.jpg --camera "bench phone"
    """
    options = {
        "camera": camera,
        "card_at": None if card_at is None else parse_points(card_at),
        "card_lab": None if card_lab is None else parse_lab(card_lab),
        "part_at": None if part_at is None else [parse_points(part_at)],
    }
    spread = None if batch_sd is None else parse_lab(batch_sd)
    if spread is not None and min(spread) <= 0:
        raise typer.BadParameter(f"{batch_sd!r}: each spread must be above 0")
    if day is not None:
        when = date.fromisoformat(_day(day))
        _keep(photos, when, book, options, as_json)
        return
    from dyebook.jobs.camera import check_repeats
    from dyebook.report_camera import repeatability_text

    told = check_repeats([(photo.name, photo) for photo in photos], batch_sd=spread, **options)
    print_json(_finite(told)) if as_json else typer.echo(repeatability_text(told, camera))


def _keep(photos, when, book, options, as_json):
    """Keep the photos as a day's reading of the check coupon."""
    from dyebook.jobs.check_coupon import doubts_of, keep_day
    from dyebook.photo.measure import measure
    from dyebook.report import flag_lines

    with open_at(book) as opened:
        options["card_lab"] = options["card_lab"] or opened.setting("card_lab")
        shots = [(measure(photo, flaws=False, **options), photo) for photo in photos]
        for measurement, photo in shots:
            for line in flag_lines(doubts_of(measurement)):
                typer.echo(f"{photo.name}: {line}", err=True)
        _print_days(keep_day(opened, shots, options["camera"] or "", when), as_json)


def days(
    name: Annotated[str | None, typer.Argument(help="Name of the camera; else the one that read it last.")] = None,
    chart: Annotated[Path | None, typer.Option(help="Write a chart of the days, PNG.")] = None,
    put_right: Annotated[
        str | None,
        typer.Option(help="Note that lamp, card or phone were put right on this day."),
    ] = None,
    count_from: Annotated[
        str | None, typer.Option(help="Note that another piece, lamp or profile is in use from this day on.")
    ] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Show the check coupon's days: whether the camera, the lamp or the card drifts.

    Example: dyebook camera days "bench phone" --chart days.png
    """
    from dyebook.jobs import check_coupon

    with open_at(book) as opened:
        told = check_coupon.coupon_days(opened, name)
        if told is None:
            raise PhotoError(_no_day(name, check_coupon.coupon_cameras(opened)))
        if put_right is not None:
            check_coupon.put_right(opened, told.camera, _day(put_right))
        if count_from is not None:
            check_coupon.count_from(opened, told.camera, _day(count_from))
        told = check_coupon.coupon_days(opened, told.camera)
    if chart is not None:
        _draw(chart, told)
    _print_days(told, as_json)


def _no_day(name, cameras):
    """Why there is nothing to show."""
    with_it, option = ("", "") if name is None else (f" read with {name!r}", f" --camera {name!r}")
    others = ", ".join(camera or "no learned camera" for camera in cameras)
    return (
        f"the book has no day of the check coupon{with_it}{f' (but with {others})' if others else ''}; photograph it "
        f"beside the card and run: dyebook camera check PHOTO{option} --day today"
    )


def _draw(chart, told):
    from dyebook.plots_paper import days_png

    try:
        chart.write_bytes(days_png(told.differences, told.since))
    except OSError as fault:
        raise PhotoError(f"{chart} cannot be written ({fault.strerror}); name a folder that can be") from fault


def _print_days(told, as_json):
    from dyebook.report_camera import days_text

    print_json(told.to_dict()) if as_json else typer.echo(days_text(told))


def _day(text):
    """ISO date of what was typed for a day."""
    try:
        return date.today().isoformat() if text == "today" else date.fromisoformat(text).isoformat()
    except ValueError:
        raise typer.BadParameter(f"{text!r} is no day; write today, or a date such as 2026-11-25") from None


def _finite(told):
    """A repeatability as JSON takes it: nan becomes null."""
    plain = dict(vars(told))
    for name in ("lab", "sd", "grr_percent", "ndc"):
        plain[name] = [round(value, 4) if math.isfinite(value) else None for value in plain[name]]
    return {**plain, "flags": list(told.flags)}


def add_commands(camera_app):
    """Add the commands to those of cameras."""
    camera_app.command()(check)
    camera_app.command()(days)

"""Shell commands for cameras and the photo mat."""

import math
from pathlib import Path
from typing import Annotated

import typer

from dyebook.cli_photo import parse_lab, parse_points, print_json
from dyebook.errors import PhotoError

__all__ = ["add_commands"]

_JSON = Annotated[bool, typer.Option("--json", help="One JSON object on stdout.")]
_NAME = Annotated[str, typer.Option("--name", help="What to call the camera.")]

camera_app = typer.Typer(help="Learn what a camera does to colours, from one photo of a 24-patch chart.")


def _chart_corners(text):
    if text is None:
        return None
    points = parse_points(text)
    if len(points) != 4:
        raise typer.BadParameter(f"{len(points)} centres given; dark skin, bluish green, black and white are needed")
    return points


def _patch_numbers(text):
    try:
        numbers = [int(part) for part in text.replace(" ", "").split(",") if part]
    except ValueError:
        numbers = [-1]
    if any(not 0 <= number < 24 for number in numbers):
        raise typer.BadParameter(f"{text!r} is not a list of patches; write numbers from 0 to 23 such as 3,7")
    return numbers


@camera_app.command()
def learn(
    photo: Annotated[Path, typer.Argument(help="Photo of the chart, flat and evenly lit.")],
    name: _NAME,
    chart_at: Annotated[
        str | None, typer.Option(help='Centres of dark skin, bluish green, black, white: "x,y x,y x,y x,y".')
    ] = None,
    leave_out: Annotated[str, typer.Option(help="Patches the fit must not use, from 0 in reading order: 3,7.")] = "",
    table: Annotated[
        str | None, typer.Option(help="before-2014, after-2014 or a CSV file; else the one that fits.")
    ] = None,
    as_json: _JSON = False,
):
    """Learn a camera from a photo of a 24-patch chart.

    Example: dyebook camera learn chart.jpg --name "bench phone"
    """
    corners, left_out = _chart_corners(chart_at), _patch_numbers(leave_out)
    from dyebook.photo.camera import learn_camera
    from dyebook.photo.camera_store import keep_camera
    from dyebook.photo.read import read_photo

    profile = learn_camera(read_photo(photo), name, corners, left_out, table)
    keep_camera(profile)
    if as_json:
        print_json(_learned(profile))
    else:
        from dyebook.report_camera import camera_text

        typer.echo(camera_text(profile))


def _learned(profile):
    """The JSON of a learned camera."""
    return {
        "name": profile.name,
        "loo_delta_e00": [round(error, 3) for error in profile.loo_delta_e00],
        "mean": round(profile.mean, 3),
        "flags": list(profile.flags),
    }


@camera_app.command("list")
def list_all(as_json: _JSON = False):
    """List the cameras that were learned.

    Example: dyebook camera list
    """
    from dyebook.photo.camera_store import list_cameras
    from dyebook.report_camera import cameras_text

    cameras = list_cameras()
    if as_json:
        print_json([{**_learned(camera), "make": camera.make, "model": camera.model} for camera in cameras])
    else:
        typer.echo(cameras_text(cameras))


@camera_app.command()
def show(name: Annotated[str, typer.Argument(help="Name of the camera.")], as_json: _JSON = False):
    """Show what was learned about a camera, patch by patch.

    Example: dyebook camera show "bench phone"
    """
    from dataclasses import asdict

    from dyebook.photo.camera_store import load_camera
    from dyebook.report_camera import camera_text

    profile = load_camera(name)
    if as_json:
        print_json({**asdict(profile), "mean": profile.mean})
    else:
        typer.echo(camera_text(profile))


@camera_app.command()
def forget(name: Annotated[str, typer.Argument(help="Name of the camera.")], as_json: _JSON = False):
    """Forget a camera.

    Example: dyebook camera forget "bench phone"
    """
    from dyebook.photo.camera_store import forget_camera

    forget_camera(name)
    print_json({"name": name, "forgotten": True}) if as_json else typer.echo(f"{name} is forgotten")


@camera_app.command()
def check(
    photos: Annotated[list[Path], typer.Argument(help="Photos of one coupon, moved and photographed anew each time.")],
    camera: Annotated[str | None, typer.Option(help="Learned camera to read with, and to keep the spread.")] = None,
    card_at: Annotated[str | None, typer.Option(help="Corners of the grey area, the same in each photo.")] = None,
    card_lab: Annotated[str | None, typer.Option(help="The card's own Lab, L,a,b.")] = None,
    part_at: Annotated[str | None, typer.Option(help="Outline of the coupon, the same in each photo.")] = None,
    batch_sd: Annotated[str | None, typer.Option(help="Spread (sd) of your batches, L,a,b.")] = None,
    day: Annotated[
        str | None, typer.Option(help="Keep it as this day's reading of the check coupon: today, or 2026-11-25.")
    ] = None,
    as_json: _JSON = False,
):
    """Check how well readings repeat: the same coupon in ten or more photos. With --day: whether they drift.

    Example: dyebook camera check day1.jpg day2.jpg day3.jpg --camera "bench phone"
    """
    options = {
        "camera": camera,
        "card_at": None if card_at is None else parse_points(card_at),
        "card_lab": None if card_lab is None else parse_lab(card_lab),
        "part_at": None if part_at is None else [parse_points(part_at)],
        "flaws": False,
    }
    spread = None if batch_sd is None else parse_lab(batch_sd)
    if spread is not None and min(spread) <= 0:
        raise typer.BadParameter(f"{batch_sd!r}: each spread must be above 0")
    date = _day(day, camera)
    from dyebook.photo.camera_store import note_repeatability
    from dyebook.photo.repeat import repeatability
    from dyebook.report_camera import repeatability_text

    labs = [_coupon_lab(photo, options) for photo in photos]
    if date is not None:
        from dyebook.jobs.check_coupon import keep_day

        _print_days(keep_day(camera, labs, date), as_json)
        return
    told = repeatability(labs, spread)
    if camera is not None:
        note_repeatability(camera, told.sd)
    if as_json:
        print_json(_finite(told))
    else:
        typer.echo(repeatability_text(told))


@camera_app.command()
def days(
    name: Annotated[str, typer.Argument(help="Name of the camera.")],
    chart: Annotated[Path | None, typer.Option(help="Write a chart of the days, PNG.")] = None,
    as_json: _JSON = False,
):
    """Show the check coupon's days: whether the camera, the lamp or the card drifts.

    Example: dyebook camera days "bench phone" --chart days.png
    """
    from dyebook.jobs.check_coupon import coupon_days

    told = coupon_days(name)
    if told is None:
        raise PhotoError(f"no day is kept with {name!r}; run: dyebook camera check PHOTO --camera {name!r} --day today")
    if chart is not None:
        from dyebook.plots_paper import days_png

        try:
            chart.write_bytes(days_png(told.differences))
        except OSError as fault:
            raise PhotoError(f"{chart} cannot be written ({fault.strerror}); name a folder that can be") from fault
    _print_days(told, as_json)


def _print_days(told, as_json):
    from dyebook.report_camera import days_text

    print_json(told.to_dict()) if as_json else typer.echo(days_text(told))


def _day(text, camera):
    """The date that somebody typed; None where none was."""
    from datetime import date

    if text is None:
        return None
    if camera is None:
        raise typer.BadParameter("--day is kept with a learned camera; name it with --camera")
    try:
        return date.today() if text == "today" else date.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter(f"{text!r} is no day; write today, or a date such as 2026-11-25") from None


def _coupon_lab(photo, options):
    """Lab of the only part in a photo."""
    from dyebook.photo.measure import measure

    parts = measure(photo, **options).parts
    if len(parts) != 1:
        raise PhotoError(f"{len(parts)} parts in {photo.name}; lay the coupon alone beside the card, or give --part-at")
    return parts[0].lab


def _finite(told):
    """A repeatability as JSON takes it: nan becomes null."""
    plain = dict(vars(told))
    for name in ("lab", "sd", "grr_percent", "ndc"):
        plain[name] = [round(value, 4) if math.isfinite(value) else None for value in plain[name]]
    return {**plain, "flags": list(told.flags)}


def mat(
    file: Annotated[Path, typer.Argument(help="PDF to write.")],
    paper: Annotated[str, typer.Option(help="a4 or letter.")] = "a4",
    as_json: _JSON = False,
):
    """Write the photo mat to print: marks at the page corners give scale and areas.

    Example: dyebook mat mat.pdf --paper a4
    """
    from dyebook.jobs.camera import mat_drawing
    from dyebook.photo.mat import PAPERS
    from dyebook.report_mat import write_mat

    paper = paper.lower()
    if paper not in PAPERS:
        raise typer.BadParameter(f"{paper!r} is no paper we know; use {' or '.join(PAPERS)}")
    size_mm, marks, line_mm = mat_drawing(paper)
    try:
        write_mat(file, paper, size_mm, marks, line_mm)
    except OSError as fault:
        raise PhotoError(f"{file} cannot be written ({fault.strerror}); name a folder that can be") from fault
    if as_json:
        print_json({"file": str(file), "paper": paper, "line_mm": line_mm})
    else:
        typer.echo(f"{file}: print at 100 %, then check the line of {line_mm:g} mm with calipers")


def add_commands(app):
    """Add the camera commands to the shell."""
    app.command()(mat)
    app.add_typer(camera_app, name="camera", no_args_is_help=True)

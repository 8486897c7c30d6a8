"""Shell commands for cameras: learned from a chart, checked by photos of one coupon; and for the photo mat."""

import math
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from dyebook.errors import PhotoError, RecordError
from dyebook.safe_file import replacing
from dyebook.shell.options import (
    BookOption,
    JsonOption,
    open_at,
    option,
    parse_lab,
    parse_points,
    print_result,
    shop_setting,
)
from dyebook.shell.photo import CameraOption, CardAt, CardLab, NoCamera, asked_of
from dyebook.units import parse_moment

__all__ = ["add_commands"]

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
    as_json: JsonOption = False,
):
    """Learn a camera from a photo of a 24-patch chart.

    Example: dyebook camera learn chart.jpg --name "bench phone"
    """
    corners, left_out = _chart_corners(chart_at), _patch_numbers(leave_out)
    from dyebook.photo.camera.chart import PATCHES
    from dyebook.photo.camera.profile import learn_camera
    from dyebook.photo.camera.store import keep_camera, learned_again
    from dyebook.photo.file.read import read_photo
    from dyebook.report.camera import camera_text

    profile = learned_again(learn_camera(read_photo(photo), name, corners, left_out, table))
    keep_camera(profile)
    print_result(_learned(profile), as_json, lambda _: camera_text(profile, PATCHES))


def _learned(profile):
    """The JSON of a learned camera."""
    return {
        "name": profile.name,
        "loo_delta_e00": [round(error, 3) for error in profile.loo_delta_e00],
        "mean": round(profile.mean, 3),
        "flags": list(profile.flags),
    }


@camera_app.command("list")
def list_all(as_json: JsonOption = False):
    """List the cameras that were learned.

    Example: dyebook camera list
    """
    from dyebook.photo.camera.store import list_cameras
    from dyebook.report.camera import cameras_text

    cameras = list_cameras()
    told = [{**_learned(camera), "make": camera.make, "model": camera.model} for camera in cameras]
    print_result(told, as_json, lambda _: cameras_text(cameras))


@camera_app.command()
def show(name: Annotated[str, typer.Argument(help="Name of the camera.")], as_json: JsonOption = False):
    """Show what was learned about a camera, patch by patch.

    Example: dyebook camera show "bench phone"
    """
    from dyebook.photo.camera.chart import PATCHES
    from dyebook.photo.camera.store import load_camera
    from dyebook.report.camera import camera_text

    profile = load_camera(name)
    print_result({**asdict(profile), "mean": profile.mean}, as_json, lambda _: camera_text(profile, PATCHES))


@camera_app.command()
def forget(name: Annotated[str, typer.Argument(help="Name of the camera.")], as_json: JsonOption = False):
    """Forget a camera.

    Example: dyebook camera forget "bench phone"
    """
    from dyebook.photo.camera.store import forget_camera

    forget_camera(name)
    print_result({"name": name, "forgotten": True}, as_json, lambda _: f"{name} is forgotten")


def mat(
    file: Annotated[Path, typer.Argument(help="PDF to write.", writable=True)],
    paper: Annotated[str | None, typer.Option(help="a4 or letter; the shop's without it.")] = None,
    as_json: JsonOption = False,
):
    """Write the photo mat to print: marks at the page corners give scale and areas.

    Example: dyebook mat mat.pdf --paper a4
    """
    from dyebook.jobs.camera import print_mat
    from dyebook.photo.mat import PAPERS

    paper = (paper or shop_setting(None, "paper")).lower()
    if paper not in PAPERS:
        raise typer.BadParameter(f"{paper!r} is no paper the mat is drawn for; use {' or '.join(PAPERS)}")
    line_mm = print_mat(file, paper)
    words = f"{file}: print at 100 %, then check the line of {line_mm:g} mm with calipers"
    print_result({"file": str(file), "paper": paper, "line_mm": line_mm}, as_json, lambda _: words)


def check(
    photos: Annotated[list[Path], typer.Argument(help="Photos of one coupon, moved and photographed anew each time.")],
    camera: CameraOption = None,
    no_camera: NoCamera = False,
    card_at: CardAt = None,
    card_lab: CardLab = None,
    part_at: Annotated[str | None, typer.Option(help="Outline of the coupon, the same in each photo.")] = None,
    batch_sd: Annotated[str | None, typer.Option(help="Spread (sd) of your batches, L,a,b.")] = None,
    day: Annotated[
        str | None, typer.Option(help="Keep it as this day's reading of the check coupon: today, or 2026-11-25.")
    ] = None,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Check how well readings repeat: the same coupon in ten or more photos. With --day: whether they drift.

    A camera that is named with --camera keeps the spread.

    Example: dyebook camera check day1.jpg day2.jpg day3.jpg --camera "bench phone"
    """
    asked = asked_of(book, card_at, card_lab, None if part_at is None else [part_at], camera, no_camera)
    spread = None if batch_sd is None else parse_lab(batch_sd)
    if spread is not None and min(spread) <= 0:
        raise typer.BadParameter(f"{batch_sd!r}: each spread must be above 0")
    if day is not None:
        _keep_day(photos, date.fromisoformat(_day(day)), book, asked, as_json)
        return
    from dyebook.jobs.camera import check_repeats
    from dyebook.report.camera import repeatability_text

    found = check_repeats(None, [(photo.name, photo) for photo in photos], spread, **asked)
    print_result(_finite(found), as_json, lambda _: repeatability_text(found, camera))


def _keep_day(photos, when, book, asked, as_json):
    """Keep the photos as a day's reading of the check coupon."""
    from dyebook.jobs.check_coupon import doubts_of, keep_photos
    from dyebook.report.photo import flag_lines

    def say_doubts(photo, measurement):
        for line in flag_lines(doubts_of(measurement)):
            typer.echo(f"{photo.name}: {line}", err=True)

    with open_at(book) as opened:
        _print_days(keep_photos(opened, photos, when, say_doubts, **asked), as_json)


def days(
    name: Annotated[str | None, typer.Argument(help="Name of the camera; else the one that read it last.")] = None,
    chart: Annotated[Path | None, typer.Option(help="Write a chart of the days, PNG.", writable=True)] = None,
    put_right: Annotated[
        str | None, typer.Option(help="Note that lamp, card or phone were put right on this day.")
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
        found = check_coupon.coupon_days(opened, name)
        if found is None:
            raise PhotoError(_no_day(name, check_coupon.coupon_cameras(opened)))
        if put_right is not None:
            check_coupon.put_right(opened, found.camera, _day(put_right))
        if count_from is not None:
            check_coupon.count_from(opened, found.camera, _day(count_from))
        found = check_coupon.coupon_days(opened, found.camera)
    if chart is not None:
        _draw(chart, found)
    _print_days(found, as_json)


def setups(
    key: Annotated[str | None, option("Key of a set-up: one that photos were known by.")] = None,
    name: Annotated[str | None, option("What to call it; the name of another joins the two.")] = None,
    take_back: Annotated[bool, option("Take its last name back, and so a joining.", "--take-back")] = False,
    step: Annotated[str | None, option("Two set-ups, 'HERE,THERE': take their coupon's step off verdicts.")] = None,
    leave: Annotated[bool, option("Leave the step in again.", "--leave")] = False,
    book: BookOption = None,
    as_json: JsonOption = False,
):
    """Show the set-ups of the book, and what they read apart on the check coupon; name one, or take a name back.

    Example: dyebook camera setups --key 4f2a91c07b3d --take-back
    """
    from dyebook.book.setups import list_setups, name_setup, take_name_back
    from dyebook.jobs.verdict import coupon_steps, take_step
    from dyebook.report.camera import setups_text

    if (key is None) != (name is None and not take_back) or (name is not None and take_back):
        raise typer.BadParameter("give --key with either --name or --take-back")
    pair = [one.strip() for one in (step or "").split(",")]
    if (step is not None and len(pair) != 2) or (leave and step is None):
        raise typer.BadParameter("give two set-ups with a comma between: --step 'window bench,kitchen'")
    with open_at(book) as opened:
        if take_back:
            take_name_back(opened, key)
        elif key is not None:
            name_setup(opened, key, name)
        if step is not None:
            take_step(opened, *map(str.casefold, pair), not leave)
        found = {"setups": list_setups(opened), "steps": coupon_steps(opened)}
    print_result(found, as_json, setups_text)


def _no_day(name, cameras):
    """Why there is nothing to show."""
    with_it, option = ("", "") if name is None else (f" read with {name!r}", f" --camera {name!r}")
    others = ", ".join(camera or "no learned camera" for camera in cameras)
    return (
        f"the book has no day of the check coupon{with_it}{f' (but with {others})' if others else ''}; photograph it "
        f"beside the card and run: dyebook camera check PHOTO{option} --day today"
    )


def _draw(chart, found):
    from dyebook.report.plots import days_png

    try:
        with replacing(chart) as fresh:
            fresh.write_bytes(days_png(found.differences, found.since))
    except OSError as fault:
        raise PhotoError(f"{chart} cannot be written ({fault.strerror}); name a folder that can be") from fault


def _print_days(found, as_json):
    from dyebook.report.camera import days_text

    print_result(found, as_json, days_text)


def _day(text):
    """ISO date of what was typed for a day."""
    try:
        return parse_moment("the day", text)[: len("2026-11-25")]
    except RecordError as error:
        raise typer.BadParameter(str(error)) from None


def _finite(spread):
    """A repeatability as JSON takes it: nan becomes null."""
    plain = dict(vars(spread))
    for name in ("lab", "sd", "grr_percent", "ndc"):
        plain[name] = [round(value, 4) if math.isfinite(value) else None for value in plain[name]]
    return {**plain, "flags": list(spread.flags)}


def add_commands(app):
    """Add the camera commands to the shell."""
    app.command()(mat)
    camera_app.command()(check)
    camera_app.command()(days)
    camera_app.command()(setups)
    app.add_typer(camera_app, name="camera", no_args_is_help=True)

"""Shell commands for cameras and the photo mat."""

from pathlib import Path
from typing import Annotated

import typer

from dyebook import cli_coupon
from dyebook.cli_photo import parse_points, print_json
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
    from dyebook.photo.camera_store import keep_camera, learned_again
    from dyebook.photo.read import read_photo

    profile = learned_again(learn_camera(read_photo(photo), name, corners, left_out, table))
    keep_camera(profile)
    if as_json:
        print_json(_learned(profile))
    else:
        from dyebook.photo.chart import PATCHES
        from dyebook.report_camera import camera_text

        typer.echo(camera_text(profile, PATCHES))


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
    from dyebook.photo.chart import PATCHES
    from dyebook.report_camera import camera_text

    profile = load_camera(name)
    if as_json:
        print_json({**asdict(profile), "mean": profile.mean})
    else:
        typer.echo(camera_text(profile, PATCHES))


@camera_app.command()
def forget(name: Annotated[str, typer.Argument(help="Name of the camera.")], as_json: _JSON = False):
    """Forget a camera.

    Example: dyebook camera forget "bench phone"
    """
    from dyebook.photo.camera_store import forget_camera

    forget_camera(name)
    print_json({"name": name, "forgotten": True}) if as_json else typer.echo(f"{name} is forgotten")


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
    cli_coupon.add_commands(camera_app)
    app.add_typer(camera_app, name="camera", no_args_is_help=True)

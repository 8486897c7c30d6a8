"""What a photo says about its camera, its exposure and which way is up; what is impossible or damaged becomes None."""

import math
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime

import cv2

from dyebook.photo.file.limits import DECODER_FAULTS

__all__ = ["NO_CAMERA", "CameraInfo", "camera_info", "declared_colour", "exif_orientation", "turn_upright"]

_EXIF_IFD, _INTEROP_IFD = 0x8769, 0xA005
_MAKE, _MODEL, _ORIENTATION, _DATE_TIME = 0x010F, 0x0110, 0x0112, 0x0132
_EXPOSURE_S, _F_NUMBER, _ISO, _DATE_TIME_ORIGINAL = 0x829A, 0x829D, 0x8827, 0x9003
_COLOUR_SPACE, _WHITE_BALANCE, _INTEROP_INDEX = 0xA001, 0xA403, 0x0001

_LONGEST_TEXT = 64
# what exposures, apertures and sensitivities can be
_EXPOSURES_S, _F_NUMBERS, _ISOS = (1e-7, 1e5), (0.1, 1000), (1, 1e7)

_TURNS = {
    2: lambda image: cv2.flip(image, 1),
    3: lambda image: cv2.rotate(image, cv2.ROTATE_180),
    4: lambda image: cv2.flip(image, 0),
    5: cv2.transpose,
    6: lambda image: cv2.rotate(image, cv2.ROTATE_90_CLOCKWISE),
    7: lambda image: cv2.flip(cv2.transpose(image), -1),
    8: lambda image: cv2.rotate(image, cv2.ROTATE_90_COUNTERCLOCKWISE),
}


@dataclass(frozen=True)
class CameraInfo:
    """What the file says about the camera; None where it says nothing, or nothing possible."""

    # make, model: as written by the camera, at most 64 printable characters
    make: str | None = None
    model: str | None = None
    exposure_s: float | None = None  # exposure time in seconds
    f_number: float | None = None  # aperture ratio
    iso: int | None = None  # sensitivity
    white_balance: str | None = None  # "auto", "manual" or None: how the camera chose its white
    taken_at: datetime | None = None  # the camera's own clock, without time zone


NO_CAMERA = CameraInfo()


def camera_info(exif) -> CameraInfo:
    """Return what an EXIF block says about the camera.

    The block (PIL.Image.Exif) may be empty or damaged; impossible values are left out.
    """
    main, details = _readable(exif, (_MAKE, _MODEL, _DATE_TIME)), _sub_block(exif, _EXIF_IFD)
    iso = _number(details.get(_ISO), *_ISOS)
    return CameraInfo(
        make=_text(main.get(_MAKE)),
        model=_text(main.get(_MODEL)),
        exposure_s=_number(details.get(_EXPOSURE_S), *_EXPOSURES_S),
        f_number=_number(details.get(_F_NUMBER), *_F_NUMBERS),
        iso=None if iso is None else round(iso),
        white_balance={0: "auto", 1: "manual"}.get(_number(details.get(_WHITE_BALANCE), 0, 1)),
        taken_at=_moment(details.get(_DATE_TIME_ORIGINAL)) or _moment(main.get(_DATE_TIME)),
    )


def exif_orientation(exif) -> int:
    """Return the EXIF orientation, 1 to 8; 1 where it is missing or impossible."""
    value = _readable(exif, (_ORIENTATION,)).get(_ORIENTATION)
    return value if isinstance(value, int) and value in (1, *_TURNS) else 1


def declared_colour(exif) -> str | None:
    """Return "sRGB" or "Adobe RGB" where the EXIF block names one of them (DCF rules), else None."""
    details = _sub_block(exif, _EXIF_IFD)
    if details.get(_COLOUR_SPACE) == 1:
        return "sRGB"
    # DCF 2.0: an "R03" interoperability index marks the optional Adobe RGB files of cameras
    if _text(_sub_block(exif, _INTEROP_IFD).get(_INTEROP_INDEX)) == "R03":
        return "Adobe RGB"
    return None


def turn_upright(image, orientation: int):
    """Return an image turned so that it stands upright.

    It is the same array when it already stands upright. `image` (H, W) or (H, W, C): as stored. `orientation`: EXIF
    orientation, 1 to 8.
    """
    turn = _TURNS.get(orientation)
    return image if turn is None else turn(image)


def _sub_block(exif, tag):
    """Return a nested block as a dict, empty where it is missing or damaged."""
    try:
        block = exif.get_ifd(tag)
    except DECODER_FAULTS:
        return {}
    return block if isinstance(block, dict) else {}


def _readable(exif, tags):
    """Return the wanted tags that can be read."""
    values = {}
    for tag in tags:
        # values are unpacked when asked for, so each may fail by itself
        with suppress(*DECODER_FAULTS):
            values[tag] = exif.get(tag)
    return values


def _text(value):
    """Return printable text, or None."""
    if isinstance(value, bytes):
        value = value[: 4 * _LONGEST_TEXT].decode("latin-1")
    if not isinstance(value, str):
        return None
    head = value[: 4 * _LONGEST_TEXT].split("\0", 1)[0]
    return "".join(c for c in head if c.isprintable()).strip()[:_LONGEST_TEXT] or None


def _number(value, lowest, highest):
    """Return a float in range, or None; of a list, the first."""
    if isinstance(value, tuple | list):
        value = value[0] if value else None
    try:
        number = float(value)
    except (TypeError, ValueError, ArithmeticError):
        return None
    return number if math.isfinite(number) and lowest <= number <= highest else None


def _moment(value):
    """Return a datetime, or None."""
    try:
        return datetime.strptime(_text(value) or "", "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None

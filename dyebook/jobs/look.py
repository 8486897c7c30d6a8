"""Look at a photo for a screen: what was measured, with pictures of it; a refusal still shows the photo."""

from dataclasses import dataclass
from types import SimpleNamespace

from dyebook.book.reading_rows import reading_values
from dyebook.book.seen import mean_lab
from dyebook.errors import PhotoError
from dyebook.jobs.progress import say_nothing
from dyebook.lab import Lab, delta_e_00
from dyebook.record import Measurement, Reading

__all__ = ["Seen", "draw_kept", "draw_plain", "known_cameras", "mean_of", "see_photo"]

_LONG_SIDE = 1400
_JPEG_QUALITY = 88


@dataclass(frozen=True)
class Seen:
    """A look at one photo.

    Attributes
    ----------
    size : tuple of int
        Width and height of the upright photo.
    overlay : bytes
        The photo with what was found drawn in, as JPEG for a screen.
    measurement : Measurement or None
        None when it could not be measured.
    problem : str
        Why, in one sentence; empty when all is well.
    camera : str
        The learned camera it was read with; empty without.
    """

    size: tuple
    overlay: bytes
    measurement: Measurement | None
    problem: str = ""
    camera: str = ""


def known_cameras():
    """Return name and moment of learning of each learned camera, by name."""
    from dyebook.photo.camera_store import list_cameras

    return tuple((camera.name, camera.learned_at) for camera in list_cameras())


def mean_of(readings):
    """Return what several photos of one part say together.

    Parameters
    ----------
    readings : sequence of dyebook.record.Reading

    Returns
    -------
    lab : Lab
    lab_u : tuple of float
        As the book has it, see `dyebook.book.seen.mean_lab`.
    apart : float
        Largest CIEDE2000 of one of them to the mean.
    """
    lab, lab_u = mean_lab([SimpleNamespace(**reading_values(reading)) for reading in readings])
    return lab, lab_u, max(float(delta_e_00(lab, reading.lab)) for reading in readings)


def see_photo(content, name=None, own_camera=False, progress=None, **options):
    """Return a `Seen` of a photo.

    Parameters
    ----------
    content : bytes
    name : str, optional
        As the photo was called.
    own_camera : bool
        Read it with the learned camera that took it, where there is one.
    progress : callable, optional
        Called with words where a stage begins.
    **options
        As for `dyebook.measure`: `card_at`, `card_lab`, `part_at`, `camera`, `flat`, `no_card`.

    Returns
    -------
    Seen

    Raises
    ------
    PhotoError
        If it is no photo at all; a photo without a usable card or part is shown, with the reason in words.
    """
    from dyebook.photo.camera_store import profile_for
    from dyebook.photo.measure import look_at
    from dyebook.photo.read import read_photo

    tell = progress or say_nothing
    called = name or "the photo"
    tell(f"Reading {called}")
    photo = read_photo(content, name=name, quick=True)
    if own_camera and options.get("camera") is None:
        options["camera"] = profile_for(photo)
    used = options.get("camera")
    used = used if isinstance(used, str) or used is None else used.name
    tell(f"Looking for card and parts in {called}")
    try:
        look = look_at(photo, **options)
    except PhotoError as error:
        return Seen(photo.size, _jpeg(_picture(photo, None)), None, str(error), used or "")
    tell(f"Drawing what was found in {called}")
    return Seen(photo.size, _jpeg(look.overlay(_LONG_SIDE)), look.measurement, camera=used or "")


def draw_plain(content, name=None):
    """Return a photo with nothing drawn in, as JPEG of the size of an overlay.

    Raises
    ------
    PhotoError
        If it is no photo.
    """
    from dyebook.photo.read import read_photo

    return _jpeg(_picture(read_photo(content, name=name, quick=True), None))


def draw_kept(book, batch_id, most=None, plain=False, progress=None):
    """Return pictures of a batch's photos, newest first, each with the readings kept from it drawn in.

    Parameters
    ----------
    book : dyebook.book.store.Book
    batch_id : int
    most : int, optional
        How many at most; all without.
    plain : bool
        Whether to draw nothing in.
    progress : callable, optional
        Called with words where a photo begins.

    Returns
    -------
    list of (str, bytes)
        Name of the photo, and the picture as JPEG.
    """
    from dyebook.photo.read import read_photo

    readings = book.rows("readings", batch_id=batch_id)
    drawn, tell = [], progress or say_nothing
    for row in book.rows("photos", batch_id=batch_id)[::-1][:most]:
        own = [reading for reading in readings if reading["photo_id"] == row["id"]]
        name = row["name"] or next((one["measured_with"]["photo"] for one in own if one["measured_with"]), "photo")
        tell(f"Drawing {name}")
        photo = read_photo(book.photo_bytes(row["sha256"]), name=name, quick=True)
        drawn.append((name, _jpeg(_picture(photo, None if plain else _as_measured(photo, own)))))
    return drawn


def _picture(photo, measurement):
    from dyebook.photo.overlay import draw_overlay

    if measurement is None:
        measurement = Measurement(photo.name, photo.size, "none", None, Lab(0, 0, 0))
    return draw_overlay(photo, measurement, long_side=_LONG_SIDE)


def _as_measured(photo, rows):
    """The measurement that kept readings came from, as far as a picture shows it."""
    quads = [row["card"]["quad"] for row in rows if row["card"] and row["card"]["quad"]]
    parts = tuple(_reading_of(row) for row in rows if row["outline"])
    return Measurement(photo.name, photo.size, "grey", quads[-1] if quads else None, Lab(0, 0, 0), parts)


def _reading_of(row):
    across, down = zip(*row["outline"], strict=True)
    box = (min(across), min(down), max(across), max(down))
    unknown = (float("nan"),) * 3
    return Reading(Lab(row["L"], row["a"], row["b"]), unknown, unknown, tuple(map(tuple, row["outline"])), box)


def _jpeg(picture):
    import cv2

    _, data = cv2.imencode(".jpg", cv2.cvtColor(picture, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, _JPEG_QUALITY])
    return data.tobytes()

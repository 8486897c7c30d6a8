"""Read a photo for a book, show it, and keep photo and reading; a photo without a reading is kept all the same.

`read_options` says how a book's photos are read: as was asked, and where nothing was, with the shop's own card and the
learned camera that took the photo. Every command and page goes by it. `look` reads one photo that way, `see_photo`
draws it for a screen too (a refusal still shows the photo), `record_dip` and `record_strip` keep photo and reading as
a batch or as the bands of a stepped coupon, and `options_as_kept` reads a kept photo once more as it was read before.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace

from dyebook.errors import PhotoError, RecordError
from dyebook.jobs import say_nothing
from dyebook.jobs.asked import asked_of_dip, noting_what_is_odd
from dyebook.lab import Lab, delta_e_00
from dyebook.record import Measurement, Reading, ReadOptions, check_value
from dyebook.units import parse_quantity, shop_now

__all__ = [
    "FITTING", "MOST_BANDS", "KeptStrip", "Recorded", "Seen", "draw_kept", "draw_plain", "keep_dip", "keep_sample",
    "known_cameras", "look", "mean_of", "options_as_kept", "parse_dwells", "read", "read_options", "record_dip",
    "record_strip", "screen_jpeg", "see_photo", "shade_of",
]  # fmt: skip

# as `ReadOptions.camera`: the learned camera that took the photo, where there is one; no camera can be called so
FITTING = "*"
_LONG_SIDE = 1400
_JPEG_QUALITY = 88


def read_options(book, camera=FITTING, card_lab=None, **asked) -> ReadOptions:
    """Return how the photos of a book are read.

    Parameters
    ----------
    book : dyebook.book.store.Book or None
        Its own card is used where no other is named; None where there is no book.
    camera : str, CameraProfile or None
        A learned camera or its name; None for none, even where one took the photo.
    **asked
        Further fields of `ReadOptions`.
    """
    if card_lab is None and book is not None:
        card_lab = book.setting("card_lab")
    return ReadOptions(camera=camera, card_lab=card_lab, **asked)


def options_as_kept(row: dict, read_file: Callable[[str], bytes]) -> ReadOptions:
    """Return how a kept reading was read.

    `row`: of the table of readings. `read_file`: returns the bytes of a kept photo by its SHA-256; called for the photo
    of plain paper.
    """
    card, asked = row["card"] or {}, (row["measured_with"] or {}).get("asked") or {}
    return ReadOptions(
        card_at=asked.get("card_at"),
        # a chart is found anew: all of its patches say what the camera does
        card_lab=None if card.get("kind") == "chart" else card.get("lab"),
        camera=row["camera"],
        flat=read_file(asked["flat"]) if "flat" in asked else None,
        no_card=card.get("kind") == "none",
        mat_line_mm=asked.get("mat_line_mm"),
        setup=asked.get("setup"),
        finish=row["finish"],
        twin_at=asked.get("twin_at"),
        twin_lab=asked.get("twin_lab"),
    )


def look(source, options: ReadOptions, name: str | None = None):
    """Return the `dyebook.photo.measure.Look` at a photo, read by the learned camera that took it if `FITTING` says so.

    `source`: path, bytes, LinearPhoto or HalfPhoto. `name`: what messages call a photo given as bytes.
    """
    from dyebook.photo.camera.store import profile_for
    from dyebook.photo.file.read import read_photo
    from dyebook.photo.measure import look_at

    photo = read_photo(source, name=name, quick=True) if isinstance(source, str | Path | bytes) else source
    if options.camera == FITTING:
        options = replace(options, camera=profile_for(photo))
    return look_at(photo, options)


def read(source, options: ReadOptions, name: str | None = None) -> Measurement:
    """Return the measurement of a `look`; what reads photos wherever `read` is not given."""
    return look(source, options, name).measurement


def shade_of(book, photo) -> Lab:
    """Return the colour of the first part in a photo; PhotoError where there is none."""
    seen = read(photo, read_options(book, flaws=False))
    if not seen.parts:
        raise PhotoError(f"no part was found in {seen.photo}; measure it with --part-at and give its colour as --lab")
    return seen.parts[0].lab


@dataclass(frozen=True)
class Seen:
    """A look at one photo."""

    size: tuple[int, ...]  # width and height of the upright photo
    overlay: bytes  # the photo with what was found drawn in, as JPEG for a screen
    measurement: Measurement | None  # None when it could not be measured
    problem: str = ""  # why, in one sentence; empty when all is well


def known_cameras():
    """Return name and moment of learning of each learned camera, by name."""
    from dyebook.photo.camera.store import list_cameras

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
        As the book has it, see `dyebook.book.readings.mean_lab`.
    apart : float
        Largest CIEDE2000 of one of them to the mean.
    """
    from dyebook.book.readings import mean_lab, reading_values

    lab, lab_u = mean_lab([SimpleNamespace(**reading_values(reading)) for reading in readings])
    return lab, lab_u, max(float(delta_e_00(lab, reading.lab)) for reading in readings)


def see_photo(content, options: ReadOptions, name=None, progress=say_nothing) -> Seen:
    """Return a `Seen` of a photo; `progress` is called with words where a stage begins.

    PhotoError if it is no photo at all; a photo without a usable card or part is shown, with the reason in words.
    """
    from dyebook.photo.file.read import read_photo

    called = name or "the photo"
    progress(f"Reading {called}")
    photo = read_photo(content, name=name, quick=True)
    progress(f"Looking for card and parts in {called}")
    try:
        looked = look(photo, options)
    except PhotoError as error:
        return Seen(photo.size, screen_jpeg(_picture(photo, None)), None, str(error))
    progress(f"Drawing what was found in {called}")
    return Seen(photo.size, screen_jpeg(looked.overlay(_LONG_SIDE)), looked.measurement)


def draw_plain(content, name=None, progress=say_nothing):
    """Return a photo with nothing drawn in, as JPEG of the size of an overlay; `progress` as for `see_photo`."""
    from dyebook.photo.file.read import read_photo

    progress(f"Drawing {name or 'the photo'}")
    return screen_jpeg(_picture(read_photo(content, name=name, quick=True), None))


def draw_kept(book, batch_id: int, most: int | None = None, plain: bool = False, progress=say_nothing):
    """Return pictures of a batch's photos, newest first, each with the readings kept from it drawn in.

    Each is the name of a photo, and the picture as JPEG. `most`: how many at most; all without. `plain`: whether to
    draw nothing in.
    """
    from dyebook.photo.file.read import read_photo

    readings = book.rows("readings", batch_id=batch_id)
    drawn = []
    for row in book.rows("photos", batch_id=batch_id)[::-1][:most]:
        own = [reading for reading in readings if reading["photo_id"] == row["id"]]
        name = row["name"] or next((one["measured_with"]["photo"] for one in own if one["measured_with"]), "photo")
        progress(f"Drawing {name}")
        photo = read_photo(book.photo_bytes(row["sha256"]), name=name, quick=True)
        drawn.append((name, screen_jpeg(_picture(photo, None if plain else _as_measured(photo, own)))))
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


def screen_jpeg(picture) -> bytes:
    """Return a picture (uint8, RGB) as JPEG for a screen."""
    import cv2

    _, data = cv2.imencode(".jpg", cv2.cvtColor(picture, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, _JPEG_QUALITY])
    return data.tobytes()


@dataclass(frozen=True)
class Recorded:
    """What was kept."""

    batch: int  # number of the new batch
    # the part's reading as in the measure contract; None without a photo, or where nothing was read in it
    reading: dict | None
    warnings: tuple[str, ...]  # why there is no reading, or what should be known about it

    def to_dict(self):
        """Return the JSON object of the record contract."""
        return {"batch": self.batch, "reading": self.reading, "warnings": list(self.warnings)}


def record_dip(book, record, photo=None, part_index=0, replaces_id=None, run=None, geometry=None, **asked) -> Recorded:
    """Add a batch to the book with its photo, measured where that is possible.

    It returns once batch and photo are safely on disk. PhotoError if the file is no photo at all; nothing is recorded
    then; BookError if the book could not keep it.

    Parameters
    ----------
    photo : path or bytes, optional
    part_index : int or None
        Which part of the photo the batch is, counted from 0, left to right; None for all of them.
    replaces_id : int, optional
        The batch that was stripped and is done again by this one.
    run : dict, optional
        Further columns of its run.
    geometry : str, optional
        Of the instrument that read the record's own Lab, one of `dyebook.record.GEOMETRIES`.
    """
    measurement, warnings = (None, ()) if photo is None else _try_to_measure(book, photo, asked, "batch")
    shown = len(measurement.parts) if measurement else 0
    if measurement and not shown:
        warnings += ("no part was found in the photo",)
    if measurement and part_index is not None and part_index >= shown:
        if shown:
            warnings += (f"part {part_index + 1} was asked for, but the photo shows {shown}; kept without a reading",)
        measurement = None
    if measurement and part_index is not None and shown > 1:
        warnings += (f"the photo shows {shown} parts; number {part_index + 1} was kept",)
    if measurement and part_index is None and shown > 1:
        mean = [sum(values) / shown for values in zip(*(part.lab for part in measurement.parts), strict=True)]
        off = max(float(delta_e_00(mean, part.lab)) for part in measurement.parts)
        warnings += (f"all {shown} parts were kept; of one load, they lie up to ΔE00 {off:.1f} from their mean",)
    if measurement and asked.get("flat") is not None:
        book.add_photo(asked["flat"])
    warnings += asked_of_dip(vars(record))
    record = noting_what_is_odd(record)
    batch_id = book.add_batch(record, photo, measurement, part_index, replaces_id, run, geometry)
    reading = measurement.parts[part_index or 0].to_dict() if measurement and shown else None
    return Recorded(batch_id, reading, warnings)


def _try_to_measure(book, photo, asked, what, read=read):
    """The measurement, or None, and what should be known about it; `what` is kept in any case."""
    try:
        measurement = read(photo, read_options(book, **asked))
    except PhotoError as error:
        return None, (f"{error} ({what} and photo were kept)",)
    return measurement, tuple(measurement.warnings)


def keep_dip(book, record, shots, batch_id: int | None = None, **state) -> int:
    """Keep a batch with its photos, each measured already, and return the batch's number.

    Parameters
    ----------
    record : dyebook.record.DyeRecord or None
        A new batch; None to add to the one given.
    shots : sequence
        With `content` (bytes), `measurement` (Measurement or None), `part` (index, or None for all) and `parts`, the
        indices of the parts to keep.
    **state
        `wet`, `sealed`: how the surface was when it was read.
    """
    number, shots = batch_id, list(shots)
    if batch_id is None:
        # batch and first photo together or not at all
        first = shots.pop(0) if shots else None
        seen = (first.content, first.measurement if first.parts else None, first.part) if first else ()
        number = book.add_batch(noting_what_is_odd(record), *seen)
    for shot in shots:
        if not shot.parts:
            book.add_photo(shot.content, number)
        for index in shot.parts:
            values = {"measurement": shot.measurement, "part_index": index, "photo": shot.content}
            book.add_reading(number, **values, **state)
    return number


def keep_sample(
    book, batch_id: int, measurement: Measurement, part_index: int, name: str | None = None, sample_id=None
) -> int:
    """Add a customer's sample with its reading, or a reading to one of the book, and return the sample's number.

    `batch_id`: the batch it lay beside; its newest photo is the evidence. `part_index`: which part of the photo the
    sample is, from 0, left to right.
    """
    from dyebook.book.readings import measured_values

    values = measured_values(measurement, part_index)
    photos = book.rows("photos", batch_id=batch_id)
    sample_id = sample_id or book.add("samples", name=name or f"sample beside batch {batch_id}")
    book.add("readings", sample_id=sample_id, photo_id=photos[-1]["id"] if photos else None, **values)
    return sample_id


MOST_BANDS = 20


@dataclass(frozen=True)
class KeptStrip:
    """What was kept of a strip."""

    batches: tuple[int, ...]  # number of each band's batch, the longest dwell first
    dwells_min: tuple[float, ...]
    # of each band as in the measure contract; empty without a photo, or where no strip was read in it
    readings: tuple[dict, ...]
    warnings: tuple[str, ...]

    def to_dict(self):
        """Return plain values for JSON."""
        return {name: list(value) for name, value in vars(self).items()}


def parse_dwells(text: str) -> tuple[float, ...]:
    """Return the dwells of a strip in minutes, the longest first.

    `text`: times with blanks, semicolons or slashes between, each in minutes or min:sec, such as ``"16 8 4 2 1 0:30"``.
    """
    dwells = sorted(
        (parse_quantity("dwell_min", word) for word in re.split(r"[\s;/]+", text.strip()) if word), reverse=True
    )
    if not 2 <= len(dwells) <= MOST_BANDS:
        raise RecordError(
            f"{len(dwells)} dwells in {text!r}; a stepped coupon has 2 to {MOST_BANDS}, such as 16 8 4 2 1"
        )
    if len(set(dwells)) < len(dwells):
        raise RecordError(f"{text!r} names a dwell twice; each band of a strip has a time of its own")
    return tuple(check_value("dwell_min", dwell) for dwell in dwells)


def record_strip(book, record, dwells_min, photo=None, progress=say_nothing, read=read, **asked) -> KeptStrip:
    """Keep a stepped coupon: a batch for each band, with its reading where the photo gives one.

    PhotoError if the file is no photo at all; nothing is recorded then.

    Parameters
    ----------
    record : dyebook.record.DyeRecord
        What the bands have in common; its own dwell does not count. Without a moment it is dyed now.
    dwells_min : sequence of float
        The longest first.
    photo : path or bytes, optional
        Of the whole strip beside the card.
    progress : callable, optional
        Called with words where a stage begins; until the bands are written, what it raises leaves the book as it was.
    """
    from dyebook.book.coupons import add_strip

    dwells = tuple(sorted(dwells_min, reverse=True))
    progress("Reading the strip")
    asked = {**asked, "steps": len(dwells)}
    measurement, warnings = (None, ()) if photo is None else _try_to_measure(book, photo, asked, "bands", read)
    if measurement and len(measurement.parts) != len(dwells):
        measurement = None
        warnings += ("no strip was found in the photo; bands and photo were kept",)
    # the moment ties the bands together, beside their film
    record = replace(record, dyed_at=record.dyed_at or shop_now().isoformat(timespec="minutes"))
    progress("Writing the bands into the book")
    batches = add_strip(book, record, dwells, photo, measurement)
    readings = tuple(part.to_dict() for part in measurement.parts) if measurement else ()
    return KeptStrip(tuple(batches), dwells, readings, warnings)

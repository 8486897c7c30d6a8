"""Read a stepped coupon and keep each of its bands; whatever the photo fails to tell, nothing is lost."""

import re
from dataclasses import dataclass, replace
from datetime import datetime

from dyebook.errors import PhotoError, RecordError
from dyebook.jobs.progress import say_nothing
from dyebook.record import check_value
from dyebook.units import parse_quantity

__all__ = ["MOST_BANDS", "KeptStrip", "parse_dwells", "record_strip"]

MOST_BANDS = 20


@dataclass(frozen=True)
class KeptStrip:
    """What was kept of a strip.

    Attributes
    ----------
    batches : tuple of int
        Number of each band's batch, the longest dwell first.
    dwells_min : tuple of float
    readings : tuple of dict
        Of each band as in the measure contract; empty where there is no photo or it told nothing.
    warnings : tuple of str
    """

    batches: tuple
    dwells_min: tuple
    readings: tuple
    warnings: tuple

    def to_dict(self):
        """Return plain values for JSON."""
        return {name: list(value) for name, value in vars(self).items()}


def parse_dwells(text):
    """Return the dwells of a strip in minutes, the longest first.

    Parameters
    ----------
    text : str
        Times with blanks, semicolons or slashes between, each in minutes or min:sec, such as ``"16 8 4 2 1 0:30"``.

    Returns
    -------
    tuple of float

    Raises
    ------
    RecordError
        If one is no time, two are the same, or there are fewer than 2 or more than 20.
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


def record_strip(book, record, dwells_min, photo=None, progress=None, **options):
    """Keep a stepped coupon: a batch for each band, with its reading where the photo tells one.

    Parameters
    ----------
    book : dyebook.book.store.Book
    record : dyebook.record.DyeRecord
        What the bands have in common; its own dwell does not count. Without a moment it is dyed now.
    dwells_min : sequence of float
        The longest first.
    photo : path, optional
        Of the whole strip beside the card.
    progress : callable, optional
        Called with words where a stage begins; until the bands are written, what it raises leaves the book as it was.
    **options
        As for `dyebook.measure`.

    Returns
    -------
    KeptStrip

    Raises
    ------
    PhotoError
        If the file is no photo at all; nothing is recorded then.
    """
    from dyebook.book.coupons import add_strip

    dwells, tell = tuple(sorted(dwells_min, reverse=True)), progress or say_nothing
    tell("Reading the strip")
    measurement, warnings = (None, ()) if photo is None else _try_to_measure(book, photo, len(dwells), options)
    # the moment ties the bands together, beside their film
    record = replace(record, dyed_at=record.dyed_at or datetime.now().isoformat(timespec="minutes"))
    tell("Writing the bands into the book")
    batches = add_strip(book, record, dwells, photo, measurement)
    readings = tuple(part.to_dict() for part in measurement.parts) if measurement else ()
    return KeptStrip(tuple(batches), dwells, readings, warnings)


def _try_to_measure(book, photo, count, options):
    """The measurement with a part a band, or None, and what should be known about it."""
    from dyebook.photo.measure import measure

    if options.get("card_lab") is None:
        options = {**options, "card_lab": book.setting("card_lab")}
    try:
        measurement = measure(photo, steps=count, **options)
    except PhotoError as error:
        return None, (f"{error} (bands and photo were kept)",)
    if len(measurement.parts) != count:
        return None, (*measurement.warnings, "no strip was found in the photo; bands and photo were kept")
    return measurement, tuple(measurement.warnings)

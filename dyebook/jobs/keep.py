"""Measure a photo and keep it with its batch; whatever the photo fails to tell, nothing is lost."""

from dataclasses import dataclass

from dyebook.errors import PhotoError

__all__ = ["Recorded", "keep_dip", "record_dip"]


@dataclass(frozen=True)
class Recorded:
    """What was kept.

    Attributes
    ----------
    batch : int
        Number of the new batch.
    reading : dict or None
        The part's reading as in the measure contract; None when there is no photo or it told nothing.
    warnings : tuple of str
        Why there is no reading, or what should be known about it.
    """

    batch: int
    reading: dict | None
    warnings: tuple

    def to_dict(self):
        """Return the JSON object of the record contract."""
        return {"batch": self.batch, "reading": self.reading, "warnings": list(self.warnings)}


def record_dip(book, record, photo=None, part_index=0, replaces_id=None, run=None, **options):
    """Add a batch to the book with its photo, measured where that is possible.

    Parameters
    ----------
    book : dyebook.book.store.Book
    record : dyebook.record.DyeRecord
    photo : path, optional
    part_index : int or None
        Which part of the photo the batch is, counted from 0, left to right; None for all of them.
    replaces_id : int, optional
        The batch that was stripped and is done again by this one.
    run : dict, optional
        Further columns of its run.
    **options
        As for `dyebook.measure`: `card_at`, `card_lab`, `part_at`, `camera`, `flat`, `no_card`.

    Returns
    -------
    Recorded
        Once batch and photo are safely on disk.

    Raises
    ------
    PhotoError
        If the file is no photo at all; nothing is recorded then.
    BookError
        If the book could not keep it.
    """
    measurement, warnings = (None, ()) if photo is None else _try_to_measure(book, photo, options)
    shown = len(measurement.parts) if measurement else 0
    if measurement and part_index is not None and part_index >= shown:
        if shown:
            warnings += (f"part {part_index + 1} was asked for, but the photo shows {shown}; kept without a reading",)
        measurement = None
    if measurement and part_index is not None and shown > 1:
        warnings += (f"the photo shows {shown} parts; number {part_index + 1} was kept",)
    if measurement and options.get("flat") is not None:
        book.add_photo(options["flat"])
    batch_id = book.add_batch(record, photo, measurement, part_index, replaces_id, run)
    reading = measurement.parts[part_index or 0].to_dict() if measurement and shown else None
    return Recorded(batch_id, reading, warnings)


def keep_dip(book, record, shots, batch_id=None, **state):
    """Keep a batch with its photos, each measured already, and return the batch's number.

    Parameters
    ----------
    book : dyebook.book.store.Book
    record : dyebook.record.DyeRecord or None
        A new batch; None to add to the one given.
    shots : sequence
        With `content` (bytes), `measurement` (Measurement or None), `part` (index, or None for all) and `parts`, the
        indices of the parts to keep.
    batch_id : int, optional
    **state
        `wet`, `sealed`: how the surface was when it was read.

    Returns
    -------
    int
    """
    number, shots = batch_id, list(shots)
    if batch_id is None:
        # batch and first photo together or not at all
        first = shots.pop(0) if shots else None
        seen = (first.content, first.measurement if first.parts else None, first.part) if first else ()
        number = book.add_batch(record, *seen)
    for shot in shots:
        if not shot.parts:
            book.add_photo(shot.content, number)
        for index in shot.parts:
            values = {"measurement": shot.measurement, "part_index": index, "photo": shot.content}
            book.add_reading(number, **values, **state)
    return number


def _try_to_measure(book, photo, options):
    """The measurement, or None, and what should be known about it."""
    from dyebook.photo.measure import measure

    if options.get("card_lab") is None:
        options = {**options, "card_lab": book.setting("card_lab")}
    try:
        measurement = measure(photo, **options)
    except PhotoError as error:
        return None, (f"{error} (batch and photo were kept)",)
    warnings = tuple(measurement.warnings)
    return measurement, warnings if measurement.parts else (*warnings, "no part was found in the photo")

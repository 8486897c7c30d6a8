"""Readings from an instrument: brought to D65 and the 2-degree observer, then kept with a batch or as samples."""

from dataclasses import dataclass, replace

import numpy as np

from dyebook.book.exchange.records import Imported
from dyebook.book.reading_rows import typed_values
from dyebook.book.rows import add_row, row_of
from dyebook.book.schema import Batch, Reading, Sample
from dyebook.errors import BookError
from dyebook.lab import adapt_lab, reflectance_to_lab

__all__ = ["InstrumentReading", "import_readings", "readings_of_sheet"]


@dataclass(frozen=True)
class InstrumentReading:
    """One colour as an instrument wrote it.

    Attributes
    ----------
    name : str
        Of the sample.
    lab : tuple or None
        L*, a*, b* under the stated white.
    white, observer : str or None
        Such as ``"D50"`` and ``"2"``; None where the file does not say.
    wavelength_nm, reflectance : tuple
        The spectrum, reflectance 0..1; empty without one.
    batch : int or None
        The batch it names itself.
    """

    name: str
    lab: tuple | None
    white: str | None = None
    observer: str | None = None
    wavelength_nm: tuple = ()
    reflectance: tuple = ()
    batch: int | None = None


def readings_of_sheet(table):
    """Return the `InstrumentReading` of each row of an understood table without dyes."""
    readings = []
    for index, row in enumerate(table.rows):
        record = table.record(index)
        lab = tuple(record.get(axis, float("nan")) for axis in "Lab")
        if not np.isfinite(lab).all():
            raise BookError(f"{table.name}, row {row}: L, a and b are needed; nothing was imported")
        name = record.get("name") or f"{table.name} row {row}"
        observer = record.get("observer")
        observer = observer.strip("° ").removesuffix(" degree") if observer else None
        readings.append(InstrumentReading(name, lab, record.get("white"), observer, batch=record.get("batch")))
    return readings


def import_readings(book, name, readings, dry_run=False, batch=None, white=None, observer=None):
    """Keep readings with a batch, or each as a sample.

    Parameters
    ----------
    book : dyebook.book.store.Book
    name : str
        Of the file.
    readings : list of InstrumentReading
    dry_run : bool
    batch : int, optional
        Where a reading names none.
    white, observer : str, optional
        Where a reading states none.

    Returns
    -------
    dyebook.book.exchange.records.Imported

    Raises
    ------
    BookError
        If a Lab value states no white point, or an unknown one, or a batch does not exist.
    """
    readings = [_stated(reading, name, white, observer) for reading in readings]
    values = [_values(reading, name) for reading in readings]
    loose = sum((reading.batch or batch) is None for reading in readings)
    with book.writing() if not dry_run else book.reading() as connection:
        for reading, columns in zip(readings, values, strict=True):
            number = reading.batch or batch
            if number is not None:
                row_of(connection, Batch.__table__, number)
            if not dry_run:
                owner = {"batch_id": number} if number else {"sample_id": _sample(connection, reading, book.who)}
                add_row(connection, Reading.__table__, {**owner, **columns}, book.who)
    notes = tuple(sorted({note for reading in readings if (note := _note(reading))}))
    return Imported(name, dry_run, 0, len(readings), loose, notes=notes)


def _stated(reading, name, white, observer):
    reading = replace(reading, white=reading.white or white, observer=reading.observer or observer)
    if not reading.reflectance and not (reading.white and reading.observer):
        raise BookError(
            f"{name}: the Lab of {reading.name!r} does not say under which white point and observer it stands; "
            "name them, such as D50 and 2; nothing was imported"
        )
    return reading


def _values(reading, name):
    """The columns of a reading, in the book's own white."""
    try:
        lab = _own_lab(reading)
    except ValueError as error:
        raise BookError(f"{name}, {reading.name!r}: {error}; nothing was imported") from None
    stated = {"name": reading.name, "white": reading.white, "observer": reading.observer, "file": name}
    values = {**typed_values(lab), "source": "instrument", "measured_with": stated}
    if reading.lab is not None:
        stated["lab"] = [float(value) for value in reading.lab]
    if reading.reflectance:
        values["spectrum"] = {"wavelength_nm": list(reading.wavelength_nm), "reflectance": list(reading.reflectance)}
    return values


def _own_lab(reading):
    if reading.reflectance:
        return reflectance_to_lab(reading.wavelength_nm, reading.reflectance)
    if (reading.white, reading.observer) == ("D65", "2"):
        return reading.lab
    return adapt_lab(reading.lab, reading.white, reading.observer)


def _note(reading):
    if reading.reflectance:
        return "Lab was computed from the spectra, for D65 and the 2-degree observer"
    if (reading.white, reading.observer) != ("D65", "2"):
        return f"Lab was converted from {reading.white}, {reading.observer}-degree observer (Bradford)"
    return None


def _sample(connection, reading, who):
    return add_row(connection, Sample.__table__, {"name": reading.name}, who)

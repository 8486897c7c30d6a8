"""Readings and measurements as rows of the book."""

import math

from dyebook.errors import BookError
from dyebook.record import check_value

__all__ = ["all_readings", "measured_values", "reading_values", "typed_values"]

_AXES = ("L", "a", "b")


def all_readings(record, measurement=None, part_index=0):
    """Yield the column values of a record's own readings, then of the parts its photo showed.

    Parameters
    ----------
    record : dyebook.record.DyeRecord
    measurement : dyebook.record.Measurement, optional
    part_index : int or None
        Which part; None for all.
    """
    for reading in record.readings:
        yield reading_values(reading) | {"source": "typed"}
    if measurement is None or not measurement.parts:
        return
    wanted = range(len(measurement.parts)) if part_index is None else [part_index]
    for index in wanted:
        yield measured_values(measurement, index)


def measured_values(measurement, part_index):
    """Return the columns of one part's reading, with the card and photo it came by.

    Raises
    ------
    BookError
        If the photo shows no such part.
    """
    if not 0 <= part_index < len(measurement.parts):
        raise BookError(
            f"part {part_index} was asked for, but {measurement.photo} shows {len(measurement.parts)}; "
            "parts count from 0, left to right"
        )
    told = measurement.to_dict()
    reading = measurement.parts[part_index]
    values = {"source": "photo", "part_index": part_index, **reading_values(reading), "card": told["card"]}
    values["flags"] = list(dict.fromkeys([*measurement.flags, *reading.flags]))
    means = dict(measurement.asked)
    values["camera"] = means.pop("camera", None)
    values["measured_with"] = {name: told[name] for name in ("photo", "size", "warnings")}
    if means:
        values["measured_with"]["asked"] = means
    return values


def reading_values(reading):
    """Return the columns of a `dyebook.record.Reading`."""
    told = reading.to_dict()
    values = typed_values(reading.lab)
    values |= {f"{axis}_sd": _or_none(value) for axis, value in zip(_AXES, reading.lab_u, strict=False)}
    values |= {f"{axis}_spread": _or_none(value) for axis, value in zip(_AXES, reading.lab_sd, strict=False)}
    values |= {name: told[name] for name in ("uniformity", "area_mm2", "flags", "flaws", "outline")}
    return values | {"source": "photo"}


def typed_values(lab):
    """Return the columns of a bare Lab value; RecordError if it is impossible or incomplete."""
    values = [float(value) for value in lab]
    return {axis: check_value(axis, value) for axis, value in zip(_AXES, values, strict=True)} | {"source": "typed"}


def _or_none(value):
    return float(value) if math.isfinite(value) else None

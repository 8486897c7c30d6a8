"""The parts of a measurement as the causes take them: plain values, and only what can be trusted to be there."""

import math
from collections.abc import Mapping

from dyebook.advice.causes import FLAW_KINDS
from dyebook.advice.flaw_evidence import NOT_SOUGHT
from dyebook.errors import RecordError
from dyebook.record import Measurement, Reading

__all__ = ["parts_of_photo"]


def parts_of_photo(measurement):
    """Return the parts of a photo as plain dicts.

    Parameters
    ----------
    measurement : Measurement, dict or None
        What `measure` returned, or its `to_dict`; any entry may lack.

    Returns
    -------
    list of dict
        ``lab`` is three numbers or None; ``flaws`` are of known kinds, None where nobody looked. A photo without a look
        for flaws says so in the ``flags`` of each part.

    Raises
    ------
    RecordError
        If it is no measurement.
    """
    if measurement is None:
        return []
    photo = measurement.to_dict() if isinstance(measurement, Measurement) else measurement
    if not isinstance(photo, Mapping):
        raise RecordError(
            f"the measurement is a {type(photo).__name__}; what `measure` returned, or its dict, is needed"
        )
    flags = [NOT_SOUGHT] if NOT_SOUGHT in (photo.get("flags") or ()) else []
    return [_plain(part, flags) for part in photo.get("parts") or ()]


def _plain(part, flags):
    part = part.to_dict() if isinstance(part, Reading) else part
    if not isinstance(part, Mapping):
        raise RecordError(f"a part of the photo is a {type(part).__name__}; a dict as `measure` gives is needed")
    flaws = part.get("flaws")
    if flaws is not None:
        flaws = [_sized(flaw) for flaw in flaws if isinstance(flaw, Mapping) and flaw.get("kind") in FLAW_KINDS]
    told = {"lab": _three(part.get("lab")), "lab_u": _three(part.get("lab_u")), "flaws": flaws}
    return {**part, **told, "flags": [*(part.get("flags") or ()), *flags]}


def _sized(flaw):
    return {**flaw, **{name: _number(flaw.get(name)) for name in ("delta_e00", "area_fraction")}}


def _number(value):
    """A finite number, else None."""
    try:
        number = float(value)
    except (TypeError, ValueError):
        return None
    return number if math.isfinite(number) else None


def _three(values):
    """Three finite numbers as a list, else None."""
    if values is None or isinstance(values, str) or len(values) != 3:
        return None
    numbers = [_number(value) for value in values]
    return None if None in numbers else numbers

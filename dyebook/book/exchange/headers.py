"""What a column is called, and in which unit: headers as people write them, to the names of `FIELDS`."""

import re
from dataclasses import dataclass

from dyebook.errors import RecordError
from dyebook.record import FIELDS
from dyebook.units import UNIT_OF, parse_quantity

__all__ = ["EXTRAS", "Column", "match_header"]

# columns of an export beside FIELDS, in its order
EXTRAS = ("batch", "dip", "replaces", "photo", "source", "read_at")
_READINGS = ("name", "white", "observer")

# bench words for columns, beside the names and labels of FIELDS
_WORDS = {
    "film thickness": "film_um",
    "thickness": "film_um",
    "dye concentration": "dye_g_per_l",
    "concentration": "dye_g_per_l",
    "strength": "dye_g_per_l",
    "temp": "bath_temp_c",
    "temperature": "bath_temp_c",
    "bath temp": "bath_temp_c",
    "dye temp": "bath_temp_c",
    "dye temperature": "bath_temp_c",
    "time": "dwell_min",
    "dwell": "dwell_min",
    "dwell time": "dwell_min",
    "dip time": "dwell_min",
    "dye time": "dwell_min",
    "film measured": "film_measured_um",
    "gauge": "film_measured_um",
    "electrolyte temp": "electrolyte_temp_c",
    "acid temp": "electrolyte_temp_c",
    "rinse temp": "rinse_temp_c",
    "wait": "wait_min",
    "waited": "wait_min",
    "dye name": "dye",
    "tank": "bath",
    "date": "dyed_at",
    "dyed": "dyed_at",
    "dyed on": "dyed_at",
    "notes": "note",
    "remark": "note",
    "remarks": "note",
    "comment": "note",
    "l": "L",
    "l*": "L",
    "a*": "a",
    "b*": "b",
    "batch no": "batch",
    "illuminant": "white",
    "white point": "white",
    "sample": "name",
    "sample name": "name",
    "observer angle": "observer",
}
_WORDS |= {row.label.lower(): name for name, row in FIELDS.items()}

_BRACKETED = re.compile(r"(.*?)\s*[(\[]([^)\]]*)[)\]]\s*")


@dataclass(frozen=True)
class Column:
    """A header understood.

    Attributes
    ----------
    header : str
        As in the file.
    name : str
        In `FIELDS`, or one of the further columns of an export or instrument.
    scale, offset : float
        From the unit of the header to the unit of the name.
    """

    header: str
    name: str
    scale: float = 1.0
    offset: float = 0.0


def match_header(header):
    """Return the `Column` of a header, or None if it is not one of ours.

    Parameters
    ----------
    header : str
        A name of `FIELDS`, or such as ``"film (mil)"``, ``"temp °F"``, ``"Time in dye [min]"``.

    Raises
    ------
    RecordError
        If the unit is unknown, or measures something else.

    Examples
    --------
    >>> match_header("film (mil)").name
    'film_um'
    """
    exact = header.strip()
    if exact in FIELDS or exact in EXTRAS or exact in _READINGS:
        return Column(header, exact)
    words, unit = _split_unit(exact)
    name = _name_of(words)
    if name is None:
        return None
    return Column(header, name) if not unit else _with_unit(header, name, unit)


def _split_unit(header):
    """Words and unit of a header; the unit in brackets, or set after the words."""
    bracketed = _BRACKETED.fullmatch(header)
    if bracketed:
        return bracketed[1], bracketed[2].strip()
    pieces = header.split()
    for count in (2, 1):  # "sq in" has two words
        words = " ".join(pieces[:-count])
        if len(pieces) > count and _name_of(words) and not _name_of(header):
            return words, " ".join(pieces[-count:])
    return header, ""


def _name_of(words):
    key = " ".join(words.replace("_", " ").lower().split())
    return _WORDS.get(key) or next((name for name in (*FIELDS, *EXTRAS, *_READINGS) if name.lower() == key), None)


def _with_unit(header, name, unit):
    if unit.lower().replace(" ", "") in ("min:sec", "mm:ss", "m:ss", "h:min:sec"):
        return Column(header, name)
    if not any(name.endswith(ending) for ending in UNIT_OF):
        return Column(header, name)  # words in brackets after something without a unit: "note (free text)"
    try:
        offset = parse_quantity(name, f"0 {unit}")
        return Column(header, name, parse_quantity(name, f"1 {unit}") - offset, offset)
    except RecordError as error:
        raise RecordError(f"column {header!r}: {error}") from None

"""What can be written down: one table of fields, and what a value of each may be.

`FIELDS` drives columns, CSV headers, shell options, widgets and range checks. `nan` (or None in text fields)
means "not measured", never 0.
"""

import math
import sys
from dataclasses import dataclass
from datetime import datetime
from numbers import Real

from dyebook.errors import RecordError

__all__ = ["FIELDS", "Field", "check_text", "check_value", "is_empty"]


@dataclass(frozen=True)
class Field:
    """One quantity that a record can hold.

    Attributes
    ----------
    name : str
        Name with its unit, the same as argument, column, header, option and widget key.
    unit : str
        Unit as printed; empty for pure numbers and words.
    label : str
        What people call it.
    lower, upper : float
        Values outside are refused as slips of the pen.
    required : bool
        True for the settings without which a dip cannot be repeated.
    kind : type
        `float`, `str` or `bool`.
    meaning : str
        One sentence for help texts.
    """

    name: str
    unit: str
    label: str
    lower: float = -math.inf
    upper: float = math.inf
    required: bool = False
    kind: type = float
    meaning: str = ""


_ROWS = (
    Field("dye", "", "dye", kind=str, required=True, meaning="name of the dye"),
    Field("bath", "", "bath", kind=str, meaning="the made-up tank, where a dye has several"),
    Field("film_um", "µm", "film", 0.1, 150, True, meaning="film thickness as planned or from charge"),
    Field("dye_g_per_l", "g/L", "dye strength", 0.001, 100, True, meaning="dye in the bath"),
    Field("bath_temp_c", "°C", "bath temperature", 0, 100, True, meaning="dye bath during the dip"),
    Field("dwell_min", "min", "time in dye", 0.02, 600, True, meaning="how long the part was in the dye"),
    Field("ph", "", "bath pH", 0, 14, meaning="pH of the dye bath"),
    Field("L", "", "L*", 0, 105, meaning="lightness of the reading"),
    Field("a", "", "a*", -150, 150, meaning="green to red"),
    Field("b", "", "b*", -150, 150, meaning="blue to yellow"),
    Field("L_sd", "", "L* uncertainty", 0, 50, meaning="standard uncertainty of L*"),
    Field("a_sd", "", "a* uncertainty", 0, 50, meaning="standard uncertainty of a*"),
    Field("b_sd", "", "b* uncertainty", 0, 50, meaning="standard uncertainty of b*"),
    Field("film_measured_um", "µm", "film by gauge", 0.1, 150, meaning="film thickness as a gauge read it"),
    Field("film_sd_um", "µm", "film uncertainty", 0, 50, meaning="standard uncertainty of the film"),
    Field("area_dm2", "dm²", "area", 0.001, 1000, meaning="wetted area of the batch"),
    Field(
        "current_density_a_per_dm2",
        "A/dm²",
        "current density",
        0.01,
        20,
        meaning="anodising current per area",
    ),
    Field("electrolyte_temp_c", "°C", "electrolyte temperature", -10, 60, meaning="acid during the run"),
    Field("alloy", "", "alloy", kind=str, meaning="alloy designation such as 6061"),
    Field(
        "finish",
        "",
        "finish",
        kind=str,
        meaning="surface before anodising: polished, brushed, blasted, etched",
    ),
    Field("rinse_temp_c", "°C", "rinse temperature", 0, 100, meaning="rinse between anodising and dye"),
    Field(
        "wait_min",
        "min",
        "wait before dye",
        0,
        100_000,
        meaning="from the rinse after anodising to the dye bath, in water or dry",
    ),
    Field("wet", "", "read wet", kind=bool, meaning="true if the part was wet when it was read"),
    Field("sealed", "", "read sealed", kind=bool, meaning="true if the part was sealed when it was read"),
    Field("dyed_at", "", "dyed at", kind=str, meaning="date and time of the dip, ISO 8601"),
    Field("coupon", "", "stepped coupon", kind=str, meaning="strip of which this dip is one band"),
    Field("note", "", "note", kind=str, meaning="anything worth remembering"),
)

FIELDS = {row.name: row for row in _ROWS}

_YES = frozenset({"yes", "y", "true", "1", "1.0"})
_NO = frozenset({"no", "n", "false", "0", "0.0"})


def check_value(name, value):
    """Return `value` as the field's own type, or say what is wrong with it.

    Parameters
    ----------
    name : str
        A name in `FIELDS`.
    value : object
        A number, text, bool or None; None and empty text mean "not measured".

    Returns
    -------
    float, str, bool or None
        `nan` for a number and None for words or flags that were not measured.

    Raises
    ------
    RecordError
        If the value is not of the field's kind, or outside its range.
    """
    if name not in FIELDS:
        raise ValueError(f"unknown field {name!r}; known: {', '.join(FIELDS)}")
    row = FIELDS[name]
    empty = is_empty(value) or value == ""
    if row.kind is bool:
        return None if empty else _as_truth(name, value)
    if row.kind is not float:
        return None if empty else check_text(row.label, row.kind(value))
    if empty:
        return math.nan
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise RecordError(f"{row.label} is {value!r}; a number{_in_unit(row, 'in ')} is needed") from None
    if math.isnan(number):
        return math.nan
    if not row.lower <= number <= row.upper:
        raise RecordError(
            f"{row.label} is {number:g}{_in_unit(row)}; it must lie between {row.lower:g} and {row.upper:g}"
            f"{_in_unit(row)}; check the figure and its unit"
        )
    return number


def check_text(label, text):
    """Return text (str) that can be kept; RecordError, with `label` for what it is, where half a character is in it."""
    try:
        text.encode("utf-8")
    except UnicodeEncodeError as error:
        piece = text[max(0, error.start - 10) : error.end + 10]
        raise RecordError(f"{label} holds a broken character in {piece!r}; type it anew as UTF-8 text") from None
    return text


def _as_truth(name, value):
    """True or False of a flag, or of the word for it."""
    if not isinstance(value, str):
        return bool(value)
    word = value.strip().lower()
    if word in _YES or word in _NO:
        return word in _YES
    raise RecordError(f"{FIELDS[name].label} is {value!r}; yes or no is needed")


def _in_unit(row, word=""):
    return f" {word}{row.unit}" if row.unit else ""


def is_empty(value):
    """Return whether a value was not measured: None, nan, or pandas' own marks for the same."""
    # asked of pandas only where somebody loaded it: it takes 0.4 s
    marks = (None, getattr(sys.modules.get("pandas"), "NA", None))
    return any(value is mark for mark in marks) or (isinstance(value, (Real, datetime)) and value != value)

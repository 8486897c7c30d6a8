"""Headers and cells as people write them: what a column means and in which unit, and what its cells are worth.

A column is read as a whole, since only all of its cells tell whether 3/4/2026 is in March or in April, and each refusal
names its row and column.
"""

import math
import re
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from dyebook.book.exchange.files import plain
from dyebook.errors import RecordError
from dyebook.record import FIELDS
from dyebook.units import UNIT_OF, parse_quantity

__all__ = ["EXTRAS", "Column", "match_header", "read_column"]

# columns of an export beside FIELDS, in its order
EXTRAS = ("batch", "dip", "replaces", "photo", "source", "read_at")
_READINGS = ("name", "white", "observer", "geometry")

# bench words for columns, beside the names and labels of FIELDS
_WORDS = {
    word: name
    for name, words in {
        "film_um": "film thickness, thickness",
        "dye_g_per_l": "dye concentration, concentration, strength",
        "bath_temp_c": "temp, temperature, bath temp, dye temp, dye temperature",
        "dwell_min": "time, dwell, dwell time, dip time, dye time",
        "film_measured_um": "film measured, gauge",
        "electrolyte_temp_c": "electrolyte temp, acid temp",
        "rinse_temp_c": "rinse temp",
        "wait_min": "wait, waited",
        "dye": "dye name",
        "bath": "tank",
        "dyed_at": "date, dyed, dyed on",
        "note": "notes, remark, remarks, comment",
        "L": "l, l*",
        "a": "a*",
        "b": "b*",
        "batch": "batch no",
        "white": "illuminant, white point",
        "name": "sample, sample name",
        "observer": "observer angle",
        "geometry": "measurement geometry",
    }.items()
    for word in words.split(", ")
}
_WORDS |= {row.label.lower(): name for name, row in FIELDS.items()}

_NOTHING = {"", "-", "–", "n/a", "na", "nan", "none", "null"}
_TRUE = {"true", "yes", "y", "1", "x", "wet", "sealed"}
_FALSE = {"false", "no", "n", "0", "dry", "unsealed"}
_SLASHED = re.compile(r"(\d{1,2})/(\d{1,2})/(\d{4})(.*)")
_DOTTED = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})(.*)")
_WHOLE = {"batch", "dip", "replaces"}
_MOMENTS = {"dyed_at", "read_at"}
_BRACKETED = re.compile(r"(.*?)\s*[(\[]([^)\]]*)[)\]]\s*")


@dataclass(frozen=True)
class Column:
    """A header understood."""

    header: str  # as in the file
    name: str  # in `FIELDS`, or one of the further columns of an export or instrument
    # scale, offset: from the unit of the header to the unit of the name
    scale: float = 1.0
    offset: float = 0.0


def match_header(header: str):
    """Return the `Column` of a header, or None if it is not one of ours.

    `header`: a name of `FIELDS`, or such as ``"film (mil)"``, ``"temp °F"``, ``"Time in dye [min]"``.

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


def read_column(column: Column, cells, rows):
    """Return the values of a column, and what is wrong with it.

    A cell, at its number in `rows`, is text, number, bool, date or None. Where it is empty or wrong, the value is nan
    for numbers, None for everything else; each problem names its row and column.
    """
    row_of = FIELDS.get(column.name)
    if row_of is not None and row_of.kind is float:
        return _numbers(column, cells, rows)
    if column.name in _MOMENTS:
        return _each(column, cells, rows, _moment_reader(cells))
    if row_of is not None and row_of.kind is bool:
        return _each(column, cells, rows, _truth)
    return _each(column, cells, rows, _whole if column.name in _WHOLE else _words)


def _numbers(column, cells, rows):
    cells = [None if isinstance(cell, str) and cell.strip().lower() in _NOTHING else cell for cell in cells]
    try:
        values = np.array([math.nan if cell is None else float(cell) for cell in cells])
        values, problems = values * column.scale + column.offset, []
    except (TypeError, ValueError):
        values, problems = _numbers_one_by_one(column, cells, rows)
    row = FIELDS[column.name]
    wrong = np.isinf(values) | (values < row.lower) | (values > row.upper)
    for index in np.flatnonzero(wrong):
        unit = f" {row.unit}" if row.unit else ""
        problems.append(
            f"row {rows[index]}, {column.header}: {cells[index]} is {values[index]:g}{unit}; it must lie between "
            f"{row.lower:g} and {row.upper:g}; check the figure and its unit"
        )
    return values.tolist(), problems


def _numbers_one_by_one(column, cells, rows):
    mixed = _mixes_points_and_commas(cells)
    values, problems = np.full(len(cells), math.nan), []
    for index, cell in enumerate(cells):
        if cell is None:
            continue
        try:
            values[index] = _number(column, cell, mixed)
        except RecordError as error:
            problems.append(f"row {rows[index]}, {column.header}: {error}")
    return values, problems


def _mixes_points_and_commas(cells):
    texts = [cell for cell in cells if isinstance(cell, str)]
    return any("," in text for text in texts) and any("." in text for text in texts)


def _number(column, cell, mixed):
    if not isinstance(cell, str):
        if isinstance(cell, bool | int | float):
            return float(cell) * column.scale + column.offset
        raise RecordError(f"{cell} is no number; a date may have crept in: give the column the format of a number")
    if mixed and "," in cell:
        raise RecordError(f"{cell!r} has a decimal comma while other rows have points; write all of them alike")
    try:
        return float(cell.replace(",", ".")) * column.scale + column.offset
    except ValueError:
        pass
    if FIELDS[column.name].unit:
        return parse_quantity(column.name, cell)  # a unit in the cell itself, or minutes:seconds
    raise RecordError(f"{cell!r} is no number")


def _each(column, cells, rows, read):
    values, problems = [], []
    for row, cell in zip(rows, cells, strict=True):
        try:
            empty = cell is None or (isinstance(cell, str) and not cell.strip())
            values.append(None if empty or cell != cell else read(cell))
        except RecordError as error:
            values.append(None)
            problems.append(f"row {row}, {column.header}: {error}")
    return values, problems


def _words(cell):
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))  # a spreadsheet's alloy 6061
    return plain(str(cell).strip())


def _whole(cell):
    text = _words(cell)
    if not text.isdigit():
        raise RecordError(f"{cell!r} is no whole number")
    return int(text)


def _truth(cell):
    text = str(cell).strip().lower().removesuffix(".0")
    if text in _TRUE | _FALSE:
        return text in _TRUE
    raise RecordError(f"{cell!r} is neither yes nor no")


def _moment_reader(cells):
    """A reader of dates that knows from the whole column whether 3/4/2026 is in March or in April."""
    slashed = [match for cell in cells if isinstance(cell, str) and (match := _SLASHED.fullmatch(cell.strip()))]
    day_first = any(int(match[1]) > 12 for match in slashed)
    month_first = any(int(match[2]) > 12 for match in slashed)

    def _read(cell):
        if isinstance(cell, datetime | date):
            return cell.isoformat()
        return _moment(str(cell).strip(), day_first, month_first)

    return _read


def _moment(text, day_first, month_first):
    dotted, slashed = _DOTTED.fullmatch(text), _SLASHED.fullmatch(text)
    if slashed and day_first == month_first:
        raise RecordError(f"{text!r} may be the {slashed[1]}th or the {slashed[2]}th day; write year-month-day")
    match = dotted or slashed
    iso = text
    if match:
        day, month = (match[1], match[2]) if dotted or day_first else (match[2], match[1])
        iso = f"{match[3]}-{int(month):02}-{int(day):02}{match[4]}"
    try:
        found = datetime.fromisoformat(iso)
    except ValueError:
        raise RecordError(f"{text!r} is no date; write year-month-day, with the time after a T") from None
    return found.isoformat() if match and len(iso) > 10 else iso

"""The door for other units and for dates: what people type is converted here, once, to what `dyebook.record` names."""

import math
import re
from contextvars import ContextVar
from datetime import UTC, date, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo, available_timezones

from dyebook.errors import RecordError

__all__ = ["UNIT_OF", "ZONE", "moment_of", "parse_moment", "parse_quantity", "parse_time_min", "shop_now", "zone_named"]

# the zone in which times are shown and typed, a name as of `zone_named`; None is this machine's. Who opens a book for
# pages or commands sets it to the shop's
ZONE = ContextVar("time zone", default=None)

# the unit that a name's ending stands for
UNIT_OF = {
    "_um": "micrometer",
    "_g_per_l": "gram / liter",
    "_temp_c": "degC",
    "_c": "delta_degC",
    "_min": "minute",
    "_dm2": "decimeter ** 2",
    "_a_per_dm2": "ampere / decimeter ** 2",
    "_a": "ampere",
    "_v": "volt",
    "_ah": "ampere * hour",
    "_l": "liter",
    "_ml": "milliliter",
    "_mm": "millimeter",
    "_mm2": "millimeter ** 2",
}

# bench spellings that pint does not know or reads otherwise, in small letters, with 2 for ² and one of the two signs µ
_SPELLINGS = {
    "°c": "degC",
    "c": "degC",
    "°f": "degF",
    "f": "degF",
    "µm": "micrometer",
    "um": "micrometer",
    "micron": "micrometer",
    "microns": "micrometer",
    "mil": "thou",
    "mils": "thou",
    "oz/gal": "ounce / US_liquid_gallon",
    "g/l": "gram / liter",
    "g/gal": "gram / US_liquid_gallon",
    "gal": "US_liquid_gallon",
    "l": "liter",
    "sq in": "inch ** 2",
    "in2": "inch ** 2",
    "sq ft": "foot ** 2",
    "ft2": "foot ** 2",
    "dm2": "decimeter ** 2",
    "cm2": "centimeter ** 2",
    "m2": "meter ** 2",
    "mm2": "millimeter ** 2",
    "a/dm2": "ampere / decimeter ** 2",
    "asf": "ampere / foot ** 2",
    "a/ft2": "ampere / foot ** 2",
    "a": "ampere",
    "ma": "milliampere",
    "v": "volt",
    "ah": "ampere * hour",
    "a·h": "ampere * hour",
    "s": "second",
    "sec": "second",
    "h": "hour",
    "min": "minute",
    "ml": "milliliter",
    "in": "inch",
    '"': "inch",
}

# characters of what was typed that a message repeats
_SHOWN = 40
# years that a dip or an order can have
_YEARS = (1950, 2200)
_DATE = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})|(\d{1,2})([./-])(\d{1,2})\5(\d{4})", re.ASCII)

_NUMBER = re.compile(r"\s*([-+]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][-+]?\d+)?)\s*(.*)\s*", re.DOTALL)

# names with powers, joined by strokes, dots and spaces; pint would work anything else out as a formula
_FACTOR = r"°?[^\W\d]+(?:\s*(?:\*\*|\^)\s*-?[1-9]|-?[1-9])?"
_UNIT = re.compile(rf"{_FACTOR}(?:(?:\s*[/*·]\s*|\s+){_FACTOR}){{0,5}}")


@cache
def _registry():
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


def _ending(name):
    """The longest ending of a name that stands for a unit; empty without one."""
    return max((ending for ending in UNIT_OF if name.endswith(ending)), key=len, default="")


def parse_quantity(name: str, text: str | float) -> float:
    """Return the number, in the unit of `name`, of what a person typed.

    `name`: a quantity name that ends in its unit, such as ``"film_um"``. `text`: ``"12"``, ``"0.5 mil"``, ``"104 °F"``,
    ``"2,5 g/L"``, ``"5:30"`` for times; a bare number is already in the unit of the name.

    Examples
    --------
    >>> parse_quantity("film_um", "0.5 mil")
    12.7
    """
    if not isinstance(text, str):
        return float(text)
    if not _ending(name):
        raise ValueError(f"{name!r} carries no unit in its name")
    unit = UNIT_OF[_ending(name)]
    if unit == "minute" and ":" in text:
        return parse_time_min(text)
    match = _NUMBER.fullmatch(text)
    if not match:
        raise RecordError(
            f"{_plain(name)} is {text[:_SHOWN]!r}; a number is needed, with its unit behind it where that is another"
        )
    number = float(match[1].replace(",", "."))
    if match[2]:
        number = _convert(name, number, match[2].strip(), unit)
    if not math.isfinite(number):
        raise RecordError(f"{_plain(name)} is {text[:_SHOWN]!r}, which is beyond any measure; check the figure")
    return number


# pint's own, over a word that it takes for a number, such as nan, and over a power of nothing, such as ³
_STUMBLES = (ValueError, AssertionError)


def _convert(name, number, given, unit):
    import pint

    registry = _registry()
    wanted = f"give it in {registry.Unit(unit):~P}"
    spelled = _SPELLINGS.get(given.lower().replace("²", "2").replace("μ", "µ"))
    if spelled is None and not _UNIT.fullmatch(given):
        raise RecordError(f"{_plain(name)} is given in {given[:40]!r}, which is no unit; {wanted}")
    try:
        source = registry.Unit(spelled or given)
        return round(registry.Quantity(number, source).to(unit).magnitude, 12)
    except (pint.UndefinedUnitError, pint.DimensionalityError, pint.DefinitionSyntaxError, *_STUMBLES) as error:
        why = "measures something else" if isinstance(error, pint.DimensionalityError) else "is no unit known here"
        raise RecordError(f"{_plain(name)} is given in {given!r}, which {why}; {wanted}") from None


def _plain(name):
    """A quantity's name without its unit, such as "bath temp"."""
    return name.removesuffix(_ending(name)).replace("_", " ").strip() or name


def parse_time_min(text: str) -> float:
    """Return minutes of a time written ``min:sec`` or ``h:min:sec``; RecordError if it is none.

    Examples
    --------
    >>> parse_time_min("5:30")
    5.5
    """
    pieces = text.strip().removesuffix("min").split(":")
    if not 2 <= len(pieces) <= 3 or not all(re.fullmatch(r"\s*[0-9]{1,6}\s*", piece) for piece in pieces):
        raise RecordError(f"{text[:_SHOWN]!r} is not a time; write minutes:seconds, such as 5:30")
    *larger, seconds = (int(piece) for piece in pieces)
    if seconds >= 60:
        raise RecordError(f"{text!r} has {seconds} seconds; write minutes:seconds with seconds below 60")
    hours, minutes = larger if len(larger) == 2 else (0, larger[0])
    return hours * 60 + minutes + seconds / 60


def zone_named(text: str) -> str:
    """Return the name of a time zone as the IANA's table spells it; RecordError where it is none."""
    word = text.strip().replace(" ", "_").lower()
    name = next((one for one in available_timezones() if one.lower() == word), None)
    if name is None:
        raise RecordError(
            f"the time zone is {text[:_SHOWN]!r}; a name such as Europe/Vienna or America/Denver is needed"
        )
    return name


def moment_of(iso: str | datetime) -> datetime:
    """Return a moment of the book on the shop's clock, with its zone; a text without a zone is the shop's own time."""
    moment = datetime.fromisoformat(iso) if isinstance(iso, str) else iso
    zone = ZoneInfo(name) if (name := ZONE.get()) else None
    return moment.astimezone(zone) if moment.tzinfo or zone is None else moment.replace(tzinfo=zone)


def shop_now() -> datetime:
    """Return this moment on the shop's clock, with its zone."""
    return moment_of(datetime.now(UTC))


def parse_moment(name: str, text: str | date) -> str:
    """Return a day, or a day and a time, as ISO 8601 text.

    `name`: what messages call it. `text`: ``"2026-03-28T14:30"``, ``"2026-3-28"``, ``"28.3.2026"``, ``"28/3/2026"``,
    ``"today"`` or ``"yesterday"``.

    Examples
    --------
    >>> parse_moment("since", "28.3.2026")
    '2026-03-28'
    """
    if isinstance(text, date):
        return text.isoformat()
    text = str(text).strip()
    if text.lower() in _DAYS_AGO:
        return (shop_now().date() - timedelta(days=_DAYS_AGO[text.lower()])).isoformat()
    try:
        written = _DATE.fullmatch(text)
        moment = _ordered(name, text, written) if written else datetime.fromisoformat(text)
    except ValueError:
        raise RecordError(
            f"{name} is {text[:_SHOWN]!r}, which is no day; write year-month-day, with the time after a T, such as "
            "2026-03-28 or 2026-03-28T14:30"
        ) from None
    if not _YEARS[0] <= moment.year <= _YEARS[1]:
        raise RecordError(f"{name} is in the year {moment.year}; it must lie between {_YEARS[0]} and {_YEARS[1]}")
    return moment.isoformat() if written else text


_DAYS_AGO = {"today": 0, "yesterday": 1}


def _ordered(name, text, written):
    """The date of a match of `_DATE`; RecordError where it could be two."""
    year, month, day, first, sign, second, last = written.groups()
    if year:
        return date(int(year), int(month), int(day))
    first, second, year = int(first), int(second), int(last)
    if sign == "/" and max(first, second) <= 12 and first != second:
        ways = " or ".join(date(year, *pair).isoformat() for pair in ((second, first), (first, second)))
        raise RecordError(f"{name} is {text!r}, which can be read as {ways}; write it that way")
    day, month = (second, first) if second > 12 else (first, second)
    return date(year, month, day)

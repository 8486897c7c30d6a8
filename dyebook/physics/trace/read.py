"""Run logs as they come: the file of any logger, or a few hand notes, read into a `Trace`.

A logger's text is split into rows of cells by the separator that suits its last lines; the headers above the first row
of numbers say, by their words and units, which column is which. Clock times and dates become minutes.
"""

import csv
import io
import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from dyebook.errors import RecordError
from dyebook.notebook import Note

__all__ = [
    "QUANTITIES",
    "ColumnGuess",
    "Trace",
    "decode_log",
    "guess_columns",
    "log_headers",
    "make_trace",
    "number_of",
    "read_notes",
    "read_trace",
]

_CLOCK = re.compile(r"\d{1,3}:\d{1,2}(?::\d{1,2}(?:[.,]\d+)?)?(?:\s*[ap]m)?", re.IGNORECASE)
_DAY_MIN = 24 * 60
QUANTITIES = ("time_min", "current_a", "voltage_v", "electrolyte_temp_c")
# words per quantity, best first; the languages loggers are sold in
_WORDS = {
    "time_min": (
        r"elapsed|time|zeit|temps|tiempo|tempo|tid|seconds?|secs?|minutes?|mins?|hours?|"
        r"clock|timestamps?|datetime|ts|uhrzeit|uhr"
    ),
    "current_a": r"current|ampere?s?|amps?|iout|curr|strom|courant|corriente|corrente",
    "voltage_v": r"voltage|volts?|vout|uout|spannung|tension|tensione",
    "electrolyte_temp_c": r"temp(?:erature)?s?|electrolyte|bath|acid|thermo\w*",
}
_SHORT = {"t": "time_min", "i": "current_a", "u": "voltage_v", "v": "voltage_v", "a": "current_a", "s": "time_min"}
_UNITS = {
    unit: (quantity, factor)
    for quantity, factor, units in (
        ("time_min", 1 / 60000, "ms"),
        ("time_min", 1 / 60, "s sec secs second seconds"),
        ("time_min", 1.0, "min mins minute minutes"),
        ("time_min", 60.0, "h hour hours"),
        ("current_a", 1e-3, "ma"),
        ("current_a", 1.0, "a amp amps ampere"),
        ("voltage_v", 1e-3, "mv"),
        ("voltage_v", 1.0, "v volt volts"),
        ("electrolyte_temp_c", 1.0, "c degc °c"),
        ("electrolyte_temp_c", "fahrenheit", "f degf °f"),
    )
    for unit in units.split()
}
# columns that name a quantity but are another thing
_OTHER = re.compile(r"density|dm2|dm²|room|ambient|power|energy|charge|limit|max|min\b(?=.*(?:volt|curr))|ovp|ocp")
_SET = re.compile(r"\bset|soll|target|wanted|plan")
_MANY_MIN = 240  # a run is not longer: larger figures without a unit are seconds
_MANY_S = 100_000
_HOTTEST_C = 50.0  # no electrolyte is: larger figures without a unit are °F
_LEAST_ROWS = 3


@dataclass(frozen=True)
class Trace:
    """A run's log in our units."""

    # time_min, current_a: (N,): time from the first row
    time_min: np.ndarray
    current_a: np.ndarray
    # voltage_v, electrolyte_temp_c: (N,)
    voltage_v: np.ndarray | None = None
    electrolyte_temp_c: np.ndarray | None = None
    columns: dict = None  # dict of str to str: which header each quantity was read from, to be confirmed by the user
    notes: tuple = ()  # what was assumed or left out
    by_hand: bool = False  # True for a few notes rather than a logger


def read_trace(path: str | Path, columns=None) -> Trace:
    """Read a logger's file.

    `path`: text with columns; comma, semicolon, tab or blanks between, decimal point or comma. `columns` (dict of str
    to str, optional): header (or number from 1) of each quantity, where the guess is wrong: ``{"current_a": "Ch 2"}``.
    """
    path = Path(path)
    try:
        text = path.read_bytes()
    except OSError as error:
        raise RecordError(f"the log {path} cannot be opened: {error.strerror}; check its name") from None
    return parse_trace(decode_log(text), path.name, columns)


def parse_trace(text, name="log", columns=None):
    """Read the text of a logger's file; see `read_trace`."""
    rows, start = log_table(text, name)
    headers = headers_above(rows, start)
    data = [row for row in rows[start:] if is_data(row)]
    found, notes = _columns(headers, data, columns, name)
    read = {quantity: _values(guess, data, notes) for quantity, guess in found.items()}
    names = {quantity: guess.header for quantity, guess in found.items()}
    return make_trace(*(read.get(quantity) for quantity in QUANTITIES), columns=names, notes=notes)


def make_trace(
    time_min,
    current_a,
    voltage_v=None,
    electrolyte_temp_c=None,
    columns: dict | None = None,
    notes=(),
    by_hand: bool = False,
) -> Trace:
    """Check the figures of a log, arrays of shape (N,), and return it as a `Trace`."""
    t, current = np.asarray(time_min, float), np.asarray(current_a, float)
    notes = list(notes)
    known = np.isfinite(t) & np.isfinite(current)
    least = 2 if by_hand else _LEAST_ROWS
    if known.sum() < least:
        raise RecordError(f"the log has {known.sum()} rows with time and current; at least {least} are needed")
    if not known.all():
        notes.append(Note("bench.rows_left_out", count=int((~known).sum())))
    t, current = t[known], current[known]
    back = np.flatnonzero(np.diff(t) < 0)
    if back.size:
        raise RecordError(
            f"the clock goes backwards in the log, from {t[back[0]]:.4g} to {t[back[0] + 1]:.4g} min at row "
            f"{back[0] + 2}; "
            "cut the file into one run, or mend the time column"
        )
    if np.median(current[np.abs(current) > 0.05 * np.abs(current).max()] if current.any() else [0]) < 0:
        current = -current
        notes.append(Note("bench.sign_turned"))
    if not current.max() > 0:
        raise RecordError("the log holds no current above 0 A; check which column is the current")
    others = [None if extra is None else np.asarray(extra, float)[known] for extra in (voltage_v, electrolyte_temp_c)]
    others = [None if extra is None or np.isnan(extra).all() else extra for extra in others]
    if others[0] is not None and np.nanmedian(others[0]) < 0:
        others[0] = -others[0]
    return Trace(t - t[0], current, *others, columns or {}, tuple(notes), by_hand)


def log_headers(text, name="log"):
    """Return the headers of a log's columns; their numbers from 1 where it names none."""
    rows, start = log_table(text, name)
    return headers_above(rows, start) or [str(number) for number in range(1, len(rows[start]) + 1)]


def log_table(text, name="log"):
    """Return the rows of cells of a log, and the index of the first row of numbers."""
    lines = [line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    if not lines:
        raise RecordError(f"{name} is empty; a log with time and current is needed")
    rows = table_rows(lines)
    start = next((i for i, row in enumerate(rows) if is_data(row)), None)
    if start is None:
        raise RecordError(f"{name} holds no row of numbers; a log with time and current is needed")
    return rows, start


def decode_log(raw):
    """Return the text of a log's bytes: UTF-8 or UTF-16 by its mark, else the code page of Western desks."""
    for coding in ("utf-8-sig", "utf-16") if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252"):
        try:
            return raw.decode(coding)
        except UnicodeDecodeError:
            continue
    return raw.decode("latin-1")


def table_rows(lines):
    """Cells of each line, with the separator that gives the most even table."""
    if any(";" in line for line in lines[-3:]):
        separator = ";"
    elif any("\t" in line for line in lines[-3:]):
        separator = "\t"
    elif any("," in line for line in lines[-3:]):
        separator = ","
    else:
        return [line.split() for line in lines]
    return [[cell.strip() for cell in row] for row in csv.reader(io.StringIO("\n".join(lines)), delimiter=separator)]


def is_data(row):
    """A row of data holds at least two numbers or times and starts with none but such cells."""
    readable = [number_of(cell) is not None or moment_min(cell) is not None for cell in row]
    return len(row) >= 2 and sum(readable) >= 2


def headers_above(rows, start):
    """The last row of words above the data, as wide as it; else numbers."""
    width = len(rows[start])
    if start and len(rows[start - 1]) >= min(width, 2):
        above = rows[start - 1]
        units = start > 1 and len(rows[start - 2]) == len(above) and sum(len(cell) <= 4 for cell in above) == len(above)
        if units and any(rows[start - 2]):
            return [f"{word} [{unit.strip('[]()')}]" for word, unit in zip(rows[start - 2], above, strict=True)]
        return above
    return []


@dataclass(frozen=True)
class ColumnGuess:
    """One column of the file: what it is and the factor to our unit (None: no unit was given)."""

    index: int
    quantity: str
    factor: float | str | None
    header: str


def guess_columns(headers):
    """Guess which column is which.

    They come by quantity, the best column where several fit; missing quantities are left out. `headers`: sequence of
    str.

    Examples
    --------
    >>> [g.quantity for g in guess_columns(["Time [s]", "Output current (mA)"]).values()]
    ['time_min', 'current_a']
    """
    best = {}
    for index, header in enumerate(headers):
        quantity, factor, score = _read_header(str(header))
        if quantity and score > best.get(quantity, (0, None))[0]:
            best[quantity] = (score, ColumnGuess(index, quantity, factor, str(header)))
    return {quantity: best[quantity][1] for quantity in QUANTITIES if quantity in best}


def _read_header(header):
    """Quantity, factor and how sure, of one header."""
    text = header.strip().strip('"').lower().replace("_", " ").replace("deg ", "deg")
    unit_quantity, factor = _unit_of(text)
    word_quantity = _word_of(text)
    quantity = word_quantity or unit_quantity
    if quantity is None or (word_quantity and unit_quantity and word_quantity != unit_quantity):
        quantity = unit_quantity or word_quantity
    if quantity is None:
        return None, None, 0
    score = 2 * bool(word_quantity) + 2 * bool(unit_quantity)
    if _OTHER.search(re.sub(r"\[[^]]*\]|\([^)]*\)", "", text)) and quantity != "time_min":
        return None, None, 0
    if _SET.search(text) and quantity != "time_min":
        score -= 1.5
    if quantity == "time_min" and re.search(r"elapsed|run|rel", text):
        score += 0.5
    return quantity, factor if unit_quantity == quantity else None, max(score, 0.5)


def _unit_of(text):
    """Unit in brackets, after a slash or comma, or at the end of a name."""
    found = re.findall(r"[\[(]\s*([^\])]+?)\s*[\])]", text) + re.findall(r"[/,]\s*(\S+)\s*$", text)
    words = text.split()
    if len(words) > 1:
        found.append(words[-1])
    for unit in found:
        if unit in _UNITS:
            return _UNITS[unit]
    return (None, None) if text not in _UNITS or len(text) == 1 else _UNITS[text]


def _word_of(text):
    bare = re.sub(r"[\[(].*", "", text).strip()
    if re.search(r"\btime$", bare):
        return "time_min"  # "current time" is a clock
    for quantity in ("electrolyte_temp_c", "voltage_v", "current_a", "time_min"):
        if re.search(rf"(?<![a-z])(?:{_WORDS[quantity]})(?![a-z])", bare):
            return quantity
    return _SHORT.get(bare.split("/")[0].strip())


def _columns(headers, data, wanted, name):
    notes = []
    found = guess_columns(headers)
    if not headers:
        count = max(len(row) for row in data)
        found = {
            quantity: ColumnGuess(i, quantity, None, f"column {i + 1}") for i, quantity in enumerate(QUANTITIES[:count])
        }
        notes.append(Note("bench.no_headers"))
    for quantity, header in (wanted or {}).items():
        found[quantity] = _wanted_column(quantity, header, headers)
    if "time_min" not in found and data and moment_min(data[0][0]) is not None:
        found["time_min"] = ColumnGuess(0, "time_min", None, headers[0] if headers else "column 1")
    missing = [quantity for quantity in QUANTITIES[:2] if quantity not in found]
    if missing:
        raise RecordError(
            f"{name} has no column for {' and '.join(missing)} among {', '.join(map(str, headers)) or 'its columns'}; "
            "name it in the header, such as time_min and current_a"
        )
    return found, notes


def _wanted_column(quantity, header, headers):
    if quantity not in QUANTITIES:
        raise RecordError(f"{quantity!r} is no quantity of a log; use {', '.join(QUANTITIES)}")
    names = [str(item).strip() for item in headers]
    if str(header) in names:
        index = names.index(str(header))
    elif str(header).isdigit() and int(header) >= 1:
        index = int(header) - 1
    else:
        raise RecordError(f"the log has no column {header!r}; it has {', '.join(names)}")
    guess = guess_columns([names[index] if index < len(names) else ""]).get(quantity)
    return ColumnGuess(index, quantity, guess.factor if guess else None, str(header))


def _values(guess, data, notes):
    """One column in our unit."""
    cells = [row[guess.index] if guess.index < len(row) else "" for row in data]
    if guess.quantity == "time_min" and any(moment_min(cell) is not None for cell in cells[:5]):
        return minutes_of_moments(cells)
    values = np.array([np.nan if (number := number_of(cell)) is None else number for cell in cells])
    if guess.factor == "fahrenheit":
        return (values - 32) / 1.8
    if np.isnan(values).all():
        return values
    if guess.factor is None and guess.quantity == "time_min":
        return _time_without_unit(values, notes)
    if guess.factor is None and guess.quantity == "electrolyte_temp_c" and np.nanmedian(values) > _HOTTEST_C:
        notes.append(Note("bench.taken_as", column="temperature", unit="°F"))
        return (values - 32) / 1.8
    return values * (1.0 if guess.factor is None else guess.factor)


def _time_without_unit(values, notes):
    length = np.nanmax(values) - np.nanmin(values)
    unit, minutes = ("milliseconds", 1 / 60000) if length > _MANY_S else ("seconds", 1 / 60)
    if length <= _MANY_MIN:
        unit, minutes = "minutes", 1.0
    notes.append(Note("bench.taken_as", column="time", unit=unit))
    return values * minutes


def number_of(cell):
    """A number with decimal point or comma; None if it is none."""
    text = cell.strip().strip('"').replace("\u2212", "-")
    text = re.sub(r"\s*(?:mA|A|V|°C|C|s|min)$", "", text)
    if re.fullmatch(r"[-+]?\d*[.,]?\d+(?:[eE][-+]?\d+)?|[-+]?\d+[.,]", text):
        return float(text.replace(",", "."))
    return None


def minutes_of_moments(cells):
    """Minutes from clock times or dates; midnight may pass once."""
    minutes = np.array([np.nan if (moment := moment_min(cell)) is None else moment for cell in cells])
    overnight = np.concatenate([[0], np.cumsum(np.diff(np.nan_to_num(minutes)) < -_DAY_MIN / 2)])
    return minutes + overnight * _DAY_MIN


def moment_min(cell):
    """Minutes of a clock time or a date with time; None if it is neither."""
    text = cell.strip().strip('"')
    if _CLOCK.fullmatch(text):
        return clock_min(text)
    if not re.match(r"\d{1,4}[-./]\d{1,2}[-./]\d{1,4}[T ,]", text):
        return None
    return _date_min(text)


def clock_min(text):
    """Minutes of ``h:min:sec`` or ``min:sec``, 12-hour clocks too."""
    late = text.lower().endswith("pm")
    pieces = [
        float(piece.replace(",", ".")) for piece in re.sub(r"\s*[ap]m$", "", text, flags=re.IGNORECASE).split(":")
    ]
    if len(pieces) == 2:
        return pieces[0] + pieces[1] / 60 if not late else (pieces[0] % 12 + 12) * 60 + pieces[1]
    hours = pieces[0] % 12 + 12 if late else pieces[0]
    return hours * 60 + pieces[1] + pieces[2] / 60


def _date_min(text):
    """Minutes of a date with time; None if it is none."""
    try:
        return datetime.fromisoformat(text.replace("Z", "+00:00")).timestamp() / 60
    except ValueError:
        pass
    bare = text.replace(",", ".").replace("T", " ")
    for day in ("%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%Y/%m/%d", "%d-%m-%Y"):
        for clock in ("%H:%M:%S.%f", "%H:%M:%S", "%H:%M"):
            try:
                return datetime.strptime(bare, f"{day} {clock}").timestamp() / 60
            except ValueError:
                continue
    return None


def read_notes(text: str, end_min: float | None = None) -> Trace:
    """Read hand notes such as ``"0.6 A at start, 0.9 A at 10 min"``.

    `end_min`: when the run ended; the last current holds until then.

    Examples
    --------
    >>> read_notes("0.6 A at start, 0.9 A at 10 min").current_a.tolist()
    [0.6, 0.9]
    """
    notes = [_read_note(piece) for piece in re.split(r"[;\n]|,(?=\s)", text) if piece.strip()]
    if not notes:
        raise RecordError("no note was given; write such as: 0.6 A at start, 0.9 A at 10 min")
    times, currents = (list(column) for column in zip(*notes, strict=True))
    if end_min is not None and end_min > times[-1]:
        times.append(float(end_min))
        currents.append(currents[-1])
    return make_trace(times, currents, columns={}, notes=(Note("bench.by_hand"),), by_hand=True)


def _read_note(piece):
    pattern = r"\s*([\d.,]+)\s*(m?a)\b\s*(?:at|@|after)?\s*(start|[\d.,:]+)\s*(s|sec|min|minutes|h)?\s*"
    match = re.fullmatch(pattern, piece.strip(), re.IGNORECASE)
    if not match:
        raise RecordError(f"the note {piece.strip()!r} cannot be read; write such as: 0.9 A at 10 min")
    current = float(match[1].replace(",", ".")) * (1e-3 if match[2].lower() == "ma" else 1.0)
    if match[3].lower() == "start":
        return 0.0, current
    if ":" in match[3]:
        return clock_min(match[3]), current
    unit = {"s": 1 / 60, "sec": 1 / 60, "h": 60.0}.get((match[4] or "min").lower(), 1.0)
    return float(match[3].replace(",", ".")) * unit, current

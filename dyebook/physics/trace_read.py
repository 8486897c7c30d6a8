"""Reading run logs: the file of any logger, or a few hand notes."""

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dyebook.errors import RecordError
from dyebook.physics.trace_clock import clock_min, minutes_of_moments, moment_min
from dyebook.physics.trace_columns import QUANTITIES, ColumnGuess, guess_columns
from dyebook.physics.trace_table import decode_log, headers_above, is_data, log_table, number_of

__all__ = ["Trace", "make_trace", "read_notes", "read_trace"]

_MANY_MIN = 240  # a run is not longer: larger figures without a unit are seconds
_MANY_S = 100_000
_HOTTEST_C = 50.0  # no electrolyte is: larger figures without a unit are °F
_LEAST_ROWS = 3


@dataclass(frozen=True)
class Trace:
    """A run's log in our units.

    Attributes
    ----------
    time_min, current_a : ndarray of shape (N,)
        Time from the first row.
    voltage_v, electrolyte_temp_c : ndarray of shape (N,) or None
    columns : dict of str to str
        Which header each quantity was read from, to be confirmed by the user.
    notes : tuple of str
        What was assumed or left out.
    by_hand : bool
        True for a few notes rather than a logger.
    """

    time_min: np.ndarray
    current_a: np.ndarray
    voltage_v: np.ndarray | None = None
    electrolyte_temp_c: np.ndarray | None = None
    columns: dict = None
    notes: tuple = ()
    by_hand: bool = False


def make_trace(time_min, current_a, voltage_v=None, electrolyte_temp_c=None, columns=None, notes=(), by_hand=False):
    """Check the figures of a log and return it as a `Trace`.

    Parameters
    ----------
    time_min, current_a : array of shape (N,)
    voltage_v, electrolyte_temp_c : array of shape (N,), optional
    columns : dict, optional
    notes : sequence of str
    by_hand : bool

    Returns
    -------
    Trace

    Raises
    ------
    RecordError
        If the clock goes backwards, too few rows hold a number, or the current is never positive.
    """
    t, current = np.asarray(time_min, float), np.asarray(current_a, float)
    notes = list(notes)
    known = np.isfinite(t) & np.isfinite(current)
    least = 2 if by_hand else _LEAST_ROWS
    if known.sum() < least:
        raise RecordError(f"the log has {known.sum()} rows with time and current; at least {least} are needed")
    if not known.all():
        notes.append(f"{(~known).sum()} rows without a number were left out")
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
        notes.append("the current was logged negative; its sign was turned round")
    if not current.max() > 0:
        raise RecordError("the log holds no current above 0 A; check which column is the current")
    others = [None if extra is None else np.asarray(extra, float)[known] for extra in (voltage_v, electrolyte_temp_c)]
    others = [None if extra is None or np.isnan(extra).all() else extra for extra in others]
    if others[0] is not None and np.nanmedian(others[0]) < 0:
        others[0] = -others[0]
    return Trace(t - t[0], current, *others, columns or {}, tuple(notes), by_hand)


def read_trace(path, columns=None):
    """Read a logger's file.

    Parameters
    ----------
    path : str or Path
        Text with columns; comma, semicolon, tab or blanks between, decimal point or comma.
    columns : dict of str to str, optional
        Header (or number from 1) of each quantity, where the guess is wrong: ``{"current_a": "Ch 2"}``.

    Returns
    -------
    Trace

    Raises
    ------
    RecordError
        If the file cannot be read, or holds no time or current.
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


def _columns(headers, data, wanted, name):
    notes = []
    found = guess_columns(headers)
    if not headers:
        count = max(len(row) for row in data)
        found = {
            quantity: ColumnGuess(i, quantity, None, f"column {i + 1}") for i, quantity in enumerate(QUANTITIES[:count])
        }
        notes.append("the file names no columns: taken as time, current, voltage, temperature in that order")
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
        notes.append("the temperature column names no unit: taken as °F")
        return (values - 32) / 1.8
    return values * (1.0 if guess.factor is None else guess.factor)


def _time_without_unit(values, notes):
    length = np.nanmax(values) - np.nanmin(values)
    unit, minutes = ("milliseconds", 1 / 60000) if length > _MANY_S else ("seconds", 1 / 60)
    if length <= _MANY_MIN:
        unit, minutes = "minutes", 1.0
    notes.append(f"the time column names no unit: taken as {unit}")
    return values * minutes


def read_notes(text, end_min=None):
    """Read hand notes such as ``"0.6 A at start, 0.9 A at 10 min"``.

    Parameters
    ----------
    text : str
    end_min : float, optional
        When the run ended; the last current holds until then.

    Returns
    -------
    Trace

    Raises
    ------
    RecordError
        If a note cannot be read.

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
    return make_trace(
        times, currents, columns={}, notes=("from hand notes, straight lines between them",), by_hand=True
    )


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

"""Clock times and dates as loggers write them."""

import re
from datetime import datetime

import numpy as np

__all__ = ["clock_min", "minutes_of_moments", "moment_min"]

_CLOCK = re.compile(r"\d{1,3}:\d{1,2}(?::\d{1,2}(?:[.,]\d+)?)?(?:\s*[ap]m)?", re.IGNORECASE)
_DAY_MIN = 24 * 60


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

"""What every bench sum hands back: numbers with their basis and cautions, and the one check of typed figures."""

import math
from dataclasses import dataclass, fields
from datetime import datetime

from dyebook.errors import RecordError
from dyebook.notebook import Note
from dyebook.record import FIELDS, check_value

__all__ = ["Answer", "cautions_for", "check_figure", "positive_field"]


def cautions_for(*names: str) -> tuple[Note, ...]:
    """Return the cautions called `names`, keys of `dyebook.report.bench.CAUTIONS`, the general one last."""
    return tuple(Note(f"bench.{name}") for name in dict.fromkeys((*names, "general")))


_DIGITS = 6


@dataclass(frozen=True, kw_only=True)
class Answer:
    """Ground of all bench results; a field with ``repr=False`` is for Python only."""

    basis: Note  # the rule or the data the figures rest on
    cautions: tuple = ()  # what to take care of when acting on them
    notes: tuple = ()  # what else should be known about these figures

    def to_dict(self):
        """Return the answer as plain numbers, texts and lists; None where nothing is known."""
        return {item.name: _plain(getattr(self, item.name)) for item in fields(self) if item.repr}


def _plain(value):
    if hasattr(value, "to_dict"):
        return value.to_dict()
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, dict):
        return {key: _plain(entry) for key, entry in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(entry) for entry in value]
    if value is None or isinstance(value, (str, bool, int)):
        return value
    number = float(value)
    return float(f"{number:.{_DIGITS}g}") if math.isfinite(number) else None


def check_figure(name: str, value: float, unit: str, lower: float, upper: float, hint: str = "") -> float:
    """Return `value` as a float if it is a possible figure: above `lower` and not above `upper`.

    `name` and `unit` are printed in the user's words, `hint` says what to do otherwise.
    """
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise RecordError(f"{name} is {value!r}; a number in {unit} is needed") from None
    if not lower < number <= upper:
        advice = hint or "check the figure and its unit"
        raise RecordError(f"{name} is {number:g} {unit}; it must be above {lower:g} and at most {upper:g}; {advice}")
    return number


def positive_field(name, value):
    """Return `value` of the field `name` in `dyebook.record.FIELDS` as a float above 0."""
    number = check_value(name, value)
    if not number > 0:
        raise RecordError(f"{FIELDS[name].label} is {value!r}; a number above 0 is needed")
    return number

"""What the columns of a logger's file mean, guessed from headers and units."""

import re
from dataclasses import dataclass

__all__ = ["QUANTITIES", "ColumnGuess", "guess_columns"]

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
    "ms": ("time_min", 1 / 60000),
    "s": ("time_min", 1 / 60),
    "sec": ("time_min", 1 / 60),
    "secs": ("time_min", 1 / 60),
    "second": ("time_min", 1 / 60),
    "seconds": ("time_min", 1 / 60),
    "min": ("time_min", 1.0),
    "mins": ("time_min", 1.0),
    "minute": ("time_min", 1.0),
    "minutes": ("time_min", 1.0),
    "h": ("time_min", 60.0),
    "hour": ("time_min", 60.0),
    "hours": ("time_min", 60.0),
    "ma": ("current_a", 1e-3),
    "a": ("current_a", 1.0),
    "amp": ("current_a", 1.0),
    "amps": ("current_a", 1.0),
    "ampere": ("current_a", 1.0),
    "mv": ("voltage_v", 1e-3),
    "v": ("voltage_v", 1.0),
    "volt": ("voltage_v", 1.0),
    "volts": ("voltage_v", 1.0),
    "c": ("electrolyte_temp_c", 1.0),
    "degc": ("electrolyte_temp_c", 1.0),
    "°c": ("electrolyte_temp_c", 1.0),
    "f": ("electrolyte_temp_c", "fahrenheit"),
    "degf": ("electrolyte_temp_c", "fahrenheit"),
    "°f": ("electrolyte_temp_c", "fahrenheit"),
}
# columns that name a quantity but are another thing
_OTHER = re.compile(r"density|dm2|dm²|room|ambient|power|energy|charge|limit|max|min\b(?=.*(?:volt|curr))|ovp|ocp")
_SET = re.compile(r"\bset|soll|target|wanted|plan")


@dataclass(frozen=True)
class ColumnGuess:
    """One column of the file: what it is and the factor to our unit (None: no unit was given)."""

    index: int
    quantity: str
    factor: float | str | None
    header: str


def guess_columns(headers):
    """Guess which column is which.

    Parameters
    ----------
    headers : sequence of str

    Returns
    -------
    dict of str to ColumnGuess
        By quantity; the best column where several fit. Missing quantities are left out.

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

"""What the shop has set for a dye: windows, limits, and figures that its baths are reckoned by."""

from dyebook.errors import RecordError
from dyebook.physics.bathcare import check_window
from dyebook.record import FIELDS

__all__ = ["dye_rules", "outside_window", "set_dye_rules"]

_KEY = "dye_rules"
_KNOWN_RULES = (
    "ph",
    "bath_temp_c",
    "uptake_mg_per_dm2",
    "limit_dm2_per_l",
    "limit_days",
    "evaporation_l_per_day",
    "tank_area_dm2",
)


def dye_rules(book, dye):
    """Return what the shop has set for a dye: windows (lower, upper) of `ph` and `bath_temp_c`, uptake and limits."""
    return (book.setting(_KEY) or {}).get(dye, {})


def set_dye_rules(book, dye, **rules):
    """Keep the shop's rules for a dye.

    Parameters
    ----------
    book : dyebook.book.store.Book
    dye : str
    **rules
        `ph` and `bath_temp_c` as (lower, upper), `uptake_mg_per_dm2`, `limit_dm2_per_l`, `limit_days`,
        `evaporation_l_per_day`, `tank_area_dm2`; None takes a rule away.
    """
    unknown = [name for name in rules if name not in _KNOWN_RULES]
    if unknown:
        raise ValueError(f"unknown rules {unknown}; known: {', '.join(_KNOWN_RULES)}")
    for name in ("ph", "bath_temp_c"):
        window = rules.get(name)
        if window is not None and not window[0] < window[1]:
            raise RecordError(
                f"the window of {FIELDS[name].label} runs from {window[0]:g} to {window[1]:g}; the lower end goes first"
            )
    kept = {name: value for name, value in {**dye_rules(book, dye), **rules}.items() if value is not None}
    book.set_setting(_KEY, {**(book.setting(_KEY) or {}), dye: kept})


def outside_window(book, dye, **values):
    """Return in words which of `ph` and `bath_temp_c` lie outside the shop's window for a dye."""
    rules = dye_rules(book, dye)
    found = [check_window(name, value, *rules[name]) for name, value in values.items() if value and name in rules]
    return [words for words in found if words]

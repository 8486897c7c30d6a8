"""Whether the baths of the book drift, and whether it is the camera that does: each bath's and the coupon's history."""

from dataclasses import dataclass

from dyebook.errors import ModelError, RecordError
from dyebook.jobs.baths import bath_label
from dyebook.jobs.check_coupon import BASELINE
from dyebook.jobs.progress import say_nothing
from dyebook.jobs.trouble import filled_at, fresh_dips, in_time, stripped

__all__ = ["BathDrift", "bath_named", "coupon_history", "drift_in_book"]

_LEAST_DIPS, _BASELINE = 9, (6, 12)


@dataclass(frozen=True)
class BathDrift:
    """One bath's charts.

    Attributes
    ----------
    label : str
    history : DataFrame
        Differences to what the bath as made up should have given, a row a dip, with ``batch`` and ``dyed_at``.
    drift : Drift
    filled : tuple of str
        When the bath was made up or topped up.
    """

    label: str
    history: object
    drift: object
    filled: tuple


def drift_in_book(book, dye, bath, learn=None, progress=None):
    """Return the `BathDrift` of a bath.

    Parameters
    ----------
    book : dyebook.book.store.Book
    dye, bath : str
    learn, progress : callable, optional
        As in `dyebook.jobs.trouble.case_of`.

    Returns
    -------
    BathDrift

    Raises
    ------
    RecordError
        If too few of its dips were read.
    """
    from dyebook.advice.drift import find_drift
    from dyebook.advice.expectation import compare_with_expectation
    from dyebook.advice.learn import learn_bath

    label, dips = bath_label(dye, bath), book.frame(dye=dye, bath=bath)
    dips = in_time(dips[dips["L"].notna() & ~dips["batch"].isin(stripped(book))])
    if len(dips) < _LEAST_DIPS:
        raise RecordError(f"{len(dips)} dips of {label} were read; {_LEAST_DIPS} are needed to tell drift from scatter")
    tell = progress or say_nothing
    tell(f"Learning {label} from its dips when it was fresh")
    try:
        model = (learn or learn_bath)(fresh_dips(book, dye, bath, dips))
    except ModelError as error:
        raise RecordError(f"{label} cannot be learned: {error}") from None
    tell(f"Reckoning what {label} should have given")
    filled = filled_at(book, dye, bath)
    lately = dips[dips["dyed_at"].fillna("") >= filled[-1]] if filled else dips
    charted = lately if len(lately) >= _LEAST_DIPS else dips
    history = compare_with_expectation(model, charted.drop(columns="dyed_at"))
    history = history.assign(dyed_at=charted["dyed_at"].str[:10].to_numpy(), batch=charted["batch"].to_numpy())
    baseline = min(max(len(history) // 3, _BASELINE[0]), _BASELINE[1])
    bath_row = _bath_row(book, dye, bath)
    volume = (bath_row and bath_row["bath_volume_l"]) or _volume_noted(book, bath_row)
    made_up = float(charted["dye_g_per_l"].median())
    known = {"baseline": baseline, "bath_volume_l": volume, "dye_g_per_l": made_up}
    coupon = coupon_history(book)
    found = find_drift(history, coupon=coupon, coupon_baseline=BASELINE, **known)
    if found.cause == "bath" and coupon["dyed_at"].iloc[0] > str(found.since):
        # a coupon that was first read after the drift began cannot say that it was not the camera
        found = find_drift(history, **known)
    return BathDrift(label, history, found, tuple(filled))


def bath_named(book, name):
    """Return dye and name of the bath that somebody calls `name`: a bath, or a dye that has but one.

    Raises
    ------
    RecordError
        If there is none, or several.
    """
    dyes = {row["id"]: row["name"] for row in book.rows("dyes")}
    baths = [(dyes.get(row["dye_id"]), row["name"]) for row in book.rows("baths")]
    found = [pair for pair in baths if pair[1] == name] or [pair for pair in baths if pair[0] == name]
    if len(found) != 1:
        known = ", ".join(sorted(bath for _, bath in baths)) or "none"
        raise RecordError(f"{len(found)} baths are called {name!r}; name one of the book's: {known}")
    return found[0]


def _bath_row(book, dye, bath):
    dyes = {row["name"]: row["id"] for row in book.rows("dyes")}
    return next((row for row in book.rows("baths", name=bath) if row["dye_id"] == dyes.get(dye)), None)


def _volume_noted(book, bath_row):
    events = book.rows("bath_events", bath_id=bath_row["id"]) if bath_row else []
    return next((event["bath_volume_l"] for event in reversed(events) if event["bath_volume_l"]), None)


def coupon_history(book):
    """Return how the check coupon's readings have moved, a row a day, with the camera that read it last.

    Returns
    -------
    DataFrame or None
        delta_l, delta_c, delta_h, dyed_at (the day it was read); None while there are too few days to tell drift.
    """
    from dyebook.jobs.check_coupon import coupon_days

    told = coupon_days(book)
    return None if told is None or told.missing else told.judged

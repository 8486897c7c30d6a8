"""What a printed sheet tells of a bath's life and of a month, gathered from the book."""

import calendar
import re
from dataclasses import dataclass

from dyebook.errors import RecordError
from dyebook.jobs.bath_line import bath_line
from dyebook.jobs.baths import age_of_bath
from dyebook.jobs.paper import shop_name

__all__ = ["BathFacts", "MonthFacts", "bath_facts", "bath_number", "month_facts"]


@dataclass(frozen=True)
class BathFacts:
    """A bath since it was last made up, or since the first note of it.

    Attributes
    ----------
    dye, name, shop : str
    bath : dict
        Its row.
    life : dict
        As `Book.bath_life` gives it.
    batches : tuple of BatchRow
        Oldest first.
    line : StrengthLine
    age : BathAge or None
    """

    dye: str
    name: str
    shop: str
    bath: dict
    life: dict
    batches: tuple
    line: object
    age: object


def bath_number(book, name, dye=None):
    """Return the number of the bath of that name.

    Parameters
    ----------
    book : dyebook.book.store.Book
    name : str
    dye : str, optional
        Needed where baths of several dyes have the name.

    Raises
    ------
    RecordError
        If there is none, or more than one.
    """
    dyes = {row["id"]: row["name"] for row in book.rows("dyes")}
    baths = book.rows("baths")
    found = [row for row in baths if row["name"] == name and dye in (None, dyes.get(row["dye_id"]))]
    if len(found) == 1:
        return found[0]["id"]
    if found:
        of = ", ".join(sorted(dyes[row["dye_id"]] for row in found))
        raise RecordError(f"there is a bath {name!r} of {of}; say of which with --dye")
    known = ", ".join(sorted({row["name"] for row in baths})) or "none"
    raise RecordError(f"there is no bath {name!r}{f' of {dye}' if dye else ''}; in the book: {known}")


def bath_facts(book, bath_id):
    """Return everything a bath's log tells, a `BathFacts`."""
    bath = book.row("baths", bath_id)
    dye, life, line = book.row("dyes", bath["dye_id"])["name"], book.bath_life(bath_id), bath_line(book, bath_id)
    start = life["made_up_at"]
    batches = book.batches(dye=dye, bath=bath["name"], since=start)
    batches.sort(key=lambda row: row.dyed_at or row.added_at)
    return BathFacts(dye, bath["name"], shop_name(book), bath, life, tuple(batches), line, age_of_bath(book, bath_id))


@dataclass(frozen=True)
class MonthFacts:
    """A month of the shop.

    Attributes
    ----------
    year, month : int
    shop : str
    batches : tuple of BatchRow
        Oldest first.
    verdicts : dict of int to dict
        The newest verdict on each batch that has one, with `target`, its name or None.
    charge_ah : float
        Of the runs whose charge is known.
    events : tuple of dict
        What happened to dye baths, oldest first, each with `dye` and `bath`, their names.
    due, done : tuple of dict
        Orders due, and orders done.
    """

    year: int
    month: int
    shop: str
    batches: tuple
    verdicts: dict
    charge_ah: float
    events: tuple
    due: tuple
    done: tuple


def month_facts(book, month):
    """Return what happened in a month.

    Parameters
    ----------
    book : dyebook.book.store.Book
    month : str
        Such as ``2026-10``.

    Returns
    -------
    MonthFacts

    Raises
    ------
    RecordError
        If it is no month.
    """
    found = re.fullmatch(r"(\d{4})-(\d{1,2})", month.strip())
    if not found or not 1 <= int(found[2]) <= 12 or int(found[1]) < 1:
        raise RecordError(f"{month!r} is no month; write year and month, such as 2026-10")
    year, number = int(found[1]), int(found[2])
    mark = f"{year:04d}-{number:02d}"
    last = calendar.monthrange(year, number)[1]
    batches = book.batches(since=f"{mark}-01", until=f"{mark}-{last}")
    batches.sort(key=lambda row: (row.dyed_at or row.added_at, row.batch))
    orders = book.rows("orders")
    return MonthFacts(
        year=year,
        month=number,
        shop=shop_name(book),
        batches=tuple(batches),
        verdicts=_newest_verdicts(book, {row.batch for row in batches}),
        charge_ah=_charge(book, {row.batch for row in batches}),
        events=tuple(_events(book, mark)),
        due=tuple(order for order in orders if (order["due_on"] or "").startswith(mark)),
        done=tuple(order for order in orders if (order["done_at"] or "").startswith(mark)),
    )


def _newest_verdicts(book, numbers):
    targets = {row["id"]: row["name"] for row in book.rows("targets")}
    verdicts = [row for row in book.rows("verdicts") if row["batch_id"] in numbers]
    return {row["batch_id"]: row | {"target": targets.get(row["target_id"])} for row in verdicts}


def _charge(book, numbers):
    runs = {book.row("batches", number)["run_id"] for number in numbers} - {None}
    return sum(book.row("runs", run_id)["charge_ah"] or 0.0 for run_id in runs)


def _events(book, mark):
    dyes = {row["id"]: row["name"] for row in book.rows("dyes")}
    baths = {row["id"]: row for row in book.rows("baths")}
    for event in sorted(book.rows("bath_events"), key=lambda row: row["at"]):
        if event["at"].startswith(mark) and event["bath_id"] in baths:
            bath = baths[event["bath_id"]]
            yield event | {"dye": dyes.get(bath["dye_id"], ""), "bath": bath["name"]}

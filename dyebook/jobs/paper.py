"""What printed sheets tell, gathered from the book: of a batch (card, shade note, labels), a bath's life, a month."""

import calendar
import re
from dataclasses import dataclass
from urllib.parse import urlsplit

from dyebook.errors import BookError, PhotoError, RecordError
from dyebook.jobs.bath_state import bath_state
from dyebook.jobs.baths import all_baths
from dyebook.jobs.orders import target_of
from dyebook.jobs.verdict import judge_against
from dyebook.record import DEMO_MARK, check_setting

__all__ = [
    "BatchFacts",
    "BathFacts",
    "MonthFacts",
    "ShadeFacts",
    "batch_facts",
    "batch_link",
    "bath_facts",
    "month_facts",
    "shade_facts",
]


@dataclass(frozen=True)
class BatchFacts:
    """A batch with everything that hangs on it; rows are dicts of the book."""

    row: object  # BatchRow
    shop: str  # empty where it is not named
    readings: tuple  # newest first
    # dips, rinses, seals: in order; dips carry `dye` and `bath`, their names
    dips: tuple
    rinses: tuple
    seals: tuple
    verdicts: tuple  # tuple of (dict, dict or None): verdict and target, newest first
    run: dict | None
    order: dict | None
    preparations: tuple  # steps before the run, in order
    pieces: int  # of its parts, where they were counted; 0 otherwise
    replaced_by: tuple[int, ...]
    # tuple of (str, bytes) or None: name and JPEG of its newest photo, drawn anew, so that nothing of the file's own
    # notes is in it
    picture: tuple | None
    problem: str  # why there is no picture although a photo is kept
    rendered: bool  # whether the photos of this book are rendered
    link: str | None  # what a phone opens the batch with; None where the app has no known address


def batch_link(book, number: int, address: str | None = None) -> str | None:
    """Return the address at which a phone opens a batch.

    None where neither is known. `address`: of the app, such as ``http://bench.local:8640``; the book's setting
    `address` without it.
    """
    address = check_setting("address", address) or book.setting("address")
    if not address:
        return None
    parts = urlsplit(address)
    return f"{parts.scheme}://{parts.netloc}{parts.path.rstrip('/')}/book?batch={number}"


def batch_facts(book, number: int, address: str | None = None, picture="overlay") -> BatchFacts:
    """Return everything a sheet tells of a batch.

    `picture` ("overlay", "plain", None): its newest photo with what was read drawn in, as it is, or not at all.
    """
    row, batch = book.batch(number), book.row("batches", number)
    drawn, problem = _picture(book, number, picture)
    targets = {}
    judged = book.rows("verdicts", batch_id=number)[::-1]
    for target_id in {verdict["target_id"] for verdict in judged} - {None}:
        targets[target_id] = book.row("targets", target_id)
    return BatchFacts(
        row=row,
        shop=book.setting("shop"),
        readings=tuple(reversed(book.rows("readings", batch_id=number))),
        dips=tuple(_named_dip(book, dip) for dip in book.rows("dips", batch_id=number)),
        rinses=tuple(book.rows("rinses", batch_id=number)),
        seals=tuple(book.rows("seals", batch_id=number)),
        verdicts=tuple((verdict, targets.get(verdict["target_id"])) for verdict in judged),
        run=book.row("runs", batch["run_id"]) if batch["run_id"] else None,
        order=book.row("orders", batch["order_id"]) if batch["order_id"] else None,
        preparations=tuple(book.rows("preparations", run_id=batch["run_id"])) if batch["run_id"] else (),
        pieces=sum(part["pieces"] or 0 for part in book.rows("parts", batch_id=number)),
        replaced_by=tuple(other["id"] for other in book.rows("batches", replaces_id=number)),
        picture=drawn,
        problem=problem,
        rendered=book.setting(DEMO_MARK) is not None,
        link=batch_link(book, number, address),
    )


def _picture(book, number, how):
    """Name and JPEG of the newest photo, or None, and why a kept photo cannot be shown."""
    if how is None:
        return None, ""
    from dyebook.jobs.photo import draw_kept

    try:
        drawn = draw_kept(book, number, most=1, plain=how == "plain")
    except (BookError, PhotoError) as error:
        return None, str(error)
    return (drawn[0] if drawn else None), ""


def _named_dip(book, dip):
    bath = book.row("baths", dip["bath_id"])["name"] if dip["bath_id"] else None
    return dip | {"dye": book.row("dyes", dip["dye_id"])["name"], "bath": bath}


@dataclass(frozen=True)
class ShadeFacts:
    """A batch against the shade that was wanted."""

    batch: BatchFacts
    target: dict | None
    order: dict | None  # the batch's, else the target's
    verdict: object  # Verdict or None: None without a target or a reading


def shade_facts(book, number: int, target: str | None = None, address: str | None = None) -> ShadeFacts:
    """Return what a shade note says to the customer of a batch.

    `target`: name of a target; the one the batch was judged by without it.
    """
    batch = batch_facts(book, number, address, picture="plain")
    wanted = _target(book, batch, target)
    order = batch.order or (book.row("orders", wanted["order_id"]) if wanted and wanted["order_id"] else None)
    verdict = None if wanted is None or batch.row.lab is None else judge_against(book, batch.row, wanted)
    return ShadeFacts(batch, wanted, order, verdict)


def _target(book, batch, name):
    if name is not None:
        found = book.rows("targets", name=name)
        if not found:
            known = ", ".join(row["name"] for row in book.rows("targets")) or "none"
            raise RecordError(f"there is no target called {name!r}; in the book: {known}")
        return found[-1]
    judged = [target for _, target in batch.verdicts if target is not None]
    if judged:
        return judged[0]
    return target_of(book, batch.order["id"]) if batch.order else None


@dataclass(frozen=True)
class BathFacts:
    """A bath since it was last made up, or since the first note of it."""

    bath: dict  # its row as of `dyebook.jobs.baths.all_baths`
    shop: str
    life: dict  # as `Book.bath_life` gives it
    batches: tuple  # of BatchRow, oldest first
    line: object  # StrengthLine
    age: object  # BathAge or None


def bath_facts(book, bath_id: int):
    """Return everything a bath's log tells, a `BathFacts`."""
    bath = next(row for row in all_baths(book) if row["id"] == bath_id)
    life, state = book.bath_life(bath_id), bath_state(book, bath)
    batches = book.batches(dye=bath["dye"], bath=bath["name"], since=life["made_up_at"])
    batches.sort(key=lambda row: row.dyed_at or row.added_at)
    return BathFacts(bath, book.setting("shop"), life, tuple(batches), state.line, state.age)


@dataclass(frozen=True)
class MonthFacts:
    """A month of the shop."""

    year: int
    month: int
    shop: str
    batches: tuple  # of BatchRow, oldest first
    # dict of int to dict: the newest verdict on each batch that has one, with `target`, its name or None
    verdicts: dict
    charge_ah: float  # of the runs whose charge is known
    events: tuple[dict, ...]  # what happened to dye baths, oldest first, each with `dye` and `bath`, their names
    # due, done: orders due, and orders done
    due: tuple[dict, ...]
    done: tuple[dict, ...]


def month_facts(book, month: str) -> MonthFacts:
    """Return what happened in a month.

    `month`: such as ``2026-10``.
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
        shop=book.setting("shop"),
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
    baths = {row["id"]: row for row in all_baths(book)}
    for event in sorted(book.rows("bath_events"), key=lambda row: row["at"]):
        if event["at"].startswith(mark) and event["bath_id"] in baths:
            bath = baths[event["bath_id"]]
            yield event | {"dye": bath["dye"], "bath": bath["name"]}

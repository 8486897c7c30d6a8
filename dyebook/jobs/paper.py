"""What a printed sheet tells of a batch, gathered from the book: card, shade note, labels."""

from dataclasses import dataclass
from urllib.parse import urlsplit

from dyebook.errors import BookError, PhotoError, RecordError
from dyebook.jobs.orders import judge_against, target_of

__all__ = ["DEMO_MARK", "BatchFacts", "ShadeFacts", "batch_facts", "batch_link", "shade_facts", "shop_name"]

DEMO_MARK = "demo"  # the setting of a book whose photos are rendered
_ADDRESS = "address"
_LONGEST_ADDRESS = 200  # more makes a code too fine for a phone


@dataclass(frozen=True)
class BatchFacts:
    """A batch with everything that hangs on it; rows are dicts of the book.

    Attributes
    ----------
    row : BatchRow
    shop : str
        Empty when nobody named it.
    readings : tuple
        Newest first.
    dips, rinses, seals : tuple
        In order; dips carry `dye` and `bath`, their names.
    verdicts : tuple of (dict, dict or None)
        Verdict and target, newest first.
    run, order : dict or None
    preparations : tuple
        Steps before the run, in order.
    pieces : int
        Of its parts, where they were counted; 0 otherwise.
    replaced_by : tuple of int
    picture : tuple of (str, bytes) or None
        Name and JPEG of its newest photo, drawn anew, so that nothing of the file's own notes is in it.
    problem : str
        Why there is no picture although a photo is kept.
    rendered : bool
        Whether the photos of this book are rendered.
    link : str or None
        What a phone opens the batch with; None where the app has no known address.
    """

    row: object
    shop: str
    readings: tuple
    dips: tuple
    rinses: tuple
    seals: tuple
    verdicts: tuple
    run: dict | None
    order: dict | None
    preparations: tuple
    pieces: int
    replaced_by: tuple
    picture: tuple | None
    problem: str
    rendered: bool
    link: str | None


def shop_name(book):
    """Return the name of the shop as set in the book; empty without."""
    return str(book.setting("shop") or "")


def batch_link(book, number, address=None):
    """Return the address at which a phone opens a batch.

    Parameters
    ----------
    book : dyebook.book.store.Book
    number : int
    address : str, optional
        Of the app, such as ``http://bench.local:8640``; the book's setting `address` without it.

    Returns
    -------
    str or None
        None where neither is known.

    Raises
    ------
    RecordError
        If it is no address.
    """
    address = (address or book.setting(_ADDRESS) or "").strip()
    if not address:
        return None
    parts = urlsplit(address)
    if parts.scheme not in ("http", "https") or not parts.netloc or len(address) > _LONGEST_ADDRESS:
        raise RecordError(f"{address!r} is no address; write it as the phone's browser needs it, http://name:8640")
    return f"{parts.scheme}://{parts.netloc}{parts.path.rstrip('/')}/book?batch={number}"


def batch_facts(book, number, address=None, picture="overlay"):
    """Return everything a sheet tells of a batch.

    Parameters
    ----------
    book : dyebook.book.store.Book
    number : int
    address : str, optional
        See `batch_link`.
    picture : {"overlay", "plain", None}
        Its newest photo with what was read drawn in, as it is, or not at all.

    Returns
    -------
    BatchFacts
    """
    row, batch = book.batch(number), book.row("batches", number)
    drawn, problem = _picture(book, number, picture)
    targets = {}
    judged = book.rows("verdicts", batch_id=number)[::-1]
    for target_id in {verdict["target_id"] for verdict in judged} - {None}:
        targets[target_id] = book.row("targets", target_id)
    return BatchFacts(
        row=row,
        shop=shop_name(book),
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
    from dyebook.jobs.look import draw_kept

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
    """A batch against the shade somebody wanted.

    Attributes
    ----------
    batch : BatchFacts
    target : dict or None
    order : dict or None
        The batch's, else the target's.
    verdict : Verdict or None
        None without a target or a reading.
    """

    batch: BatchFacts
    target: dict | None
    order: dict | None
    verdict: object


def shade_facts(book, number, target=None, address=None):
    """Return what a customer is told of a batch.

    Parameters
    ----------
    book : dyebook.book.store.Book
    number : int
    target : str, optional
        Name of a target; the one the batch was judged by without it.
    address : str, optional
        See `batch_link`.

    Returns
    -------
    ShadeFacts

    Raises
    ------
    RecordError
        If there is no target of that name.
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

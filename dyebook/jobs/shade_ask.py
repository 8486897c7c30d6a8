"""Use cases of the shade page: which baths and shades the book offers, and the dips behind each bath."""

from dataclasses import dataclass

from dyebook.jobs.bath_line import MOST_DIPS
from dyebook.jobs.baths import bath_label
from dyebook.jobs.today import thrown_out_baths
from dyebook.lab import Lab

__all__ = ["KeptShade", "baths_with_dips", "shades_to_match"]


@dataclass(frozen=True)
class KeptShade:
    """A shade in the book that somebody wants matched.

    Attributes
    ----------
    name : str
    lab : Lab
    tolerance_de00 : float or None
    """

    name: str
    lab: Lab
    tolerance_de00: float | None = None


def baths_with_dips(book):
    """Return the newest dips with a reading of each bath that is still on the bench, by the bath's label.

    Parameters
    ----------
    book : dyebook.book.store.Book

    Returns
    -------
    dict of DataFrame
        As `Book.frame`; the bath dipped last comes first.
    """
    table = book.frame(newest=MOST_DIPS)
    gone = thrown_out_baths(book)
    groups = {}
    for (dye, bath), dips in table.groupby(["dye", "bath"], dropna=False):
        bath = bath if isinstance(bath, str) else None
        if (dye, bath) not in gone:
            groups[bath_label(dye, bath)] = dips.reset_index(drop=True)
    return dict(sorted(groups.items(), key=lambda item: -item[1]["batch"].max()))


def shades_to_match(book):
    """Return the targets of the book, and its customers' samples that no target stands for; newest first.

    Parameters
    ----------
    book : dyebook.book.store.Book

    Returns
    -------
    list of KeptShade
    """
    targets = book.rows("targets")
    found = [KeptShade(row["name"], Lab(row["L"], row["a"], row["b"]), row["tolerance_de00"]) for row in targets]
    stood_for = {row["sample_id"] for row in targets}
    for sample in book.rows("samples"):
        readings = [] if sample["id"] in stood_for else book.rows("readings", sample_id=sample["id"])
        if readings:
            last = readings[-1]
            found.append(KeptShade(sample["name"], Lab(last["L"], last["a"], last["b"])))
    return found[::-1]

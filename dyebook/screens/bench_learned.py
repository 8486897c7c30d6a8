"""The learned bath behind a dye bath's line, from the same store as the shade page's."""

from dyebook.jobs.shade_ask import bath_label
from dyebook.jobs.uptake import LEAST_DIPS
from dyebook.screens.shade_baths import baths_of, learned_or_none

__all__ = ["learned"]


def learned(book, row):
    """Return the bath learned from its dips; None where they are too few, or too alike, to teach it.

    Parameters
    ----------
    book : dyebook.book.store.Book
    row : dict or None
        A bath, with its ``dye``.
    """
    if row is None:
        return None
    label = bath_label(row["dye"], row["name"])
    dips = baths_of(book).get(label)
    if dips is None or len(dips) < LEAST_DIPS:
        return None
    # without one the line's basis says what uptake rests on instead
    return learned_or_none(str(book.place.name), label, dips)

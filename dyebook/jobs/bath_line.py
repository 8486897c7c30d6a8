"""The one strength of a dye bath, wherever it is shown: its line, uptake shared out by the learned bath."""

from datetime import date

from dyebook.errors import ModelError
from dyebook.jobs.baths import bath_label
from dyebook.jobs.strength_line import strength_line
from dyebook.jobs.uptake import LEAST_DIPS

__all__ = ["MOST_DIPS", "bath_line", "learned_or_none"]

# a bath is learned from its newest dips: with 150 of 400 the next dips are predicted 2 % worse, in half the time
MOST_DIPS = 150


def bath_line(book, bath_id, learn=None, now=None, newest=False):
    """Return the strength of a bath over time, a `StrengthLine`.

    Parameters
    ----------
    book : dyebook.book.store.Book
    bath_id : int
    learn : callable, optional
        Takes the bath's label and its newest dips, returns the learned bath or None; `learned_or_none` without it.
    now : datetime, optional
        With its zone.
    newest : bool
        Only points from the newest noted strength on.
    """
    bath = book.row("baths", bath_id)
    dye = book.row("dyes", bath["dye_id"])["name"]
    dips = book.frame(dye=dye, bath=bath["name"], newest=MOST_DIPS)
    # without a learned bath the line's basis says what uptake rests on instead
    model = (learn or learned_or_none)(bath_label(dye, bath["name"]), dips) if len(dips) >= LEAST_DIPS else None
    return strength_line(book, bath_id, model, now, newest)


def learned_or_none(_label, dips):
    """Return the bath as its dips teach it, as of today; None where they cannot, all of them alike for instance."""
    from dyebook.advice.learn import learn_bath

    try:
        return learn_bath(dips).as_of(date.today().isoformat())
    except ModelError:
        return None

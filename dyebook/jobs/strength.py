"""What baths hold today, on the scale on which their dips were written down: what a suggestion starts from."""

from datetime import datetime

from dyebook.jobs.strength_line import strength_line

__all__ = ["number_of_bath", "strength_today", "strengths_today"]


def strengths_today(book, frames):
    """Return the strength of each bath today in g/L, where it is known.

    Parameters
    ----------
    book : dyebook.book.store.Book
    frames : dict of DataFrame
        Dips as of `Book.frame`, by any label; those of one dye and one bath each.

    Returns
    -------
    dict of float
        By label. Dips of several baths, or of none that is named, are as strong as the last of them was noted.
    """
    numbers = _numbers(book)
    found = {label: strength_today(book, _bath_of(frame, numbers), frame) for label, frame in frames.items()}
    return {label: strength for label, strength in found.items() if strength is not None}


def number_of_bath(book, dips):
    """Return the number of the one bath that dips, as of `Book.frame`, went through; None where there are several."""
    return _bath_of(dips, _numbers(book))


def _numbers(book):
    """Numbers of the baths by dye and name."""
    dyes = {row["id"]: row["name"] for row in book.rows("dyes")}
    return {(dyes.get(row["dye_id"]), row["name"]): row["id"] for row in book.rows("baths")}


def _bath_of(frame, numbers):
    pairs = set(zip(frame["dye"], frame["bath"], strict=True))
    return numbers.get(pairs.pop()) if len(pairs) == 1 else None


def strength_today(book, bath_id, dips):
    """Return the strength of one bath today in g/L, or None where nothing tells it.

    Parameters
    ----------
    book : dyebook.book.store.Book
    bath_id : int or None
    dips : DataFrame
        Its dips with a reading, as of `Book.frame`.

    Returns
    -------
    float or None

    Notes
    -----
    What was noted last counts: a made-up, topped-up or measured strength, or else the strength that the last dip was
    written down with, less what that dip itself is reckoned to have taken. Many shops go on writing the strength a
    bath was made up to; the model has learned on that scale, and its drift knows how the bath has weakened since. The
    reckoned line itself would count that loss twice.
    """
    line = () if bath_id is None else strength_line(book, bath_id, newest=True).points
    points = [point for point in line if point.kind != "now"]
    last = _last_dip(dips)
    if last is None:
        return points[-1].dye_g_per_l if points else None
    if not points:
        return last[1]
    dipped_since = points[-1].kind == "dip" if last[0] is None else last[0] >= _moment(points[0].at)
    if not dipped_since:
        return points[-1].dye_g_per_l
    taken = points[-1].dye_g_per_l / points[-2].dye_g_per_l if points[-1].kind == "dip" else 1.0
    return last[1] * taken if taken > 0 else last[1]


def _last_dip(dips):
    """Moment (None where no dip has one) and strength of the last dip."""
    known = dips[dips["dye_g_per_l"].notna()]
    if known.empty:
        return None
    moments = [_moment(text) if isinstance(text, str) else None for text in known["dyed_at"]]
    dated = [place for place, moment in enumerate(moments) if moment is not None]
    place = max(dated, key=lambda one: (moments[one], one)) if dated else len(known) - 1
    return moments[place], float(known["dye_g_per_l"].iloc[place])


def _moment(iso):
    """Seconds since 1970; a moment without a zone is the shop's own time."""
    return datetime.fromisoformat(iso).astimezone().timestamp()

"""How the baths do, looked up anew only when the book has changed: a large book takes a moment over it."""

from datetime import date

from dyebook.jobs.today import look_at_baths
from dyebook.screens import work

__all__ = ["baths_now"]


def baths_now(book):
    """Return what `dyebook.jobs.today.look_at_baths` tells."""
    key = book.place.name, book.edition(), date.today().isoformat()
    return work.done("baths now", key, "Looking at the baths", lambda _: look_at_baths(book), most=4)

"""How the baths do, looked up anew only when the book has changed: a large book takes a moment over it."""

from datetime import date
from functools import partial

from dyebook.jobs.today import look_at_baths
from dyebook.screens import work
from dyebook.screens.shade_baths import learned_at_work

__all__ = ["baths_now"]


def baths_now(book):
    """Return what `dyebook.jobs.today.look_at_baths` tells."""
    learn = partial(learned_at_work, book.place.name)

    def look(job):
        return look_at_baths(book, learn=learn, progress=job)

    key = book.place.name, book.edition(), date.today().isoformat()
    return work.done("baths now", key, "Looking at the baths", look, most=4)

"""How a dye bath's line gets its learned bath: from the same store as the shade page's."""

from functools import partial

from dyebook.screens.shade_baths import learned_or_none

__all__ = ["learning"]


def learning(book):
    """Return what `dyebook.jobs.bath_line.bath_line` takes as `learn`."""
    return partial(learned_or_none, book.place.name)

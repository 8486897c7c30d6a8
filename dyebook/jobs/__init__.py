"""Use cases that join book, photo, physics and model; shell and screens call these.

`book` is an open `dyebook.book.store.Book` everywhere, `row` a row of it as a dict unless it says otherwise.
Work that takes a moment has an argument `progress`: called with words where a stage begins; what it raises ends the
work. One that learns baths has `learn`, as `dyebook.jobs.shade.learn_dips`: the app hands in baths it has learned.
A moment `at` or `now` is a datetime with its zone, or ISO text where it is written down as it was told; this moment
without it. `why` is the maker's reason to go on in spite of what is asked, and is kept. `asked` are further fields of
`ReadOptions`, as `dyebook.jobs.photo.read_options` takes them.
"""

__all__ = ["say_nothing"]


def say_nothing(*_words):
    """Take what work reports where no caller waits for it: the usual `progress`."""

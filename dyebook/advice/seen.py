"""One piece of evidence, as the table of causes takes it."""

from dataclasses import dataclass

from dyebook.advice.causes import STATES

__all__ = ["Seen", "sure"]


@dataclass(frozen=True)
class Seen:
    """One kind of evidence.

    Attributes
    ----------
    kind : str
        Key of the table of causes.
    chances : tuple of float
        How likely what was seen is under each state, in the table's order, up to a factor. For a kind of flaw: on how
        many parts it was seen, of how many looked at, and the largest ΔE00.
    words : str
        What was seen.
    """

    kind: str
    chances: tuple
    words: str


def sure(kind, state, words):
    """Return evidence whose state is beyond doubt."""
    return Seen(kind, tuple(float(name == state) for name in STATES[kind]), words)

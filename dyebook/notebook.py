"""How results show themselves, in words and as a notebook's HTML, without knowing the report that does it.

`physics` and `advice` hand over a code and its values; the sentence, and how a number is written in it, stand in
`report` alone. The package sets both makers when it is imported.
"""

__all__ = ["Drawn", "Note", "set_report"]

_report = {}


def set_report(word, draw):
    """Let `word(code, values)` give the text of every `Note`, `draw(result)` the HTML (or None) of every `Drawn`."""
    _report.update(word=word, draw=draw)


class Note(str):
    """A sentence about a result: `code` and `values` as they were found, its text as the report words them."""

    def __new__(cls, code: str, **values) -> "Note":
        note = super().__new__(cls, _report["word"](code, values))
        note.code, note.values = code, values
        return note

    def __getnewargs_ex__(self):
        return (self.code,), self.values


class Drawn:
    """A result that a notebook shows as rich HTML."""

    __slots__ = ()

    def _repr_html_(self):
        return _report["draw"](self)

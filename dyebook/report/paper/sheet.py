"""What a sheet of paper holds: swatches, pictures, pairs, tables, words, a code. Drawn as PDF and as HTML alike.

Photos are decoded and drawn anew, so that nothing of a file's own notes goes along.
"""

import unicodedata
from dataclasses import dataclass

from dyebook.lab import Lab, lab_to_srgb8

__all__ = [
    "OUTSIDE", "PAPERS_MM", "Code", "Pairs", "Picture", "Prose", "Ribbon", "Row", "Sheet", "Shown", "Swatches", "Table",
    "ink_of", "plain_text",
]  # fmt: skip

# width and height, ISO 216 and ANSI/ASME Y14.1 (A)
PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
OUTSIDE = "beyond screen and print: nearest shown"


@dataclass(frozen=True)
class Shown:
    """One colour as it is shown: `title` and `lines` stand below it; `lab` None leaves the patch empty."""

    title: str
    lab: Lab | None
    lines: tuple = ()


@dataclass(frozen=True)
class Swatches:
    """Colours side by side, touching, so that an eye can compare them; `items` are `Shown`."""

    items: tuple
    height_mm: float = 32.0


@dataclass(frozen=True)
class Picture:
    """A JPEG or PNG picture, at most `height_mm` high on paper, with what it shows in words."""

    data: bytes
    caption: str
    height_mm: float = 92.0


@dataclass(frozen=True)
class Pairs:
    """(label, text) pairs below a heading."""

    heading: str
    rows: tuple


@dataclass(frozen=True)
class Table:
    """A table whose head is repeated on each page; a cell is text or a `Lab`, drawn as a patch.

    `shares` are the widths of the columns against each other; `right` names the columns of figures, from 0.
    """

    heading: str
    head: tuple
    rows: tuple
    shares: tuple
    right: frozenset = frozenset()


@dataclass(frozen=True)
class Prose:
    """Paragraphs below a heading; `size` is "normal", "small" or "large"."""

    lines: tuple
    heading: str = ""
    size: str = "normal"


@dataclass(frozen=True)
class Ribbon:
    """Small patches in a row in the order of time, some of them None; `ends` are words below its two ends."""

    heading: str
    labs: tuple
    ends: tuple = ("", "")


@dataclass(frozen=True)
class Code:
    """A square code for a phone, with words beside it."""

    text: str
    caption: str


@dataclass(frozen=True)
class Row:
    """Columns beside each other: pairs of a share of the width and blocks, which stand below each other."""

    columns: tuple


@dataclass(frozen=True)
class Sheet:
    """One document."""

    # title, lead, corner: large at the top, below it, and at the right
    title: str
    lead: str
    corner: str
    rows: tuple
    foot: str = ""  # at the bottom of each page
    one_page: bool = False  # pictures shrink until all of it fits onto one page


def ink_of(lab):
    """Return the nearest (red, green, blue) codes of a colour, and whether screen and print cannot show it."""
    codes, outside = lab_to_srgb8(lab)
    return tuple(int(code) for code in codes), bool(outside)


def plain_text(text) -> str:
    """Return text without characters that no page can show: controls, halves of pairs; line ends stay."""
    kept = (character for character in str(text) if character == "\n" or unicodedata.category(character)[0] != "C")
    return "".join(kept)

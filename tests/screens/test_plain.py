"""Free text is shown as it was typed, on every page that draws it."""

import pytest

from dyebook.book.store import open_book
from dyebook.jobs.orders import answer_order, set_target, take_order
from dyebook.lab import Lab
from dyebook.record import DyeRecord, Reading
from dyebook.report.words import plain

SIGNS = "1~2 3~4 *b* _i_ **s** `c` [l](x) ![p](x) $m$ :red[r] :smile: <b>x</b> https://x.y www.x.y # h"
PAGES = [
    *(("today", {}), ("book", {}), ("book", {"batch": "1"}), ("book", {"batch": "2"}), ("orders", {})),
    *(("orders", {"order": "1"}), ("baths", {}), ("bench", {}), ("trouble", {}), ("trouble", {"batch": "2"})),
    *(("shade", {}), ("camera", {}), ("settings", {})),
]


@pytest.fixture
def signs_everywhere(empty_book):
    """A book whose every free text holds every sign."""
    with open_book(empty_book, who=f"who {SIGNS}") as book:
        words = {name: f"{name} {SIGNS}" for name in ("dye", "bath", "alloy", "finish", "note")}
        for lightness in (40, 42):
            reading = Reading(Lab(lightness, 5, -30), (0.5, 0.5, 0.5), (1, 1, 1))
            figures = {"film_um": 12, "dye_g_per_l": 3, "bath_temp_c": 50, "dwell_min": 6}
            book.add_batch(DyeRecord(**words, **figures, readings=(reading,)))
        book.correct_batch(1, {"note": f"anew {SIGNS}"})
        order = take_order(book, f"order {SIGNS}", f"customer {SIGNS}", f"words {SIGNS}")
        set_target(book, order, Lab(41, 5, -30), 2.0)
        answer_order(book, order, 2)
        book.set_setting("shop", f"shop {SIGNS}"[:60])
    return empty_book


def drawn_texts(block):
    """(kind, text) of all that a page draws, labels and help too."""
    for one in block.children.values():
        if hasattr(one, "children"):
            yield from drawn_texts(one)
        else:
            for name in ("body", "label", "help"):
                text = getattr(one.proto, name, None)
                if isinstance(text, str):
                    yield one.type, text


@pytest.mark.parametrize(("name", "address"), PAGES)
def test_no_page_takes_free_text_for_markdown_or_html(signs_everywhere, open_page, name, address):
    page = open_page(name, **address)
    assert not page.exception
    for kind, text in drawn_texts(page._tree):
        if kind == "html":
            assert "<b>x" not in text
        else:
            # all signs are there, and each is escaped
            assert "1~2" not in text, (kind, text)
            assert "*b*" not in text, (kind, text)


@pytest.mark.parametrize("sign", ["~", "*", "`", "[", "]", "<", ">", "$", "\\"])
def test_every_sign_is_escaped_wherever_it_stands(sign):
    assert plain(f"a{sign}b") == f"a\\{sign}b"
    assert plain(f"{sign}a") == f"\\{sign}a"


def test_what_only_looks_like_signs_stays():
    for text in (
        "dye_g_per_l",
        "5.5 min, 2.0 at most",
        "ΔE00 1.2 ± 0.3",
        "12:30",
        "a - b",
        "5 #1",
        "L*".replace("*", ""),
    ):
        assert plain(text) == text


def test_lines_do_not_become_lists_or_headings():
    assert [plain(text) for text in ("# a", "- a", "+ a", "1. a", "2) a")] == [
        "\\# a",
        "\\- a",
        "\\+ a",
        "1\\. a",
        "2\\) a",
    ]

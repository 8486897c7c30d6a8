"""The pages offer what is printed, and what they offer is a sheet."""

import pytest

from dyebook.book.store import open_book
from dyebook.report.paper.labels import GRIDS
from dyebook.report.photo import PHOTO_TIPS, PHOTO_TITLE
from dyebook.screens import paper


def _offered(page):
    return {element.proto.label for element in page.get("download_button")}


def test_a_batch_offers_card_note_and_label(demo_shop, open_page):
    page = open_page("book", batch="85")
    assert not page.exception
    assert {"Batch card", "Batch card as a page", "Shade note for the customer", "Bag labels"} <= _offered(page)


def test_a_bath_offers_its_log_and_the_book_its_months(demo_shop, open_page):
    with open_book(demo_shop) as book:
        bath_id = book.rows("baths")[0]["id"]
    assert {"Bath log", "Bath log as a page"} <= _offered(open_page("baths", bath=str(bath_id)))
    assert {"Summary", "Summary as a page"} <= _offered(open_page("book"))


@pytest.mark.parametrize("size", ["a4", "letter"])
def test_what_is_offered_is_made(demo_shop, size):
    with open_book(demo_shop) as book:
        sheets = (
            paper.card_file(book, 85, ".pdf", size, None),
            paper.note_file(book, 85, size),
            paper.bath_file(book, 1, ".pdf", size),
            paper.month_file(book, "2026-10", ".pdf", size),
            paper.label_file(book, 85, GRIDS["letter-3x10"], None, 40, 5),
        )
        page = paper.card_file(book, 85, ".html", size, None)
    assert all(sheet.startswith(b"%PDF") for sheet in sheets)
    assert page.startswith(b"<!DOCTYPE html>")


def test_the_shops_paper_is_set_once(empty_book, open_page):
    page = open_page("settings")
    page.selectbox(key="setting_paper").set_value("letter")
    page.button(key="keep_settings").click().run()
    with open_book(empty_book) as book:
        assert book.setting("paper") == "letter"
    offered = [one.proto.label for one in open_page("camera").get("download_button")]
    assert offered == ["Mat to print"], "one button, on that paper"


def test_the_photo_page_tells_how_to_photograph_shiny_parts(empty_book, open_page):
    page = open_page("photo")
    assert PHOTO_TITLE in [one.label for one in page.expander]
    assert all(f"- {tip}" in [one.value for one in page.markdown] for tip in PHOTO_TIPS)

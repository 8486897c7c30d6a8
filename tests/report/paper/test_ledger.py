"""The log of a bath and the summary of a month: everything once, in order, over as many pages as it takes."""

import re

import pytest

from dyebook.errors import BookError, RecordError
from dyebook.jobs.baths import bath_called
from dyebook.jobs.paper import bath_facts, month_facts
from dyebook.report.paper.html import sheet_bytes
from dyebook.report.paper.ledger import bath_sheet, month_sheet
from tests.report.paper.conftest import dip


def test_the_log_tells_every_dip_and_event_in_order(shop, look):
    words = look(sheet_bytes(bath_sheet(bath_facts(shop, bath_called(shop, "E1")["id"])), ".pdf")).words()
    assert "Bath E1" in words
    assert "made up 1 Oct 2026, 08:00" in words
    order = re.findall(r"batch \d+|topped up(?=[^,])", words[words.index("Log") :])
    assert order == ["batch 1", "batch 2", "batch 3", "batch 4", "topped up", *(f"batch {n}" for n in range(5, 9))]
    assert "licensed carrier" in words


def test_a_long_log_goes_over_pages_with_its_head_on_each(fresh_book, look):
    for number in range(120):
        fresh_book.add_batch(dip(lab=(50, 30, 30), dyed_at=f"2026-{1 + number // 28:02d}-{1 + number % 28:02d}"))
    seen = look(sheet_bytes(bath_sheet(bath_facts(fresh_book, 1), blank_lines=0), ".pdf"))
    assert len(seen) > 2
    assert all("when what g/L pH" in seen.words(page) for page in range(len(seen)))
    answer = re.findall(r"batch (\d+)", seen.words())
    assert answer == [str(number) for number in range(1, 121)]


def test_a_bath_nobody_made_up_has_a_log_too(fresh_book, look):
    fresh_book.add_batch(dip())
    assert "make-up not noted" in look(sheet_bytes(bath_sheet(bath_facts(fresh_book, 1)), ".pdf")).words()


def test_baths_are_found_by_name_and_by_dye_where_needed(fresh_book):
    fresh_book.add_batch(dip(dye="Ember", bath="1"))
    fresh_book.add_batch(dip(dye="Heather", bath="1"))
    with pytest.raises(BookError, match="2 baths are called '1'; write it as one of: Ember, 1; Heather, 1"):
        bath_called(fresh_book, "1")
    assert bath_called(fresh_book, "1", "Heather")["id"] == 2
    with pytest.raises(BookError, match="no bath is called '2'; write it as one of: Ember, 1; Heather, 1"):
        bath_called(fresh_book, "2")


def test_a_month_adds_up(shop, look):
    facts = month_facts(shop, "2026-10")
    words = look(sheet_bytes(month_sheet(facts), ".pdf")).words()
    for piece in ("October 2026", "8 batches", "failed 1", "passed 1", "median difference ΔE00 2.5"):
        assert piece in words, piece
    assert "Ember E1 8 8 1 1" in words, "batches, read, passed, off"
    assert "area 10.5 dm²" in words
    assert "of 7 batches whose area is noted" in words
    assert "Failed: ΔE00 4.2, seen at a glance, against lamp orange" in words
    assert "due Lamp knobs, a lamp maker" in words


def test_a_month_holds_its_first_and_last_day_and_no_other(fresh_book):
    for day in ("2026-01-31T23:59", "2026-02-01", "2026-02-28T23:59", "2026-03-01"):
        fresh_book.add_batch(dip(dyed_at=day))
    assert [row.batch for row in month_facts(fresh_book, "2026-02").batches] == [2, 3]


def test_an_empty_month_is_a_page_of_nothing(fresh_book, look):
    assert "no batches" in look(sheet_bytes(month_sheet(month_facts(fresh_book, "2026-02")), ".pdf")).words()


@pytest.mark.parametrize("month", ["2026-13", "2026", "October", "0000-01"])
def test_what_is_no_month_is_refused(fresh_book, month):
    with pytest.raises(RecordError, match="write year and month"):
        month_facts(fresh_book, month)

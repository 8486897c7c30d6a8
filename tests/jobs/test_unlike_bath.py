"""A colour that no dip of a bath could give is asked about, and teaches nothing until somebody says yes."""

import pytest

from dyebook.book.store import open_book
from dyebook.jobs.verdict import UNLIKE_BATH, unlike_bath, vouch_for
from dyebook.record import DyeRecord

BLUES = ((55, 2, -25), (45, 6, -35), (35, 12, -42))
YELLOW, PALE, DEEP = (70, 5, 60), (78, -1, -4), (14, 6, -9)


@pytest.fixture
def book(tmp_path):
    """A book with three blue dips of one bath."""
    with open_book(tmp_path / "shop.dyebook") as book:
        for minutes, lab in enumerate(BLUES, start=2):
            _dip(book, minutes, lab)
        yield book


def _dip(book, minutes, lab):
    number = book.add_batch(
        DyeRecord("Harbour", bath="B1", film_um=12, dye_g_per_l=3, bath_temp_c=50, dwell_min=minutes)
    )
    book.add_reading(number, lab=lab)
    return number


def test_only_another_hue_is_unlike_a_bath(book):
    assert unlike_bath(book, "Harbour", "B1", YELLOW) in [pytest.approx(one) for one in BLUES]
    for lab in (*BLUES, PALE, DEEP, (40, 20, -40)):
        assert unlike_bath(book, "Harbour", "B1", lab) is None
    assert unlike_bath(book, "Harbour", "B2", YELLOW) is None, "a bath that was never read says nothing"


def test_a_doubted_reading_teaches_nothing_until_a_yes(book):
    number = _dip(book, 6, YELLOW)
    vouch_for(book, number, sure=False)
    assert UNLIKE_BATH in book.rows("readings", batch_id=number)[0]["flags"]
    assert number not in set(book.frame(bath="B1")["batch"])
    vouch_for(book, number)
    assert book.rows("readings", batch_id=number)[0]["flags"] == []
    assert number in set(book.frame(bath="B1")["batch"])

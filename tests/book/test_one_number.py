"""A run and the batch that comes of it bear one number."""

import pytest

from dyebook.book.store import open_book
from dyebook.jobs.run import plan_run
from dyebook.jobs.wet import keep_batch, take_part
from dyebook.record import DyeRecord

DIP = {"dye_g_per_l": 3.0, "bath_temp_c": 50.0, "dwell_min": 5.0}


@pytest.fixture
def book(tmp_path):
    """An empty book."""
    with open_book(tmp_path / "shop.dyebook") as book:
        yield book


def _plan(book):
    return plan_run(book, area_dm2=2.0, current_a=3.0, film_um=12.0, minutes=24.4)


def test_a_run_keeps_its_number_while_others_are_written_down(book):
    first, second = _plan(book), _plan(book)
    written = book.add_batch(DyeRecord("Ember", film_um=12, **DIP))
    part = take_part(book, 10.0)
    assert len({first, second, written, part}) == 4
    for run in (part, second, first):
        assert keep_batch(book, run, dye="Ember", bath="E1", dip=DIP, why="in one go") == run
    assert book.row("batches", written)["run_id"] == written


def test_a_second_batch_of_a_run_gets_a_number_that_no_run_has(book):
    run = _plan(book)
    assert book.add("batches", run_id=run) == run
    other = book.add("batches", run_id=run)
    assert other not in {row["id"] for row in book.rows("runs")}
    assert _plan(book) > other


def test_imported_batches_bear_the_numbers_of_their_runs(book, tmp_path):
    _plan(book)
    table = tmp_path / "old.csv"
    table.write_text("dye,film_um,dye_g_per_l,bath_temp_c,dwell_min\nEmber,12,3,50,5\nEmber,10,3,50,6\n")
    book.import_file(table)
    assert [(row["id"], row["run_id"]) for row in book.rows("batches")] == [(2, 2), (3, 3)]

"""Times in the shop's own zone: on the pages, on paper and in the shell, whatever zone the machine is in."""

import time
from datetime import UTC, datetime, timedelta

import pytest
from typer.testing import CliRunner

from dyebook.book.store import open_book
from dyebook.jobs import run as bench
from dyebook.jobs import wet
from dyebook.shell.main import app
from dyebook.units import ZONE
from tests.screens.words_on import texts_of

# half past midnight in Tokyo, which keeps no summer time: 9 hours before UTC, and another day than in Denver
STARTED = datetime(2026, 7, 14, 15, 30, tzinfo=UTC)


@pytest.fixture
def far_shop(empty_book, monkeypatch):
    """A run and a batch of a shop in Tokyo, in a book on a machine in Denver."""
    monkeypatch.setenv("TZ", "America/Denver")
    time.tzset()
    with open_book(empty_book) as book:
        book.set_setting("time_zone", "Asia/Tokyo")
        number = bench.plan_run(book, area_dm2=2.0, current_a=3.0, film_um=12.0, minutes=30.0, film_by="720")
        bench.start_run(book, number, at=STARTED)
        bench.finish_run(book, number, at=STARTED + timedelta(minutes=30))
        settings = {"dye_g_per_l": 3.0, "bath_temp_c": 50.0, "dwell_min": 5.0}
        wet.keep_batch(book, number, dye="Ember", bath="E1", dip=settings, dyed_at="2026-07-14T16:10+00:00")
    yield empty_book
    ZONE.set(None)
    monkeypatch.undo()
    time.tzset()


def test_a_page_shows_run_and_dip_on_the_shops_clock(far_shop, open_page):
    text = texts_of(open_page("book", batch="1"))
    assert "15 Jul 2026, 00:30" in text
    assert "15 Jul 2026, 01:10" in text


def test_the_shell_does_too(far_shop):
    assert "15 Jul 2026, 00:30" in CliRunner().invoke(app, ["run", "list", "--book", str(far_shop)]).stdout


def test_paper_does_too(far_shop, tmp_path):
    card = tmp_path / "card.html"
    assert not CliRunner().invoke(app, ["card", "1", str(card), "--book", str(far_shop)]).exception
    assert "15 Jul 2026, 01:10" in card.read_text(encoding="utf-8")


def test_what_is_kept_now_holds_its_offset_and_is_today_in_the_shop(far_shop, open_page):
    page = open_page("orders")
    page.text_input(key="order_name").set_value("Lamp knobs")
    page.button(key="take_order").click().run()
    page.button(key="close_order").click().run()
    with open_book(far_shop) as book:
        kept = datetime.fromisoformat(book.row("orders", 1)["done_at"])
    assert kept.utcoffset() == timedelta(hours=9)
    assert abs(kept - datetime.now(UTC)) < timedelta(minutes=3)
    assert f"{kept:%H:%M}" in texts_of(page)

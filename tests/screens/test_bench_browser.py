"""A run in a real browser: it goes on over a reload and a restart of the app, and rings at its end."""

import re
import time
from datetime import timedelta

import pytest

from dyebook.book.store import open_book
from dyebook.jobs import run as bench

pytestmark = pytest.mark.browser

PATIENCE_MS = 20_000
# the large one; the bar above shows every clock of the shop small
_CLOCK = ".clock:not(.small)"


@pytest.fixture
def page(chromium, address):
    """A phone's page, with its errors collected."""
    context = chromium.new_context(viewport={"width": 390, "height": 800}, has_touch=True)
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    page.faults = []
    page.on("pageerror", lambda error: page.faults.append(str(error)))
    yield page
    context.close()
    assert not page.faults


def _type(page, label, text):
    box = page.get_by_role("textbox", name=label, exact=True)
    box.fill(text)
    box.press("Enter")


def _seconds(page):
    """What the clock shows, in seconds."""
    pieces = page.locator(_CLOCK + " .time").inner_text().lstrip("+").split(":")
    return sum(int(piece) * 60**place for place, piece in enumerate(reversed(pieces)))


def test_a_run_goes_on_over_reload_and_restart(page, served):
    page.goto(f"{served.address}/bench?step=plan")
    _type(page, "Area, dm²", "2")
    page.get_by_role("button", name="Keep plan: 3.00 A").click()
    page.get_by_role("button", name="Start: 3.00 A").click()
    page.get_by_role("heading", name=re.compile(r"Run \d+ is on")).wait_for()
    page.locator(_CLOCK + " .time", has_text=re.compile(r"\d\d:\d\d")).wait_for()
    first = _seconds(page)
    # 12 µm at 1.5 A/dm² take 24.4 min by the 720 rule, and more by the shop's own gauge readings
    assert 25 * 60 < first < 32 * 60

    page.wait_for_timeout(1500)
    page.reload()
    page.get_by_role("heading", name=re.compile(r"Run \d+ is on")).wait_for()
    page.locator(_CLOCK + " .time", has_text=re.compile(r"\d\d:\d\d")).wait_for()
    second = _seconds(page)
    assert second < first

    served.stop()
    served.start()
    page.goto(f"{served.address}/bench")
    page.get_by_role("heading", name=re.compile(r"Run \d+ is on")).wait_for()
    page.locator(_CLOCK + " .time", has_text=re.compile(r"\d\d:\d\d")).wait_for()
    assert _seconds(page) < second
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_it_rings_at_the_end_until_it_is_hushed(page, served):
    with open_book(served.book) as book:
        number = bench.plan_run(book, area_dm2=2.0, current_a=3.0, film_um=12.0, minutes=24.4)
        # 12 µm are reached after 24.41 min: two seconds from now
        bench.start_run(book, number, at=bench.this_moment() - timedelta(minutes=24.37))
    page.goto(f"{served.address}/bench?step=run")
    page.get_by_text(f"Run {number} has reached its film. Supply off").wait_for()
    page.get_by_role("button", name="Quiet").click()
    page.get_by_text(f"Run {number} has reached its film. Supply off").wait_for(state="hidden")
    page.wait_for_timeout(6000)
    assert not page.get_by_text(f"Run {number} has reached its film. Supply off").is_visible(), "hushed is hushed"
    with open_book(served.book) as book:
        bench.drop_run(book, number)


@pytest.mark.parametrize(("can", "answer"), [(True, "The screen stays on"), (False, "A sleeping phone cannot ring")])
def test_beside_the_clock_it_is_said_whether_the_screen_stays_on(page, served, can, answer):
    lock = "{ request: async () => ({ released: false, release() {} }) }" if can else "undefined"
    # a page by plain HTTP from the shop's network has no such thing
    page.add_init_script(f"Object.defineProperty(navigator, 'wakeLock', {{ value: {lock} }})")
    with open_book(served.book) as book:
        number = bench.plan_run(book, area_dm2=2.0, current_a=3.0, film_um=12.0, minutes=24.4)
        bench.start_run(book, number)
    page.goto(f"{served.address}/bench?step=run")
    page.get_by_text(answer).wait_for()
    assert page.locator(_CLOCK + " .awake").count() == 1
    with open_book(served.book) as book:
        bench.drop_run(book, number)


def test_a_phone_that_slept_shows_the_right_time(page, served):
    with open_book(served.book) as book:
        number = bench.plan_run(book, area_dm2=2.0, current_a=3.0, film_um=12.0, minutes=24.4)
        bench.start_run(book, number)
    page.goto(f"{served.address}/bench?step=run")
    page.locator(_CLOCK + " .time", has_text=re.compile(r"\d\d:\d\d")).wait_for()
    before = _seconds(page)
    phone = page.context.new_cdp_session(page)
    phone.send("Page.setWebLifecycleState", {"state": "frozen"})
    time.sleep(6)
    phone.send("Page.setWebLifecycleState", {"state": "active"})
    page.wait_for_timeout(600)
    assert before - 12 <= _seconds(page) <= before - 6
    with open_book(served.book) as book:
        bench.drop_run(book, number)

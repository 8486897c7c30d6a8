"""Four whole days in a real browser: taps counted, nothing typed twice, what is next in sight without scrolling."""

import os
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from dyebook.book.store import open_book
from dyebook.jobs import run as bench
from dyebook.jobs.trouble import target_for
from dyebook.jobs.wet import mark_step, steps_of
from dyebook.record import is_empty
from dyebook.report.baths import plan_text
from dyebook.report.words import value_text
from dyebook.screens.settings import texts_of
from tests.screens.browsing import DRAWN, open_context, settle
from tests.screens.conftest import ROOT, ServedApp

pytestmark = pytest.mark.browser

PHOTOS = ROOT / "dyebook" / "demo" / "photos"
PATIENCE_MS = 90_000


class Walk:
    """A person's way through the app by what stands on its buttons; typing counts no taps, and each field once."""

    def __init__(self, page, app, name, start):
        self.page, self.app, self.name = page, app, name
        self.taps, self.shots, self.typed = 0, 0, set()
        page.set_default_timeout(PATIENCE_MS)
        page.goto(f"{app.address}{start}")
        page.get_by_role("link", name="Today").first.wait_for()
        self.arrive()

    def tap(self, name, role="button", then=None, exact=False):
        """Press what bears a name, which is shown without scrolling. `then`: what follows it."""
        what = self.page.get_by_role(role, name=name, exact=exact).first
        what.wait_for()
        self.page.locator(DRAWN).wait_for()
        self.sees(what, name)
        what.click()
        self.taps += 1
        if then is not None:
            self.page.get_by_role("button", name=then).first.wait_for()
        self.arrive()

    def sees(self, what, name):
        """Look that something comes to stand on the screen without scrolling."""
        for _ in range(20):
            box = what.bounding_box()
            if box and box["y"] >= 0 and box["y"] + box["height"] <= self.page.viewport_size["height"]:
                return
            self.page.wait_for_timeout(250)
        pytest.fail(f"{name} is out of sight: {box}")

    def go(self, page):
        """Turn to a page by the ways, through More where it lies there."""
        link = self.page.get_by_role("link", name=page, exact=True)
        while not link.count() or not link.first.is_visible():
            self.tap("More")
            self.page.wait_for_timeout(300)
        self.tap(page, role="link", exact=True)

    def type(self, label, text, role="textbox"):
        """Fill a field that the day has not asked before."""
        assert label not in self.typed, f"{label} is typed twice"
        self.typed.add(label)
        box = self.page.get_by_role(role, name=label, exact=role == "textbox").first
        box.fill(text)
        box.press("Enter")
        self.arrive()

    def holds(self, **fields):
        """Look that fields of the bench hold what another page knew, by the key they end in."""
        for key, text in fields.items():
            box = self.page.locator(f"[class*='_{key} '] input[value='{text}']")
            box.first.wait_for(state="attached")

    def photograph(self, name):
        """Give the photo that the page asks for, as a camera would."""
        self.page.locator("input[type=file]").first.set_input_files(PHOTOS / name)
        self.taps += 1
        self.page.get_by_role("button", name="Take another instead").wait_for()
        self.page.get_by_text(re.compile(r"^L\* \d")).first.wait_for()
        self.arrive()

    def wait(self, minutes):
        """Let minutes pass: the run or the wet step that is on began earlier than it did."""
        with open_book(self.app.book) as book:
            row = book.rows("runs")[-1]
            begun = [name for name, (_, ended) in steps_of(row).items() if ended is None]
            if begun:
                planned = row["trace"]["steps"][begun[-1]]["minutes"]
                at = datetime.now(UTC) - timedelta(minutes=minutes)
                mark_step(book, row["id"], begun[-1], at=at, minutes=planned)
            else:
                put_back(book, row, minutes)
        self.page.reload()
        self.page.locator(".clock:not(.small) .time", has_text=re.compile(r"\d:\d\d")).wait_for()
        self.arrive()

    def arrive(self):
        """Look at where a step has led: nothing is broken, nothing too wide; a picture where a folder is named."""
        settle(self.page)
        assert not self.page.locator("[data-testid=stException]").count()
        assert self.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), "it scrolls sideways"
        assert not self.page.faults
        if folder := os.environ.get("DYEBOOK_SCREENSHOTS"):
            self.shots += 1
            self.page.wait_for_timeout(400)
            self.page.screenshot(path=Path(folder) / f"{self.name}_{self.shots:02}.png")


def put_back(book, row, minutes):
    """Begin a run earlier than it was: nobody waits for a film in a test."""
    begun = (bench.this_moment() - timedelta(minutes=minutes)).isoformat()
    notes = [{**note, "at": begun} for note in row["trace"]["notes"]]
    book.correct("runs", row["id"], {"started_at": begun, "trace": {**row["trace"], "notes": notes}})


@pytest.fixture
def walk(request, chromium, size):
    """Begin a way through an app."""
    scheme = os.environ.get("DYEBOOK_SCHEME", "light")
    page = open_context(chromium, size, scheme)
    name = f"{request.node.name.partition('[')[0].removeprefix('test_')}_{size}_{scheme}"
    yield lambda app, start="": Walk(page, app, name, start)
    if folder := os.environ.get("DYEBOOK_SCREENSHOTS"):
        # as it was left, by a test that failed too
        page.screenshot(path=Path(folder) / f"{name}_end.png", full_page=True)
    page.context.close()


@pytest.fixture
def new_shop(tmp_path):
    """The app on a book that is not begun."""
    app = ServedApp(tmp_path, tmp_path / "shop.dyebook")
    app.start()
    yield app
    app.stop()


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_a_new_shop(walk, new_shop, size):
    """Acid, dye bath, order, area, plan, run, gauge, dye, photo, verdict; every figure is typed once."""
    day = walk(new_shop)
    day.tap("Write down a bath")
    day.tap("Electrolyte", role="radio")
    day.type("Electrolyte in the book", "Tank 1", role="combobox")
    day.tap("Made up: into the book")
    day.tap("Dye", role="radio", exact=True)
    for label, text in (("Dye", "Ember"), ("Bath", "E1"), ("Volume, L", "2"), ("Strength, g/L", "3")):
        day.type(label, text)
    day.type("Kept at, °C", "50")
    day.tap("Enter this bath")
    day.go("Orders")
    day.type("What is to be dyed", "Lamp knobs")
    day.tap("Take the order")
    day.type("Or type it", "43, 39, 42")
    day.tap("Agree on this shade")
    day.go("Bench")
    day.tap("Plan", role="radio")
    day.page.get_by_text("Add the area up from shapes").click()
    day.arrive()
    day.tap("Add to the load", then="Take out")
    day.tap("Plan a run with 0.38 dm²")
    # a rod of 20 x 50 mm: 2 π 10² + π 20 50 mm², and the tank that was just made up
    day.holds(area_dm2="0.377", order="Lamp knobs", electrolyte="Tank 1")
    before = day.taps
    day.tap("Keep plan: ", then="Done")
    ticks = ("Clean", "Etch")
    for step in ticks:
        day.page.locator(".wetstep").first.get_by_text(step).wait_for()
        day.tap("Done")
    day.tap("Start: ", then="End the run")
    assert day.taps - before - len(ticks) <= 3, "plan and start"
    day.wait(25)
    before = day.taps
    day.tap("End the run", then="Out, into the dye")
    day.holds(bath="Ember, E1", dye_g_per_l="3", bath_temp_c="50")
    day.tap("Out, into the dye", then="Out, into the rinse")
    day.wait(5)
    day.tap("Out, into the rinse", then="Out, into the seal")
    day.wait(1)
    day.tap("Out, into the seal", then="Out of the seal")
    day.wait(30)
    day.tap("Out of the seal: into the book")
    day.page.get_by_text("Batch 1 is in the book").wait_for()
    day.photograph("batch_78.jpg")
    day.tap("Keep with batch 1")
    assert day.taps - before <= 7, "from the run's end to the reading"
    # one photo under a lamp does not decide; its maker does
    day.tap("Pass it", then="Take the decision back")
    day.tap("Run", role="radio")
    day.page.get_by_text("Film gauge and seal test").wait_for()
    day.type("Gauge readings, µm", "11.8 12.1 12.0")
    day.tap("Keep the readings")
    day.page.get_by_text("By gauge so far").wait_for()
    day.tap("Photo", role="radio")
    day.tap("Delivered: Lamp knobs", then="Take an order")
    with open_book(new_shop.book) as book:
        row, order = book.batch(1), book.row("orders", 1)
        assert (row.dye, row.bath, row.bath_temp_c) == ("Ember", "E1", 50)
        assert row.film_measured_um == pytest.approx((11.8 + 12.1 + 12.0) / 3, abs=0.01)
        assert row.dwell_min == pytest.approx(5, abs=0.5)
        assert book.row("runs", row.batch)["electrolyte_id"] == 1
        assert order["done_at"]


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_from_a_customers_sample_to_a_delivered_part(walk, served, size):
    """The first dip is too short and goes back into the dye once."""
    day, job = walk(served, "/orders"), f"Oar sleeves, {size}"
    day.type("What is to be dyed", job)
    day.tap("Take the order")
    day.type("Tolerance, ΔE00", "5")
    day.tap("Photograph the customer's piece")
    day.photograph("batch_79.jpg")
    day.tap("Take it as the shade to reach", then="What to set for it")
    before = day.taps
    day.tap("What to set for it", then="Dye with these")
    day.tap("Dye with these", then="Keep plan")
    waits = day.page.locator("p", has_text="Waits here").inner_text()
    temp, dwell, strength, film = re.search(r"(\d+ °C), (\S+) min, (\S+ g/L), film (\S+ µm)", waits).groups()
    day.holds(film_um=film, order=job)
    day.type("Area, dm²", "2")
    day.tap("Keep plan: ")
    day.tap("Start: ")
    day.wait(45)
    day.tap("End the run", then="Out, into the dye")
    day.holds(bath="Harbour blue, B1", bath_temp_c=temp, dwell_min=dwell, dye_g_per_l=strength)
    day.tap("Out, into the dye", then="Out, into the rinse")
    # of them plan, start and end of the run
    assert day.taps - before - 3 <= 5, "sample to settings at the clock"
    day.wait(3)
    day.tap("Out, into the rinse", then="Into the book as it is")
    day.tap("Into the book as it is")
    day.page.get_by_text(re.compile(r"Batch \d+ is in the book")).wait_for()
    day.photograph("batch_80.jpg")
    day.tap("Keep with batch", then="Back into the dye")
    # one photo under a lamp may not decide; its maker sees that it is too pale
    day.tap("Back into the dye", exact=True, then="What now?")
    day.tap("What now?")
    day.tap("wet all the time", role="radio", then="Back into the dye, ")
    again = day.page.get_by_role("button", name="Back into the dye, ").inner_text()
    day.tap("Back into the dye, ", then=re.compile("Into the dye"))
    day.holds(bath="Harbour blue, B1", dwell_min=re.search(r"(\d+:\d\d)", again)[1])
    day.tap(re.compile("Into the dye"), then="Out, into the rinse")
    day.wait(9)
    day.tap("Out, into the rinse", then="Out, into the seal")
    day.tap("Out, into the seal", then="Out of the seal")
    day.wait(30)
    day.tap("Out of the seal: into the book")
    day.page.get_by_text(re.compile(r"Batch \d+ is in the book")).wait_for()
    day.photograph("batch_79.jpg")
    day.tap("Keep with batch")
    day.tap("Pass it", then="Take the decision back")
    day.tap(f"Delivered: {job}", then="All orders")
    with open_book(served.book) as book:
        row = book.batches()[0]
        number = book.row("batches", row.batch)["order_id"]
        assert book.row("orders", number)["name"] == job
        assert book.row("orders", number)["done_at"]
        assert book.rows("targets", order_id=number)[-1]["tolerance_de00"] == 5, "typed before the photo"
        assert row.dwell_min == pytest.approx(12, abs=1), "the 3 min before count with the 9 after"


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_an_old_order_repeated(walk, served, size):
    """What a batch was dyed at stands in plan and dip; nothing but the area of the load is typed."""
    day = walk(served, "/book?batch=82")
    with open_book(served.book) as book:
        old = book.batch(82)
    day.tap("Repeat this batch", then="Keep plan")
    day.holds(film_um=f"{old.film_um:g} µm", **_words_of(old))
    day.type("Area, dm²", "2")
    before = day.taps
    day.tap("Keep plan: ", then="Done")
    day.tap("Start: ", then="End the run")
    assert day.taps - before <= 3
    day.wait(30)
    day.tap("End the run", then="Out, into the dye")
    day.holds(bath=f"{old.dye}, {old.bath}", **_settings_of(old))
    day.tap("Out, into the dye", then="Out, into the rinse")
    day.wait(6)
    day.tap("Out, into the rinse", then="Out, into the seal")
    day.tap("Into the book as it is")
    day.page.get_by_text(re.compile(r"Batch \d+ is in the book")).wait_for()
    day.photograph("batch_82.jpg")
    day.tap("Keep with batch", then="The next run")
    with open_book(served.book) as book:
        row = book.batches()[0]
    assert (row.dye, row.bath, row.readings) == (old.dye, old.bath, 1)
    assert (row.alloy, row.finish) == (old.alloy, old.finish)
    assert row.bath_temp_c == pytest.approx(old.bath_temp_c, abs=0.5)
    assert row.dwell_min == pytest.approx(old.dwell_min, abs=0.5)


def _settings_of(row):
    """What the fields of a dip hold for a batch's settings, by the key they end in."""
    names = ("dye_g_per_l", "bath_temp_c", "dwell_min", "ph")
    return {name: value_text(name, getattr(row, name)) for name in names if not is_empty(getattr(row, name))}


def _words_of(row):
    """What the fields of a plan hold for what a batch was made of."""
    return {name: getattr(row, name) for name in ("alloy", "finish") if getattr(row, name)}


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_a_bad_part_to_its_cause(walk, served, size):
    """The demo shop's batch 52 came out pale where a rack had lost its contact; it is made once more."""
    day = walk(served, "/book?batch=52")
    with open_book(served.book) as book:
        old, wanted = book.batch(52), target_for(book, 52)
    day.tap("Why did it come out so?")
    day.page.locator(".causes").first.wait_for()
    day.arrive()
    # the part, its bath and the shade it was to have came along
    day.page.locator(f"[class*='_trouble_batch '] input[value^='52: {old.dye}, bath {old.bath}']").wait_for()
    day.page.locator(".dye-pair", has_text=wanted["name"]).wait_for()
    likeliest = day.page.locator(".causes h4").first
    day.sees(likeliest, "the likeliest cause")
    assert re.search("contact|film", likeliest.inner_text(), re.IGNORECASE)
    day.tap("To the batch")
    day.page.get_by_role("heading", name="Batch 52").wait_for()
    assert day.taps == 2
    day.tap("Repeat this batch", then="Keep plan")
    day.holds(film_um=f"{old.film_um:g} µm", **_words_of(old))
    assert plan_text(texts_of(old)) in day.page.locator("p", has_text="Waits here").inner_text()
    assert not day.typed

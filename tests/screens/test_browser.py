"""A real browser does a batch: sees the demo, reads a photo, saves it, finds it again; at a desk and on a phone."""

import os
import re
from pathlib import Path

import pytest

pytestmark = pytest.mark.browser

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "samples" / "tags_one_streaked.jpg"
SIZES = {"desk": {"width": 1400, "height": 900}, "phone": {"width": 390, "height": 800}}
PATIENCE_MS = 20_000


@pytest.fixture(params=SIZES)
def page(request, chromium, address):
    """A fresh page at one size, with its errors collected."""
    context = chromium.new_context(viewport=SIZES[request.param], has_touch=request.param == "phone")
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    page.faults = []
    page.on("pageerror", lambda error: page.faults.append(str(error)))
    page.goto(address)
    page.get_by_role("heading", name=re.compile("Today")).wait_for()
    yield page
    _look(page, f"end_of_{request.node.name}")
    context.close()
    assert not page.faults


def _look(page, name):
    """Keep a picture for the eye where a folder is named."""
    if folder := os.environ.get("DYEBOOK_SCREENSHOTS"):
        height = page.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
        size = page.viewport_size
        page.set_viewport_size({"width": size["width"], "height": max(size["height"], min(height, 3000))})
        page.wait_for_timeout(700)
        page.screenshot(path=Path(folder) / f"{name}_{size['width']}.png")
        page.set_viewport_size(size)


def _settle(page):
    """Wait until the server has drawn the page to its end, as a person would."""
    page.wait_for_timeout(150)
    page.locator("[data-testid=stApp][data-test-script-state=notRunning]").wait_for()


def _is_no_wider_than_the_screen(page):
    return page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def _go(page, name):
    # the ways are drawn with the page, and a link of More only once it is open
    page.get_by_role("link", name="Today").first.wait_for()
    link = page.get_by_role("link", name=name)
    if not link.count():
        page.get_by_role("button", name="More").click()
    link.click()


def test_a_batch_from_photo_to_book(page):
    page.locator(".wall button").first.wait_for()
    assert page.get_by_text("demo", exact=True).first.is_visible()
    assert _is_no_wider_than_the_screen(page)
    _look(page, "today")

    _go(page, "Photo")
    _settle(page)
    page.locator("input[type=file]").set_input_files(SAMPLE)
    page.get_by_text("Part 1", exact=True).first.wait_for()
    page.get_by_text(re.compile(r"L\* \d+\.\d ± ")).first.wait_for()
    assert _is_no_wider_than_the_screen(page)
    _settle(page)
    dye = page.get_by_role("combobox", name="Dye").first
    dye.click()
    dye.press_sequentially("Heath", delay=30)
    page.get_by_role("option", name="Heather", exact=True).click()
    _settle(page)
    page.get_by_role("button", name=re.compile("Set as in batch")).click()
    _settle(page)
    page.get_by_role("textbox", name="Note").fill("the browser's own batch")
    page.get_by_role("textbox", name="Note").blur()
    _settle(page)
    _look(page, "photo")
    page.get_by_role("button", name="Save the batch").click()
    page.get_by_text("is in the book, safely on disk").wait_for()

    page.get_by_role("button", name="See the batch").click()
    page.get_by_role("heading", name=re.compile(r"Batch \d+")).wait_for()
    page.get_by_text("the browser's own batch").wait_for()
    page.locator("[data-testid=stImage] img").first.wait_for()
    _look(page, "batch")
    page.get_by_role("button", name="Back to the wall").click()
    page.locator(".wall button").first.wait_for()
    assert _is_no_wider_than_the_screen(page)
    _look(page, "book")


def _tap(page, stage, x, y):
    stage.scroll_into_view_if_needed()
    box = stage.bounding_box()
    page.mouse.click(box["x"] + x * box["width"], box["y"] + y * box["height"])


def test_a_card_is_tapped_and_what_was_typed_outlives_a_reload(page):
    _go(page, "Photo")
    _settle(page)
    page.locator("input[type=file]").set_input_files(SAMPLE)
    page.get_by_text("Part 1", exact=True).first.wait_for()
    page.get_by_role("textbox", name="Note").fill("typed before the reload")
    page.get_by_role("textbox", name="Note").blur()
    page.get_by_text("Tap card", exact=True).click()
    stage = page.locator(".stage")
    stage.locator("img").wait_for()
    for x, y in ((0.2, 0.2), (0.35, 0.2), (0.35, 0.4), (0.25, 0.55)):
        _tap(page, stage, x, y)
    assert stage.locator(".corner").count() == 4
    page.get_by_role("button", name="Take back").click()
    assert stage.locator(".corner").count() == 3
    _tap(page, stage, 0.2, 0.4)
    _look(page, "tapping")
    page.get_by_role("button", name="Measure again with these").first.click()
    page.get_by_role("button", name="Find the card by itself again").wait_for()

    page.reload()
    page.get_by_role("button", name="Find the card by itself again").wait_for()
    page.locator("textarea", has_text="typed before the reload").wait_for()


def test_corners_close_together_are_two_and_move_by_their_grips(page):
    _go(page, "Photo")
    _settle(page)
    page.locator("input[type=file]").set_input_files(SAMPLE)
    page.get_by_text("Part 1", exact=True).first.wait_for()
    page.get_by_text("Tap part", exact=True).click()
    stage = page.locator(".stage")
    stage.locator("img").wait_for()
    stage.scroll_into_view_if_needed()
    page.get_by_role("button", name="Larger").click()
    box, corner = stage.bounding_box(), stage.locator(".corner")
    # two taps 4 px apart set two corners; a drag moves the picture and sets none
    for x in (box["x"] + 100, box["x"] + 104):
        page.mouse.click(x, box["y"] + 100)
    assert corner.count() == 2
    page.mouse.move(box["x"] + 60, box["y"] + 60)
    page.mouse.down()
    page.mouse.move(box["x"] + 30, box["y"] + 60, steps=5)
    page.mouse.up()
    assert corner.count() == 2
    first, grip = corner.first.bounding_box(), corner.first.locator(".grip").bounding_box()
    assert min(grip["width"], grip["height"]) >= 44
    assert first["x"] == pytest.approx(box["x"] + 70, abs=2)
    page.mouse.move(grip["x"] + 22, grip["y"] + 22)
    page.mouse.down()
    page.mouse.move(grip["x"] + 42, grip["y"] + 32, steps=4)
    page.mouse.up()
    moved = corner.first.bounding_box()
    assert (moved["x"] - first["x"], moved["y"] - first["y"]) == (pytest.approx(20, abs=2), pytest.approx(10, abs=2))
    for left in (2, 1, 0):
        page.get_by_role("button", name="Take back").click()
        assert corner.count() == left


def test_with_more_open_the_first_tap_on_another_way_leads_there(page):
    page.locator(".wall button").first.wait_for()
    page.locator(".st-key-ways .stPopover button").first.click()
    page.get_by_role("link", name="Camera").wait_for()
    page.get_by_role("link", name="Baths").click()
    page.get_by_role("heading", name="Baths").wait_for()
    assert not page.get_by_role("link", name="Camera").is_visible()
    assert page.evaluate("document.querySelector('[data-testid=stMain]').scrollTop") == 0


def test_a_swatch_opens_its_batch(page):
    _go(page, "Book")
    page.locator(".wall button").first.wait_for()
    page.get_by_role("textbox", name="Find a colour").fill("batch 85")
    page.get_by_role("textbox", name="Find a colour").press("Enter")
    page.get_by_text("nearest first").wait_for()
    _settle(page)
    _look(page, "find")
    assert page.locator(".wall button").first.get_attribute("data-batch") == "85", "nearest to itself"
    page.locator(".wall button").first.click()
    page.get_by_role("heading", name="Batch 85").wait_for()


def test_the_first_page_has_an_address_of_its_own_too(page, address):
    page.goto(f"{address}/today")
    page.get_by_role("heading", name=re.compile("Today")).wait_for()
    _settle(page)
    assert page.get_by_role("dialog").count() == 0
    assert not page.get_by_text(re.compile("not found", re.IGNORECASE)).is_visible()

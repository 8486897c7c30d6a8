"""Rules of accessibility (axe, WCAG 2.1 A and AA) on every page, by day at a desk and by night on a phone."""

import pytest

from tests.screens.browsing import open_context, settle

pytestmark = pytest.mark.browser

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]
DESK = ("/", "/bench", "/shade", "/photo", "/book", "/book?batch=85", "/orders", "/orders?order=1", "/baths",
        "/baths?bath=1", "/camera", "/trouble", "/settings")  # fmt: skip
PHONE = ("/", "/photo", "/book?batch=85", "/orders?order=1", "/baths?bath=1", "/settings")


@pytest.mark.parametrize(("size", "scheme", "paths"), [("desk", "light", DESK), ("phone", "dark", PHONE)])
def test_no_page_breaks_a_serious_rule(chromium, address, size, scheme, paths):
    axe_playwright = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed")
    axe, page, found = axe_playwright.Axe(), open_context(chromium, size, scheme), []
    for path in paths:
        page.goto(address + path)
        page.locator("h1").first.wait_for()
        settle(page)
        answer = axe.run(page, context={"include": [["[data-testid=stMain]"]]}, options={"runOnly": RULES})
        found += [
            f"{path}: {one['id']} ({one['impact']}): {one['nodes'][0]['html'][:160]}"
            for one in answer.response["violations"]
            if one["impact"] in ("serious", "critical")
        ]
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), f"{path} is too wide"
    page.context.close()
    assert not page.faults
    assert not found, "\n".join(found)

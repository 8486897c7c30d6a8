"""What browser tests share: waiting as a person would, and moving by keyboard alone."""

from contextlib import suppress

__all__ = ["DRAWN", "focused_name", "open_context", "settle", "tab_to", "type_in"]

PATIENCE_MS = 20_000
DRAWN = "[data-testid=stApp][data-test-script-state=notRunning]"
SIZES = {"desk": {"width": 1400, "height": 900}, "phone": {"width": 390, "height": 800}}

# the element that has the focus, inside components too, by the name that is read out
_FOCUSED = """() => {
  let one = document.activeElement
  while (one && one.shadowRoot && one.shadowRoot.activeElement) one = one.shadowRoot.activeElement
  if (!one || !one.matches("a, button, input, textarea, [role=combobox], [role=radio]")) return ""
  const label = one.getAttribute("aria-label") || (one.labels && one.labels[0] && one.labels[0].innerText)
  return (label || one.innerText || one.placeholder || one.tagName).trim()
}"""


def open_context(chromium, size, scheme="light"):
    """A fresh page at one size by day or by night, its errors collected in `faults`."""
    context = chromium.new_context(viewport=SIZES[size], has_touch=size == "phone", color_scheme=scheme)
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    page.faults = []
    page.on("pageerror", lambda error: page.faults.append(str(error)))
    return page


def settle(page):
    """Wait until the server has drawn the page to its end; what was done a moment ago may not have begun to."""
    from playwright.sync_api import TimeoutError

    with suppress(TimeoutError):
        page.wait_for_function(f"!document.querySelector('{DRAWN}')", timeout=250)
    page.locator(DRAWN).wait_for()


def type_in(page, label, text):
    """Fill one field and wait for what it changes."""
    box = page.get_by_role("textbox", name=label, exact=True)
    box.fill(text)
    box.press("Enter")
    settle(page)


def focused_name(page):
    """Name of what has the focus."""
    return page.evaluate(_FOCUSED)


def tab_to(page, name, most=60):
    """Press Tab until something whose name begins with `name` has the focus; its whole name."""
    seen = []
    for _ in range(most):
        page.keyboard.press("Tab")
        seen.append(focused_name(page))
        # a name may begin with the word its icon is drawn from
        if any(line.startswith(name) for line in seen[-1].splitlines()):
            return seen[-1]
    raise AssertionError(f"{name} cannot be reached by Tab; what was: {seen}")

"""Draw the README's two pictures anew from the demo book.

python -m tests.bench.readme_pictures [--batch 84]
"""

import io
import shutil
import tempfile
from pathlib import Path

import pypdfium2
from PIL import Image
from playwright.sync_api import sync_playwright

from dyebook.book.store import open_book
from dyebook.demo.place import make_demo_book
from dyebook.jobs.paper import batch_facts
from dyebook.report.paper.card import card_sheet
from dyebook.report.paper.html import sheet_bytes
from tests.bench.app import FLAGS, serving
from tests.bench.command import command_line

SAMPLES = Path(__file__).parents[2] / "samples"
ADDRESS = "http://bench.local:8640"
MOST_BYTES = 150_000


def main():
    """Draw both."""
    asked = command_line(__doc__)
    asked.add_argument("--batch", type=int, default=84, help="whose card is drawn")
    batch = asked.parse_args().batch
    with tempfile.TemporaryDirectory() as folder:
        place = make_demo_book(place=Path(folder) / "demo.dyebook")
        save(draw_card(place, batch), "batch_card.png")
        save(draw_app(place, Path(folder)), "app.png")


def draw_card(place, batch):
    """The card of a batch as a picture."""
    with open_book(place) as book:
        pdf = sheet_bytes(card_sheet(batch_facts(book, batch, ADDRESS)), ".pdf")
    return pypdfium2.PdfDocument(pdf)[0].render(scale=1.3).to_pil()


def draw_app(place, home):
    """The first page of the app as a picture."""
    with serving(home, book=place) as (address, _), sync_playwright() as player:
        chromium = shutil.which("chromium") or shutil.which("chromium-browser")
        browser = player.chromium.launch(executable_path=chromium, args=FLAGS)
        page = browser.new_page(viewport={"width": 1280, "height": 860})
        page.goto(address)
        page.get_by_text("Orders").first.wait_for(timeout=60_000)
        page.wait_for_load_state("networkidle")
        page.wait_for_timeout(4000)
        return Image.open(io.BytesIO(page.screenshot()))


def save(picture, name):
    """Write a PNG with as many colours as the size allows."""
    for colours in (256, 128, 64):
        picture.convert("RGB").quantize(colours).save(SAMPLES / name, optimize=True)
        if (SAMPLES / name).stat().st_size <= MOST_BYTES:
            break
    print(f"{name}: {(SAMPLES / name).stat().st_size} bytes, {colours} colours")


if __name__ == "__main__":
    main()

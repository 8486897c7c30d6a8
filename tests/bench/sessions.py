"""Many browser sessions at once against one app: every session sees its own photos only, and nothing breaks.

    python -m tests.bench.sessions [--sessions 20] [--minutes 10] [--pause 8]

One real Chromium with a context of its own for each session, driven through Playwright: the app's own front end, web
sockets and uploads. Each session sends a photo of a colour and name that no other sends at that time, reads from the
page what was read, keeps it with a batch that is its own, pauses as a person would, and sends the next. In the end the
book is asked whether every batch holds the readings of its own session's photos, each once.
"""

import asyncio
import os
import random
import re
import statistics
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np

from dyebook.book.store import open_book
from dyebook.lab import Lab
from dyebook.photo.measure import measure
from dyebook.record import DyeRecord
from tests.bench.app import FLAGS, serving
from tests.bench.command import command_line, resident_mb
from tests.render.photo import picture
from tests.render.plan import plain_scene

PATIENCE_MS = 120_000
# as far as two readings of one photo may differ: the page shows one decimal
SAME = 0.06
_NUMBER = r"([-−]?\d+(?:\.\d+)?)"


@dataclass
class Findings:
    """What came of it all."""

    uploads: Counter = field(default_factory=Counter)
    answer_s: list = field(default_factory=list)
    keep_s: list = field(default_factory=list)
    troubles: list = field(default_factory=list)
    sent: dict = field(default_factory=dict)
    server_mb: list = field(default_factory=list)


def photos(count):
    """Small photos of one part beside a grey card, each of another colour, and what is read in them."""
    made = []
    for number in range(count):
        turn = 2 * np.pi * number / count
        lab = Lab(40 + 2 * (number % 10), 30 * np.cos(turn), 30 * np.sin(turn))
        image = picture(plain_scene(lab, noise=0.01, seed=3)).codes[..., ::-1]
        small = cv2.resize(image, (480, 360), interpolation=cv2.INTER_AREA)
        content = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, 92])[1].tobytes()
        made.append((content, measure(content).parts[0].lab))
    return made


async def settle(page):
    """Wait until the server has drawn the page to its end."""
    await page.wait_for_timeout(250)
    await page.locator("[data-testid=stApp][data-test-script-state=notRunning]").wait_for()


async def send(page, name, content):
    """Choose a photo; seconds until what was read in it is on the page."""
    picker = page.locator("input[type=file]").first
    await picker.wait_for(state="attached")
    await settle(page)
    start = time.perf_counter()
    await picker.set_input_files({"name": name, "mimeType": "image/jpeg", "buffer": content})
    await page.get_by_text(name).first.wait_for()
    await page.locator(".dye-swatch").first.wait_for()
    took = time.perf_counter() - start
    await settle(page)
    return took


async def keep(page, batch):
    """Keep what is on the page with a batch; seconds until the page says that it is on disk."""
    await page.get_by_text("A batch in the book", exact=True).click()
    await settle(page)
    field_ = page.get_by_label("Number of the batch").first
    await field_.fill(str(batch))
    await field_.press("Enter")
    await settle(page)
    start = time.perf_counter()
    await page.get_by_role("button", name="Keep with this batch").click()
    await page.get_by_text(f"Batch {batch} is in the book, safely on disk").wait_for()
    took = time.perf_counter() - start
    await settle(page)
    await page.get_by_role("button", name="The next photo").click()
    await page.get_by_text("The next photo").wait_for(state="detached")
    return took


async def look(page, number, name, lab):
    """What is wrong with the page, in words: another's photo, another's figures, or an error of the app."""
    text = await page.locator("body").inner_text()
    swatch = await page.locator(".dye-swatch").first.inner_text()
    figures = re.search(rf"L\*\s*{_NUMBER}.*?a\*\s*{_NUMBER}.*?b\*\s*{_NUMBER}", swatch, re.DOTALL)
    seen = [float(figure.replace("−", "-")) for figure in figures.groups()] if figures else None
    if seen is None or not np.allclose(seen, lab, atol=SAME):
        yield f"session {number}: {name} reads {seen} instead of {np.round(lab, 1)}"
    if others := set(re.findall(r"session-\d+-\d+\.jpg", text)) - {name}:
        yield f"session {number} sees {sorted(others)}"
    if await page.locator("[data-testid=stException]").count():
        yield f"session {number}: an error on the page"


async def work(context, address, number, batch, made, end, pause_s, findings):
    """One session: photo after photo until the time is over."""
    rng, page = random.Random(number), await context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    page.on("pageerror", lambda error: findings.troubles.append(f"session {number}: {error}"))
    await asyncio.sleep(pause_s * rng.random())
    await page.goto(f"{address}/photo")
    turn = 0
    while time.monotonic() < end:
        which = (number + turn) % len(made)
        name, content = f"session-{number}-{turn}.jpg", made[which][0] + f"{number} {turn}".encode()
        findings.answer_s.append(await send(page, name, content))
        findings.troubles += [one async for one in look(page, number, name, made[which][1])]
        findings.keep_s.append(await keep(page, batch))
        findings.sent.setdefault(batch, []).append(made[which][1])
        findings.uploads[number] += 1
        turn += 1
        await asyncio.sleep(pause_s * (0.5 + rng.random()))


async def watch(process, findings, every_s=10):
    """Note the server's memory from time to time."""
    while True:
        findings.server_mb.append(resident_mb(process.pid))
        await asyncio.sleep(every_s)


async def run(address, process, batches, made, asked):
    """All sessions at once."""
    from playwright.async_api import async_playwright

    findings, end = Findings(), time.monotonic() + 60 * asked.minutes
    async with async_playwright() as driver:
        chromium = await driver.chromium.launch(executable_path=asked.chromium, args=FLAGS)
        contexts = [await chromium.new_context(viewport={"width": 1000, "height": 800}) for _ in batches]
        watching = asyncio.create_task(watch(process, findings))
        numbered = enumerate(zip(contexts, batches, strict=True))
        sessions = [work(one, address, n, batch, made, end, asked.pause, findings) for n, (one, batch) in numbered]
        for number, outcome in enumerate(await asyncio.gather(*sessions, return_exceptions=True)):
            if outcome is not None:
                findings.troubles.append(f"session {number} ended: {outcome!r}"[:300])
        watching.cancel()
        await chromium.close()
    return findings


def check_book(book, findings):
    """What is wrong with the book, in words: each batch holds the readings of its own photos, each once."""
    for batch, sent in findings.sent.items():
        kept = [[row[axis] for axis in "Lab"] for row in book.rows("readings", batch_id=batch)]
        if np.shape(kept) != np.shape(sent) or not np.allclose(kept, sent, atol=1e-6):
            yield f"batch {batch} holds {len(kept)} readings for {len(sent)} photos, or another's"
    yield from book.check()


def show(findings, seconds):
    """Print the table."""
    counts, memory = findings.uploads.values(), findings.server_mb
    third = max(1, len(memory) // 3)
    load = f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"
    print(f"{len(counts)} sessions, {seconds / 60:.1f} minutes, {load}")
    print(f"photos sent, read, compared and kept: {sum(counts)}; {min(counts)} to {max(counts)} a session")
    for name, values in (
        ("photo chosen to its colours", findings.answer_s),
        ("keep to safely on disk", findings.keep_s),
    ):
        print(f"{name}: {statistics.median(values):.1f} s median, {np.percentile(values, 95):.1f} s for 95 of 100")
    early, late = statistics.median(memory[third : 2 * third]), statistics.median(memory[-third:])
    print(f"server: {memory[0]:.0f} MB at first, {early:.0f} in the middle third, {late:.0f} in the last")
    print(f"{len(findings.troubles)} troubles")
    print("\n".join(findings.troubles[:20]))


def main():
    """Serve, run the sessions, look into the book."""
    parser = command_line(__doc__)
    parser.add_argument("--sessions", type=int, default=20)
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--pause", type=float, default=8, help="seconds between a session's photos, on average")
    parser.add_argument("--chromium", default="/usr/bin/chromium")
    asked = parser.parse_args()
    made = photos(asked.sessions)
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "shop.dyebook"
        with open_book(place) as book:
            record = DyeRecord("Ember", film_um=12, dye_g_per_l=3, bath_temp_c=40, dwell_min=5)
            batches = [book.add_batch(record) for _ in range(asked.sessions)]
        start = time.monotonic()
        with serving(Path(folder), book=place) as (address, process):
            findings = asyncio.run(run(address, process, batches, made, asked))
        with open_book(place) as book:
            findings.troubles += check_book(book, findings)
        log = (Path(folder) / "log").read_text(errors="replace")
        findings.troubles += [
            f"the server's log: {line}" for line in log.splitlines() if "Error" in line or "Traceback" in line
        ]
    show(findings, time.monotonic() - start)


if __name__ == "__main__":
    main()

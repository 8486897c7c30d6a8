"""How quick the app is, as ratios to an empty page of the same web server in the same run, and whether it grows.

    python -m tests.bench.app [--part paint photo memory large turn] [--rounds 7] [--uploads 200]

Needs Playwright for Python and an installed Chromium.
"""

import contextlib
import io
import os
import re
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from PIL import Image

from dyebook.screens.app import streamlit_options
from tests.bench.command import command_line, machine, resident_mb
from tests.bench.textures import texture
from tests.screens.big_book import fill_big_book
from tests.screens.browsing import open_context, settle

ROOT = Path(__file__).parents[2]
PARTS = ("paint", "photo", "memory", "large", "turn")
SAMPLE = ROOT / "samples" / "tags_one_streaked.jpg"
EMPTY = 'import streamlit as st\nst.set_page_config(layout="wide")\nst.title("Empty")\n'
PAGES = ("Book", "Orders", "Baths", "Photo", "Today")
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]


@contextmanager
def serving(folder, script=None, book=None):
    """Serve the app on a book by its own command, or a script by Streamlit's; yield its address and its process."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    if script is None:
        command = ["-m", "dyebook", "open", "--book", str(book), "--port", str(port), "--no-browser"]
    else:
        options = streamlit_options(port).items()
        # whose names the app answers to is said by its own command
        options = [(name, value) for name, value in options if name != "server.allowedHosts"]
        values = {name: str(value).lower() if isinstance(value, bool) else str(value) for name, value in options}
        command = ["-m", "streamlit", "run", str(script), *(f"--{name}={value}" for name, value in values.items())]
    own = {"HOME": str(folder), "PYTHONPATH": str(ROOT), "DYEBOOK_DRAFTS_DIR": str(folder / "drafts")}
    with (folder / "log").open("ab") as log:
        streams = {"stdin": subprocess.DEVNULL, "stdout": log, "stderr": log}
        process = subprocess.Popen([sys.executable, *command], cwd=folder, env={**os.environ, **own}, **streams)
    try:
        _wait_for(port, process, folder / "log")
        yield f"http://127.0.0.1:{port}", process
    finally:
        process.terminate()
        process.wait(20)


def _wait_for(port, process, log):
    end = time.monotonic() + 60
    while time.monotonic() < end and process.poll() is None:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.1)
    raise SystemExit(f"the server did not start: {log.read_text()[-2000:]}")


def first_paint_s(chromium, address, sign):
    """Seconds from the address to the sign that a page is of use, in a fresh browser session."""
    page = open_context(chromium, "desk")
    start = time.perf_counter()
    page.goto(address, wait_until="commit")
    page.locator(sign).first.wait_for()
    took = time.perf_counter() - start
    page.context.close()
    return took


def switch_s(page, name):
    """Seconds from a tap on a page's name to its title."""
    start = time.perf_counter()
    page.locator(".st-key-frame").get_by_role("link", name=name).click()
    page.locator("h1", has_text=name).first.wait_for()
    took = time.perf_counter() - start
    settle(page)
    return took


def show(name, ours, peer=None):
    """Print one row of the table, with the ratio to the empty page where there is one."""
    ratio = "" if peer is None else f"{ours / peer:>8.2f} x an empty page ({peer:.2f} s)"
    print(f"{name:<52} {ours:>8.2f} s {ratio}", flush=True)


def bench_paint(chromium, folder, rounds):
    """First useful paint of the first page on 100,000 batches, and turning to each page, against an empty page."""
    empty = folder / "empty.py"
    empty.write_text(EMPTY)
    book = fill_big_book(folder / "big.dyebook")
    with serving(folder, empty) as (bare, _), serving(folder, book=book) as (address, _):
        for warm in ((bare, "h1"), (address, ".st-key-way button")):
            first_paint_s(chromium, *warm)
        pairs = [
            (first_paint_s(chromium, bare, "h1"), first_paint_s(chromium, address, ".st-key-way button"))
            for _ in range(rounds)
        ]
        bare_s, ours_s = (statistics.median(column) for column in zip(*pairs, strict=True))
        show("first useful paint, 100,000 batches", ours_s, bare_s)
        page = open_context(chromium, "desk")
        page.goto(address)
        page.locator(".st-key-way button").first.wait_for()
        settle(page)
        for name in PAGES:
            switch_s(page, name)
        times = {name: [] for name in PAGES}
        for _ in range(rounds):
            for name in PAGES:
                times[name].append(switch_s(page, name))
        for name, took in times.items():
            show(f"turn to {name}", statistics.median(took), bare_s)
        page.context.close()


def large_photo(megapixels=12):
    """The sample photo at the size a phone writes, as JPEG."""
    with Image.open(SAMPLE) as photo:
        scale = (megapixels * 1e6 / (photo.width * photo.height)) ** 0.5
        large = photo.resize((round(photo.width * scale), round(photo.height * scale)), Image.Resampling.BICUBIC)
    noise = np.random.default_rng(1).normal(0, 2, (large.height, large.width, 1))
    codes = np.clip(np.asarray(large) + noise, 0, 255).astype(np.uint8)
    file = io.BytesIO()
    Image.fromarray(codes).save(file, "JPEG", quality=92)
    return file.getvalue()


# the page's own clock, from the choice of a file to the frame with its overlay: no part of the driver's waiting
_WATCH = """() => { window.overlay = new Promise((done) => {
  let begun
  const note = (event) => { if (event.target.type === "file") begun ??= performance.now() }
  document.addEventListener("change", note, { capture: true, once: true })
  const look = () => {
    const picture = document.querySelector("[data-testid=stImage] img")
    const shown = picture?.complete && picture.naturalWidth && picture.getBoundingClientRect().height > 50
    if (begun && shown) done((performance.now() - begun) / 1000)
    else requestAnimationFrame(look)
  }
  look()
}) }"""


def bench_photo(chromium, folder, rounds):
    """From the choice of a 12-megapixel photo to its overlay on the screen; the server has read one before."""
    content, file = large_photo(), folder / "photo.jpg"
    with serving(folder, book=folder / "empty.dyebook") as (address, process):
        page = open_context(chromium, "desk")
        page.set_default_timeout(120_000)
        took = []
        for step in range(rounds + 1):
            file.write_bytes(content + bytes([step]))
            took.append(_upload_s(page, address, file, process))
        page.context.close()
    times, processor = zip(*took[1:], strict=True)
    show("photo of 12 MP to overlay, the server's first", took[0][0])
    show("  after that, median", statistics.median(times))
    show("  quickest (the machine least busy)", min(times))
    show("  the server's processor time, median", statistics.median(processor))


def processor_s(process):
    """Seconds of processor time that a process has used, Linux only; a busy machine does not lengthen it."""
    fields = Path(f"/proc/{process.pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _upload_s(page, address, file, process):
    """Seconds from the choice of a photo to its overlay, and the server's processor time in them."""
    page.goto(f"{address}/photo")
    picker = page.locator("input[type=file]").first
    picker.wait_for(state="attached")
    settle(page)
    page.evaluate(_WATCH)
    used = processor_s(process)
    picker.set_input_files(file)
    took = page.evaluate("window.overlay"), processor_s(process) - used
    settle(page)
    _put_away(page)
    return took


def _put_away(page):
    """Put the photo away, and wait until it is gone."""
    button = page.get_by_role("button", name="Take another instead")
    button.click()
    button.wait_for(state="detached")
    settle(page)


def bench_memory(chromium, folder, uploads):
    """Memory of server and page over many uploads in one browser session."""
    content = SAMPLE.read_bytes()
    with serving(folder, book=folder / "memory.dyebook") as (address, process):
        page = open_context(chromium, "desk")
        page.set_default_timeout(60_000)
        page.goto(f"{address}/photo")
        client = page.context.new_cdp_session(page)
        for step in range(uploads + 1):
            picker = page.locator("input[type=file]").first
            picker.wait_for(state="attached")
            tail = step.to_bytes(4, "big")
            picker.set_input_files({"name": "photo.jpg", "mimeType": "image/jpeg", "buffer": content + tail})
            page.locator("[data-testid=stImage] img").first.wait_for()
            settle(page)
            _put_away(page)
            if step % max(uploads // 5, 1) == 0:
                client.send("HeapProfiler.collectGarbage")
                heap = client.send("Runtime.getHeapUsage")["usedSize"] / 1e6
                server = resident_mb(process.pid)
                print(f"after {step:>4} uploads: server {server:>6.0f} MB, page {heap:>6.1f} MB", flush=True)
        page.context.close()


def family_mb(process):
    """Memory of a process and of all it started, each shared page counted once, Linux only."""
    parents = {}
    for status in Path("/proc").glob("[0-9]*/stat"):
        with contextlib.suppress(OSError):
            parents[int(status.parent.name)] = int(status.read_text().rsplit(")", 1)[1].split()[1])
    family = {process.pid}
    while grown := {pid for pid, parent in parents.items() if parent in family} - family:
        family |= grown
    total = 0
    for pid in family:
        with contextlib.suppress(OSError):
            rollup = Path(f"/proc/{pid}/smaps_rollup").read_text()
            total += int(re.search(r"^Pss:\s+(\d+)", rollup, re.MULTILINE)[1]) / 1024
    return total


LARGE_MB = 79


def bench_large(chromium, folder, uploads):
    """Memory after photos of 79 MB each were given to one session, one after the other, and all are held."""
    content = SAMPLE.read_bytes()
    with serving(folder, book=folder / "large.dyebook") as (address, process):
        page = open_context(chromium, "desk")
        page.set_default_timeout(240_000)
        page.goto(f"{address}/photo")
        most = 0
        for step in range(uploads):
            if step == 1:
                page.get_by_text("One more photo of the same batch").click()
            picker = page.locator("input[type=file]").nth(0 if step == 0 else -1)
            picker.wait_for(state="attached")
            settle(page)
            file = folder / f"photo {step}.jpg"
            file.write_bytes(content + bytes([step]) * (LARGE_MB * 10**6 - len(content)))
            # the picker of one more photo lies under the plain paper's
            page.locator(
                "[class*=st-key-more_files] input[type=file], [class*=st-key-photo_file] input[type=file]"
            ).first.set_input_files(file)
            page.get_by_text(file.name).first.wait_for()
            page.locator("[data-testid=stImage] img").first.wait_for()
            settle(page)
            file.unlink()
            most = max(most, family_mb(process))
            print(f"after {step + 1:>2} photos of {LARGE_MB} MB: {_held(process)}", flush=True)
        time.sleep(5)
        print(f"at rest: {_held(process)}; most seen between photos {most:.0f} MB")
        page.context.close()


def _held(process):
    return f"server {resident_mb(process.pid):>5.0f} MB, with its worker {family_mb(process):>5.0f} MB"


def worst_photo(step):
    """Tiles in many colours, the texture that takes longest, at 12 megapixels."""
    codes, file = texture("tiles-60", 4000, 3000), io.BytesIO()
    Image.fromarray(codes).save(file, "JPEG", quality=92)
    return file.getvalue() + bytes([step])


def bench_turn(chromium, folder, rounds):
    """One's photo alone, and while another session has one worst picture after the other read; in turns."""
    content, file, worst = large_photo(), folder / "photo.jpg", folder / "worst.jpg"
    with serving(folder, book=folder / "turn.dyebook") as (address, process):
        page, other = open_context(chromium, "desk"), open_context(chromium, "desk")
        for one in (page, other):
            one.set_default_timeout(240_000)
        took = []
        for step in range(rounds + 1):
            file.write_bytes(content + bytes([step]))
            alone = _upload_s(page, address, file, process)[0]
            worst.write_bytes(worst_photo(step))
            other.goto(f"{address}/photo")
            settle(other)
            other.locator("input[type=file]").first.set_input_files(worst)
            other.get_by_text("worst.jpg").first.wait_for()
            file.write_bytes(content + bytes([100 + step]))
            took.append((alone, _upload_s(page, address, file, process)[0]))
            settle(other)
            _put_away(other)
        alone, beside = zip(*took[1:], strict=True)
        show("photo of 12 MP alone, median", statistics.median(alone))
        show("while another's worst picture is read, median", statistics.median(beside))
        more = [b - a for a, b in took]
        show("  more than just before alone, median", statistics.median(more[1:]))
        show("  the most", max(more[1:]))
        show("  the server's first", more[0])
        for one in (page, other):
            one.context.close()


def main():
    """Run the parts asked for."""
    asked = command_line(__doc__)
    asked.add_argument("--part", nargs="+", choices=PARTS, default=PARTS)
    asked.add_argument("--rounds", type=int, default=7)
    asked.add_argument("--uploads", type=int, default=200)
    given = asked.parse_args()
    from playwright.sync_api import sync_playwright

    program = shutil.which("chromium") or shutil.which("chromium-browser")
    print(machine())
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path=program, args=FLAGS)
        for part in given.part:
            count = {"memory": given.uploads, "large": 12}.get(part, given.rounds)
            globals()[f"bench_{part}"](chromium, Path(folder), count)
        chromium.close()


if __name__ == "__main__":
    main()

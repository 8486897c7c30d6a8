"""Damage guided by coverage for our own parsers: whatever reaches new lines is kept and damaged further.

    python -m tests.bench.guided [--seconds 600] [--seed 1] [--corpus DIR [--choose FILE]]

Needs atheris (`pip install -e '.[fuzz]'`), which instruments the parsers, openpyxl's reader and defusedxml. Each kind
of file has its share of the time in a process of its own, through the door that `tests.bench.parsers` uses. Anything
but an answer or a `DyebookError`, or more than its limits of time and memory, is printed and kept in DIR, one of each
sort. What reached new places goes to DIR too, so that a later run goes on from there; `tests/test_damaged.py` replays
a choice of it.
"""

import argparse
import hashlib
import json
import re
import subprocess
import sys
import time
import zlib
from base64 import b64encode
from collections import Counter
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.bench.command import command_line

INSTRUMENTED = ["dyebook.book.exchange", "dyebook.physics", "dyebook.units", "openpyxl.worksheet", "defusedxml"]
LIMITS = ("-timeout=20", "-rss_limit_mb=1500", "-max_len=8192", "-print_final_stats=1")
MOST_PACKED = 400  # letters of a case in the choice that the tests replay
EVERY = 200  # cases between two writings of the figures: the engine ends the process without a word


class Outcomes:
    """What came of the cases, in a file, since the engine never returns."""

    def __init__(self, folder):
        self.folder, self.outcomes, self.slowest_s, self.bad = folder, Counter(), 0.0, {}

    def note(self, data, outcome, spent_s, slow_s):
        """Count one; keep the first of each sort that should not be."""
        known = outcome in ("refused", "understood")
        self.outcomes[outcome if known else "OTHER"] += 1
        self.slowest_s = max(self.slowest_s, spent_s)
        sort = f"slower than {slow_s} s" if known else re.sub(r"[\d'\"].*", "", outcome)
        if (not known or spent_s > slow_s) and sort not in self.bad:
            place = self.folder / f"bad-{hashlib.sha256(data).hexdigest()[:12]}"
            place.write_bytes(data)
            self.bad[sort] = f"{outcome[:160]}, {spent_s:.1f} s: {place.name}"
            self.write()
        if self.outcomes.total() % EVERY == 0:
            self.write()

    def write(self):
        """Write the figures down."""
        found = {"outcomes": self.outcomes, "slowest_s": self.slowest_s, "bad": list(self.bad.values())}
        (self.folder / "outcomes.json").write_text(json.dumps(found))


def fuzz(name, folder, seconds, seed):
    """Damage one kind of file until the time is over; does not return."""
    import warnings

    import atheris

    with atheris.instrument_imports(include=INSTRUMENTED, enable_loader_override=False):
        from dyebook.book.exchange import instrument  # noqa: F401 -- opened on the way otherwise, too late
        from dyebook.book.store import open_book
        from tests.bench import parsers

    warnings.simplefilter("ignore")
    warnings.filterwarnings("error", module="dyebook")
    found, scratch = Outcomes(folder), TemporaryDirectory()
    book, path = open_book(Path(scratch.name) / "book"), Path(scratch.name) / name

    def one(data):
        parsers.write_case(path, data)
        start = time.process_time()
        outcome = parsers.attempt(book, path)
        found.note(data, outcome, time.process_time() - start, parsers.SLOW_S)

    reached = folder / "reached"
    reached.mkdir(exist_ok=True)
    (reached / "seed").write_bytes(parsers.seeds()[name])
    spelt = ["".join(f"\\x{byte:02x}" for byte in word[:64]) for word in parsers.WORDS]
    (folder / "words").write_text("".join(f'"{word}"\n' for word in spelt))
    files = (str(reached), f"-dict={folder / 'words'}", f"-artifact_prefix={folder}/bad-")
    atheris.Setup([name, *files, *LIMITS, f"-max_total_time={seconds}", f"-seed={seed}"], one)
    atheris.Fuzz()


def lines_reached(work):
    """Lines of our parsers that a call runs through."""
    seen = set()

    def within(frame, event, _):
        if event == "line":
            seen.add((frame.f_code.co_filename, frame.f_lineno))
        return within

    sys.settrace(lambda frame, *_: within if "dyebook" in frame.f_code.co_filename else None)
    try:
        work()
    finally:
        sys.settrace(None)
    return seen


def choose(corpus, target):
    """Write down the smallest cases that between them run through every line that any of them does."""
    from dyebook.book.store import open_book
    from tests.bench import parsers

    lines = []
    with TemporaryDirectory() as scratch, open_book(Path(scratch) / "book") as book:
        for name, sound in parsers.seeds().items():
            path, known, bad = Path(scratch) / name, set(), list((corpus / name).glob("bad-*"))
            cases = sorted((corpus / name / "reached").glob("*"), key=lambda case: (case.stat().st_size, case.name))
            for data in [sound, *(case.read_bytes() for case in [*bad, *cases])]:
                packed = b64encode(zlib.compress(data, 9)).decode()
                if len(packed) > MOST_PACKED:
                    continue
                parsers.write_case(path, data)
                fresh = lines_reached(lambda path=path: parsers.attempt(book, path)) - known
                known |= fresh
                if fresh and data != sound:
                    lines.append(json.dumps({"name": name, "packed": packed}))
    target.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(f"{len(lines)} cases, {target.stat().st_size / 1000:.1f} kB in {target.name}")


def show(name, folder, log):
    """Print a kind's row, and what broke a rule."""
    found = json.loads((folder / "outcomes.json").read_text())
    cover = [int(number) for number in re.findall(r"cov: (\d+)", log)]
    peak = re.findall(r"peak_rss_mb:\s*(\d+)", log)
    bad = found["bad"] + re.findall(r"ERROR: (.*)", log)
    outcomes = ", ".join(f"{count:,} {what}" for what, count in sorted(found["outcomes"].items()))
    print(
        f"{name:<15} {outcomes}; reached {cover[0] if cover else 0} places, in the end {max(cover, default=0)}; "
        f"slowest {found['slowest_s']:.2f} s, {peak[-1] if peak else '?'} MB; {len(bad)} broke a rule",
        flush=True,
    )
    for line in bad:
        print(f"    {line}", flush=True)


def main():
    """Give each kind of file its share of the time."""
    parser = command_line(__doc__)
    parser.add_argument("--seconds", type=int, default=600, help="over all kinds")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--corpus", type=Path, help="kept here; deleted without it")
    parser.add_argument("--only", help="one kind of file")
    parser.add_argument("--choose", type=Path, help="write a choice of the corpus there, and damage nothing")
    parser.add_argument("--child", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.child:
        fuzz(asked.only, asked.child, asked.seconds, asked.seed)
    if asked.choose:
        choose(asked.corpus, asked.choose)
        return
    from tests.bench.parsers import seeds

    # inside a zip's checksums nothing can be steered: blind damage tries those
    names = [asked.only] if asked.only else [name for name in seeds() if name != "table.xlsx"]
    with TemporaryDirectory() as scratch:
        for name in names:
            folder = (asked.corpus or Path(scratch)) / name
            folder.mkdir(parents=True, exist_ok=True)
            share = ("--seconds", str(asked.seconds // len(names)), "--seed", str(asked.seed))
            command = [sys.executable, "-m", "tests.bench.guided", "--only", name, "--child", str(folder), *share]
            done = subprocess.run(
                command, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True, errors="replace"
            )
            show(name, folder, done.stderr)


if __name__ == "__main__":
    main()

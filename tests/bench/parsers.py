"""Damaged tables, run logs and instrument files through our own parsers: what they say, or a `DyebookError`.

    python -m tests.bench.parsers [--seconds 120] [--seed 1]

Damage is blind (bits, cuts, repeats, splices) and in the files' own words (entities, huge numbers, separators); each
case goes through the door a user would take. Anything but an answer or a `DyebookError`, or more than `SLOW_S` of
processor time, is printed with the seed and number that make it again. In `tests.bench.guided` coverage steers it.
"""

import io
import time
import warnings
import zipfile
from collections import Counter
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from dyebook.book.store import open_book
from dyebook.errors import DyebookError
from dyebook.physics.trace.events import report_trace
from dyebook.physics.trace.read import read_trace
from tests.bench.command import command_line
from tests.book.exchange.test_instrument import TEXT, XML
from tests.photo import mutations as damage

SLOW_S = 3
TRACE = "time_min,current_a,voltage_v\n" + "".join(f"{n / 2},{2 + n % 3 / 100},14.{n % 10}\n" for n in range(60))
TABLE = "dye,film_um,dye_g_per_l,bath_temp_c,dwell_min,L,a,b,dyed_at\n" + "".join(
    f"Ember,{10 + n},3,40,{n + 1},50,20,30,2026-03-{n + 1:02d}\n" for n in range(12)
)
WORDS = (
    *(
        b"<!DOCTYPE x [<!ENTITY e SYSTEM 'file:///etc/hostname'>]>",
        b"&e;",
        b"<![CDATA[",
        b"]]>",
        b"\xff\xfe",
        b"\xef\xbb\xbf",
    ),
    *(b"nan", b"inf", b"-1e999", b"1" * 400, b"0x10", b"=1+1", b'"', b"'", b";", b"\t", b"\r", b"\0", b"\xc3\x28"),
    *(b"BEGIN_DATA\n", b"END_DATA_FORMAT\n", b"NUMBER_OF_SETS 999999999\n", b",", b"\n", b"12:5", b"2026-13-45"),
)


SHEET_PART = "xl/worksheets/sheet1.xml"


@lru_cache
def workbook_parts():
    """Names and bytes of what is packed into an XLSX file with the table in it."""
    from openpyxl import Workbook

    file, workbook = io.BytesIO(), Workbook()
    for line in TABLE.splitlines():
        workbook.active.append([float(cell) if cell.isdigit() else cell for cell in line.split(",")])
    workbook.save(file)
    with zipfile.ZipFile(file) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def pack(parts):
    """An XLSX file of such parts."""
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return file.getvalue()


def seeds():
    """Sound bytes by the name of the file they go to; those of ``sheet.xlsx`` are the one sheet of a workbook."""
    texts = {"trace.csv": TRACE, "table.csv": TABLE, "instrument.txt": TEXT, "instrument.cxf": XML}
    texts["table.jsonl"] = '{"dye": "Ember", "film_um": 12, "dye_g_per_l": 3, "bath_temp_c": 40, "dwell_min": 5}\n'
    files = {name: text.encode() for name, text in texts.items()}
    parts = workbook_parts()
    return {**files, "table.xlsx": pack(parts), "sheet.xlsx": parts[SHEET_PART]}


def write_case(path, data):
    """Write a case under its name, a sheet into the workbook it belongs to."""
    path.write_bytes(pack({**workbook_parts(), SHEET_PART: data}) if path.name == "sheet.xlsx" else data)


def in_words(data, rng, _):
    """Put some of the formats' own troublesome words in."""
    for _ in range(int(rng.integers(1, 6))):
        at, word = int(rng.integers(len(data) + 1)), WORDS[int(rng.integers(len(WORDS)))]
        data = data[:at] + word + data[at + int(rng.integers(3)) :]
    return data


def cases(files, seed):
    """Yield (number, name of the file, damaged bytes) without end."""
    rng, ways = np.random.default_rng(seed), (damage._flip_bits, damage._cut, damage._splice, damage._repeat, in_words)
    number = 0
    while True:
        name, data = files[number % len(files)]
        way = (*ways, in_words)[int(rng.integers(len(ways) + 1))]
        yield number, name, way(data, rng, files)
        number += 1


def attempt(book, path):
    """What came of a file, in a word."""
    try:
        if path.name.startswith("trace"):
            report_trace(read_trace(path))
        else:
            book.import_file(path, dry_run=True)
    except DyebookError:
        return "refused"
    except Exception as error:  # noqa: BLE001 -- whatever else comes is what we look for
        return f"{type(error).__name__}: {error}"
    return "understood"


def main():
    """Try damaged files for so long, and tell what came of them."""
    parser = command_line(__doc__)
    parser.add_argument("--seconds", type=float, default=120)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    warnings.simplefilter("ignore")
    warnings.filterwarnings("error", module="dyebook")
    files, outcomes, slowest, bad = list(seeds().items()), Counter(), 0.0, []
    deadline = time.monotonic() + asked.seconds
    with TemporaryDirectory() as folder, open_book(Path(folder) / "book") as book:
        for number, name, data in cases(files, asked.seed):
            path = Path(folder) / name
            write_case(path, data)
            start = time.process_time()
            outcome = attempt(book, path)
            spent = time.process_time() - start
            slowest = max(slowest, spent)
            known = outcome in ("refused", "understood")
            outcomes[name, outcome if known else "OTHER"] += 1
            if not known or spent > SLOW_S:
                bad.append(f"seed {asked.seed}, {number}: {name}: {outcome[:160]}, {spent:.1f} s")
            if time.monotonic() > deadline:
                break
    print("\n".join(f"{count:>7} {name} {outcome}" for (name, outcome), count in sorted(outcomes.items())))
    print(f"slowest {slowest:.2f} s of processor time; {len(bad)} broke a rule")
    print("\n".join(bad[:20]))


if __name__ == "__main__":
    main()

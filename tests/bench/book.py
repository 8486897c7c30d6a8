"""How fast the book is, and whether it loses anything; ratios to a named peer in the same run.

    python -m tests.bench.book [--part search add open import stations kill] [--folder DIR]

`--folder` should lie on the disk that a book would lie on; a folder in memory makes every sync free.
"""

import multiprocessing
import os
import random
import shutil
import signal
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path

import numpy as np

from dyebook.book.search import LabColumn
from dyebook.book.store import open_book
from dyebook.lab import Lab
from dyebook.record import DyeRecord, Reading
from tests.bench.command import command_line, machine, timed

PARTS = ("search", "add", "open", "import", "stations", "kill")
HEAD = "dye,film_um,dye_g_per_l,bath_temp_c,dwell_min,ph,L,a,b,alloy,dyed_at,note"


def record(step=0):
    """A record whose figures tell which one it is."""
    lab = Lab(20 + step % 60, step % 50 - 25, step % 70 - 35)
    settings = {"film_um": 5 + step % 20, "dye_g_per_l": 3, "bath_temp_c": 40, "dwell_min": 1 + step % 9}
    return DyeRecord("Harbour blue", **settings, ph=5.5, readings=(Reading(lab, (1,) * 3, (1,) * 3),))


def processor_time(function):
    """Seconds of processor time of a call, for work that waits for nothing: a busy machine does not lengthen it."""
    start = time.process_time()
    function()
    return time.process_time() - start


def show(name, ours, peer, words):
    """Print one row of the table."""
    print(f"{name:<44} {ours * 1000:>10.2f} ms {peer * 1000:>10.2f} ms {words}")


def bench_search(_folder):
    """Nearest 20 by CIEDE2000 among a million, against the whole column by colour-science."""
    import colour

    rng = np.random.default_rng(1)
    count = 1_000_000
    labs = np.column_stack([rng.uniform(5, 95, count), rng.normal(0, 30, count), rng.normal(0, 30, count)])
    column = LabColumn(labs, np.arange(count))
    ours, peer = [], []
    for target in rng.uniform([20, -50, -50], [90, 50, 50], (15, 3)):
        ours.append(timed(lambda t=target: column.nearest(t, 20), 3))
        start = time.perf_counter()
        everything = colour.delta_E(target, labs, method="CIE 2000")
        best = np.argpartition(everything, 20)[:20]
        peer.append(time.perf_counter() - start)
        best = best[np.lexsort((best, everything[best]))]
        assert [key for key, _ in column.nearest(target, 20)] == best.tolist(), "not the same 20"
    ratio = statistics.median(peer) / statistics.median(ours)
    show("nearest 20 of 1,000,000, warm", statistics.median(ours), statistics.median(peer), f"{ratio:.0f} x faster")
    print(f"{'  slowest of 15 targets':<44} {max(ours) * 1000:>10.2f} ms")


def bench_add(folder, count=60):
    """One batch with a 3 MB photo, against a bare file write, its sync, and one SQLite commit."""
    photos = [b"\xff\xd8\xff" + os.urandom(3_000_000) for _ in range(2 * count)]
    ours, bare = [], []
    with open_book(folder / "add.dyebook") as book, closing(_bare(folder / "bare.sqlite")) as connection:
        book.add_batch(record())
        for index in range(count):  # turn about, so that a busy disk hits both alike
            start = time.perf_counter()
            book.add_batch(record(index), photos[2 * index])
            ours.append(time.perf_counter() - start)
            start = time.perf_counter()
            with (folder / f"{index}.jpg").open("wb") as file:
                file.write(photos[2 * index + 1])
                file.flush()
                os.fsync(file.fileno())
            connection.execute("INSERT INTO batches VALUES (?)", (index,))
            bare.append(time.perf_counter() - start)
    ratio = statistics.median(ours) / statistics.median(bare)
    show("add a batch with photo, synced", statistics.median(ours), statistics.median(bare), f"{ratio:.2f} x")


def _bare(file):
    connection = sqlite3.connect(file, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("CREATE TABLE batches (number INTEGER)")
    return connection


def write_table(path, count):
    """A CSV of records."""
    rng = np.random.default_rng(2)
    lab = rng.uniform([10, -40, -40], [90, 40, 40], (count, 3)).round(3)
    lines = [
        f"Dye {i % 12},{5 + i % 20},{1 + i % 5},{30 + i % 30},{1 + i % 15},5.5,{row[0]},{row[1]},{row[2]},"
        f"6061,2026-03-{1 + i % 28:02},batch {i}"
        for i, row in enumerate(lab)
    ]
    path.write_text("\n".join([HEAD, *lines]), encoding="utf-8")
    return path


_PAGE = """
SELECT b.id, b.version, dyes.name, baths.name, r.film_um, d.dye_g_per_l, d.bath_temp_c, d.dwell_min, d.ph,
       r.film_measured_um, r.film_sd_um, r.area_dm2, r.current_density_a_per_dm2, r.electrolyte_temp_c, r.alloy,
       r.finish, b.dyed_at, b.note, b.added_at, b.added_by, g.L, g.a, g.b, g.L_sd, g.a_sd, g.b_sd, p.sha256
FROM batches b LEFT JOIN runs r ON r.id = b.run_id LEFT JOIN dips d ON d.batch_id = b.id
LEFT JOIN dyes ON dyes.id = d.dye_id LEFT JOIN baths ON baths.id = d.bath_id
LEFT JOIN readings g ON g.batch_id = b.id LEFT JOIN photos p ON p.id = g.photo_id
WHERE b.deleted_at IS NULL ORDER BY b.id DESC LIMIT 50
"""


def bench_open(folder):
    """Open a book of 100,000 batches and list its newest page, against the bare SQL."""
    place = folder / "open.dyebook"
    with open_book(place) as book:
        book.import_file(write_table(folder / "open.csv", 100_000))

    def ours():
        with open_book(place) as book:
            assert len(book.batches(50)) == 50

    def bare():
        with closing(sqlite3.connect(place / "book.sqlite")) as connection:
            assert len(connection.execute(_PAGE).fetchall()) == 50

    ours()
    pairs = [(processor_time(ours), processor_time(bare)) for _ in range(101)]
    mine, peer = (statistics.median(times) for times in zip(*pairs, strict=True))
    show("open 100,000 batches, list newest 50 (cpu)", mine, peer, f"{mine / peer:.1f} x")
    with open_book(place) as book:
        page, peer = timed(lambda: book.batches(50), 21), timed(bare, 21)
        show("  the page alone, book open", page, peer, f"{page / peer:.1f} x")
        cold = timed(lambda: book.find((50, 10, 10)), 1)
        show("  first find, then warm", cold, timed(lambda: book.find((50, 10, 10)), 5), "(cold, warm)")


def bench_import(folder):
    """Import 50,000 rows."""
    table = write_table(folder / "import.csv", 50_000)
    with open_book(folder / "import.dyebook") as book:
        _both_times("import 50,000 rows of CSV", lambda: book.import_file(table))
        _both_times("  export them as XLSX", lambda: book.export_file(folder / "all.xlsx"))
    with open_book(folder / "import2.dyebook") as book:
        _both_times("  import that XLSX", lambda: book.import_file(folder / "all.xlsx"))


def _both_times(name, function):
    start, start_cpu = time.perf_counter(), time.process_time()
    function()
    seconds, cpu = time.perf_counter() - start, time.process_time() - start_cpu
    print(f"{name:<44} {seconds:>10.2f} s, of which {cpu:.2f} s of processor time")


def add_many(place, count, acknowledged):
    """One station: adds batches, with photos, and writes each number down once it is known to be safe."""
    with open_book(place) as book, Path(acknowledged).open("a") as acknowledged_file:
        for index in range(count):
            number = book.add_batch(record(index), b"\xff\xd8\xff" + os.urandom(20_000))
            acknowledged_file.write(f"{number}\n")
            acknowledged_file.flush()


def bench_stations(folder, stations=8, each=50):
    """Eight processes add at once to a book that none of them has made yet."""
    place = folder / "stations.dyebook"
    lists = [folder / f"acknowledged{i}" for i in range(stations)]
    start = time.perf_counter()
    workers = [multiprocessing.Process(target=add_many, args=(place, each, acknowledged)) for acknowledged in lists]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    seconds = time.perf_counter() - start
    failed = sum(worker.exitcode != 0 for worker in workers)
    lost, problems, kept = _lost(place, lists)
    print(
        f"{stations} processes, {each} batches with photo each: {kept} kept, {lost} lost, {failed} failed, "
        f"check: {problems or 'sound'}, {seconds:.1f} s"
    )


def _lost(place, lists):
    acknowledged = [int(line) for path in lists if path.exists() for line in path.read_text().splitlines()]
    with open_book(place) as book:
        kept = {row.batch for row in book.batches()}
        return len(set(acknowledged) - kept) + len(acknowledged) - len(set(acknowledged)), book.check(), len(kept)


_STATION = "import sys; from tests.bench.book import add_many; add_many(sys.argv[1], 10**6, sys.argv[2])"
_IMPORT = (
    "import sys; from dyebook.book.store import open_book; book = open_book(sys.argv[1]); print(flush=True); "
    "book.import_file(sys.argv[2], duplicates='keep'); print('done', flush=True)"
)


def bench_kill(folder, writes=500, imports=12):
    """Stations killed at random moments of their writes, and of big imports."""
    rng = random.Random(4)
    place, acknowledged, kills = folder / "kill.dyebook", folder / "acknowledged", 0
    open_book(place).close()
    while not acknowledged.exists() or len(acknowledged.read_text().splitlines()) < writes:
        _run_and_kill([sys.executable, "-c", _STATION, place, acknowledged], rng.uniform(0.6, 2.5))
        kills += 1
    lost, problems, kept = _lost(place, [acknowledged])
    print(f"kill -9 {kills} times in {kept} writes: {lost} lost, check: {problems or 'sound'}")
    table, place, half, done = write_table(folder / "kill.csv", 5000), folder / "half.dyebook", 0, 0
    open_book(place).close()
    for _ in range(imports):
        _run_and_kill([sys.executable, "-c", _IMPORT, place, table], rng.uniform(0.8, 4))
        with open_book(place) as book, book.reading() as connection:
            kept = connection.exec_driver_sql("SELECT count(*) FROM batches").scalar()
        half += kept % 5000 != 0
        done = kept // 5000
    with open_book(place) as book:
        print(
            f"kill -9 in {imports} imports of 5,000 rows: {done} whole, {half} half, check: {book.check() or 'sound'}"
        )


def _run_and_kill(command, seconds):
    root = Path(__file__).parents[2]
    with subprocess.Popen([*map(str, command)], cwd=root, stdout=subprocess.DEVNULL, start_new_session=True) as worker:
        time.sleep(seconds)
        worker.send_signal(signal.SIGKILL)


def main():
    """Print the table."""
    parser = command_line(__doc__)
    parser.add_argument("--part", nargs="*", choices=PARTS, default=PARTS)
    parser.add_argument("--folder", type=Path, help="where to write; the system's temporary folder without it")
    options = parser.parse_args()
    print(f"{machine()}, median times: ours, peer")
    for part in options.part:
        folder = Path(tempfile.mkdtemp(prefix="book-bench-", dir=options.folder))
        try:
            globals()[f"bench_{part}"](folder)
        finally:
            shutil.rmtree(folder)


if __name__ == "__main__":
    main()

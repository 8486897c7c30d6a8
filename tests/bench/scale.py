"""How measuring many photos and keeping many readings grows.

    python -m tests.bench.scale [--photos 60] [--dask] [--memory 0] [--sizes 1,3,12] [--book 1000,10000] [--folder DIR]

Photos a second with one and with two workers and, with `--dask`, with two Dask workers on this machine, and the
processor time a photo, which tells what it costs where others use the machine too; memory of the workers over
`--memory` photos; time of each stage by the photo's size, and of each look-up by the book's size, each with the
exponent of the power law through them (1: in proportion).
"""

import os
import statistics
import time
from contextlib import contextmanager, nullcontext
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory

import cv2
import numpy as np
from sqlalchemy import insert

from dyebook.book.photos import DiskPhotos
from dyebook.book.readings import Waiting
from dyebook.book.schema import TABLES
from dyebook.book.store import open_book
from dyebook.jobs.remeasure import Task, as_done, measure_again, open_workers
from dyebook.record import DyeRecord
from tests.bench.command import command_line, machine, numbers, resident_mb, timed
from tests.bench.speed import STAGES, make_elsewhere, run

_MOMENT = "2026-01-01T00:00:00.000Z"


def exponent(sizes, seconds):
    """Slope of log time on log size."""
    return np.polyfit(np.log(sizes), np.log(seconds), 1)[0]


def make_tasks(folder, count, megapixels):
    """Tasks over one photo kept in a folder; each is read, checked and measured anew."""
    content = make_elsewhere(megapixels)
    with DiskPhotos(folder).keeping(content) as sha:
        pass
    waiting = Waiting(1, sha, "bench.jpg", ({"id": 1, "outline": None, "card": None, "camera": None},))
    return [Task(str(folder), waiting)] * count


def held(task):
    """What the worker that measured a photo holds afterwards: its process and megabytes."""
    measure_again(task)
    return os.getpid(), resident_mb()


@contextmanager
def dask_cluster():
    """Address of a scheduler with two workers, each its own process, on this machine only."""
    from distributed import LocalCluster

    with LocalCluster(2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None) as cluster:
        yield cluster.scheduler_address


def clocked(task):
    """Measure a photo; the process that did it and its processor time so far."""
    measure_again(task)
    return os.getpid(), time.process_time()


def rate(tasks, **workers):
    """Photos a second, and processor seconds a photo in the workers and in the lead, once the workers are warm."""
    with open_workers(**workers) as (crew, size):
        clocks = {}
        for pid, clock in as_done(crew, size, clocked, tasks[: 4 * size]):
            clocks.setdefault(pid, []).append(clock)
        start, start_cpu = time.perf_counter(), time.process_time()
        for pid, clock in as_done(crew, size, clocked, tasks):
            clocks.setdefault(pid, []).append(clock)
        seconds, lead = time.perf_counter() - start, time.process_time() - start_cpu
    # from a worker's first clock on: what lies between two photos counts too
    spent = sum(max(values) - min(values) for values in clocks.values())
    return len(tasks) / seconds, spent / sum(len(values) - 1 for values in clocks.values()), lead / len(tasks)


def show_workers(tasks, dask, count):
    """Rates and costs; rounds alternate, so that a busy machine slows all alike."""
    rounds = {"1 process": [], "2 processes": []}
    with dask_cluster() if dask else nullcontext() as address:
        for _ in range(count):
            rounds["1 process"].append(rate(tasks, count=1))
            rounds["2 processes"].append(rate(tasks, count=2))
            if dask:
                rounds.setdefault("2 Dask workers", []).append(rate(tasks, scheduler=address))
    print(f"{machine()}; {len(tasks)} photos, best of {count} rounds")
    for name, values in rounds.items():
        best, spent, lead = max(values)[0], min(v[1] for v in values), min(v[2] for v in values)
        print(
            f"  {name:<16} {best:6.2f} photos/s  {1000 * spent:6.0f} ms in the worker {1000 * lead:5.1f} ms in the lead"
        )


def show_memory(tasks):
    """Memory of the workers, in the second quarter and in the last."""
    by_worker = {}
    with open_workers(2) as (crew, size):
        for pid, megabytes in as_done(crew, size, held, tasks):
            by_worker.setdefault(pid, []).append(megabytes)
    for values in by_worker.values():
        quarter = len(values) // 4
        early, late = statistics.median(values[quarter : 2 * quarter]), statistics.median(values[-quarter:])
        print(f"  worker: {len(values)} photos, {early:.0f} MB early, {late:.0f} MB late")


def show_sizes(sizes):
    """Median processor seconds of each stage by megapixels."""
    cv2.setNumThreads(1)
    rows = {name: [] for name, _ in STAGES}
    for size in sizes:
        times, _ = run(make_elsewhere(size), STAGES, 3, clock=time.process_time)
        for name, values in times.items():
            rows[name].append(statistics.median(values))
    print("stage            " + "".join(f"{size:>8g} MP" for size in sizes) + "   exponent")
    for name, values in rows.items():
        figures = "".join(f"{value:>9.3f} s" for value in values)
        print(f"  {name:<15}{figures}   {exponent(sizes, values):.2f}" if len(sizes) > 1 else f"  {name:<15}{figures}")


def grow(book, first, last):
    """Add batches numbered from first to last, each with one reading, below the checks."""
    rng = np.random.default_rng(first)
    labs = rng.uniform([10, -40, -40], [90, 40, 40], (last - first, 3)).tolist()
    kept = {"added_at": _MOMENT, "added_by": "bench", "version": 1}
    numbers = range(first + 1, last + 1)
    with book.writing() as connection:
        template = {name: dict(row) for name, row in first_rows(connection).items()}
        for name in ("runs", "batches", "dips"):
            rows = [template[name] | kept | ownnumbers(template[name], number) for number in numbers]
            connection.execute(insert(TABLES[name]), rows)
        rows = [
            {"id": number, "batch_id": number, "L": L, "a": a, "b": b, "source": "typed", **kept}
            for number, (L, a, b) in zip(numbers, labs, strict=True)
        ]
        connection.execute(insert(TABLES["readings"]), rows)


def first_rows(connection):
    """First run, batch and dip of the book."""
    return {
        name: connection.execute(TABLES[name].select().limit(1)).mappings().one()
        for name in ("runs", "batches", "dips")
    }


def ownnumbers(row, number):
    """What differs from row to row: its own number and those of the batch and run it belongs to."""
    return {name: number for name in ("id", "batch_id", "run_id") if name in row}


def show_book(folder, sizes):
    """Seconds of everyday work by the number of readings in the book."""
    record = DyeRecord("Ember", film_um=12, dye_g_per_l=3, bath_temp_c=40, dwell_min=5)
    with open_book(folder / "grown.dyebook") as book:
        book.add_batch(record)
        book.find((50, 10, -20))  # loads what the first search needs
        rows = {"newest page": [], "add": [], "find, first time": [], "find": []}
        for before, size in pairwise((1, *sizes)):
            grow(book, book.batches(1)[0].batch, size + book.batches(1)[0].batch - before)
            with open_book(folder / "grown.dyebook") as fresh:
                rows["find, first time"].append(timed(lambda fresh=fresh: fresh.find((50, 10, -20)), 1))
                rows["find"].append(timed(lambda fresh=fresh: fresh.find((50, 10, -20)), 5))
            rows["newest page"].append(timed(lambda: book.batches(50), 5))
            rows["add"].append(timed(lambda: book.add_batch(record), 5))
    print("book, readings    " + "".join(f"{size:>11,}" for size in sizes) + "   exponent")
    for name, values in rows.items():
        figures = "".join(f"{1000 * value:>8.1f} ms" for value in values)
        print(f"  {name:<16}{figures}   {exponent(sizes, values):.2f}" if len(sizes) > 1 else f"  {name:<16}{figures}")


def main():
    """Run what was asked for."""
    parser = command_line(__doc__)
    parser.add_argument("--photos", type=int, default=60, help="0 leaves this part out")
    parser.add_argument("--megapixels", type=float, default=0.3)
    parser.add_argument("--dask", action="store_true")
    parser.add_argument("--rounds", type=int, default=2)
    parser.add_argument("--memory", type=int, default=0, help="photos to watch the workers' memory over")
    parser.add_argument("--sizes", default="1,3,12", help="megapixels; empty leaves this part out")
    parser.add_argument("--book", default="1000,10000,100000", help="readings; empty leaves this part out")
    parser.add_argument("--folder", type=Path)
    asked = parser.parse_args()
    with TemporaryDirectory(dir=asked.folder) as folder:
        if asked.photos:
            show_workers(make_tasks(Path(folder) / "photos", asked.photos, asked.megapixels), asked.dask, asked.rounds)
        if asked.memory:
            show_memory(make_tasks(Path(folder) / "more", asked.memory, asked.megapixels))
        if asked.sizes:
            show_sizes(numbers(asked.sizes, float))
        if asked.book:
            show_book(Path(folder), numbers(asked.book, int))


if __name__ == "__main__":
    main()

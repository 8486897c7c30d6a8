"""Damaged photos through the whole of `measure`: a result or a `PhotoError`, in bounded time and memory.

    python -m tests.bench.mutate [--count 3000] [--seed 1] [--seconds 3] [--megabytes 1500]

Half are the small files of every kind that is read, half a photo with a card and parts, so that damage also reaches the
finders; flipped bits, cuts, holes, splices, repeats, extreme numbers, and files of two kinds in one. A child process
measures them by the score; a crash, any other error, more processor time or more memory is printed with its name.
"""

import resource
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from itertools import chain, islice
from multiprocessing import get_context

import cv2
import numpy as np

from tests.bench.command import command_line
from tests.photo import mutations as damage

_CHUNK = 20


def scene_files():
    """One small photo with a card and a part, as JPEG and as PNG."""
    from dyebook.lab import Lab
    from tests.render.photo import picture
    from tests.render.plan import plain_scene

    image = picture(plain_scene(Lab(45, 10, -40), noise=0.01, seed=3)).codes[..., ::-1]
    small = cv2.resize(image, (320, 240), interpolation=cv2.INTER_AREA)
    return [(f"scene {kind}", cv2.imencode(f".{kind}", small)[1].tobytes()) for kind in ("jpg", "png")]


def two_kinds(data, rng, _):
    """A page, an archive or a program before, or after, the photo."""
    other = (b"<html><script>", b"PK\x03\x04" + bytes(40), b"%PDF-1.7\n", b"MZ" + bytes(60), b"GIF89a")[rng.integers(5)]
    return other + data if rng.random() < 0.3 else data + other


def damaged_scenes(count, seed):
    """Yield (name, bytes), as `tests.photo.mutations.mutations` does."""
    rng, files = np.random.default_rng(seed), scene_files()
    ways = [damage._flip_bits, damage._cut, damage._hole, damage._splice, damage._repeat, damage._extreme, two_kinds]
    for number in range(count):
        kind, data = files[number % len(files)]
        way = ways[number // len(files) % len(ways)]
        yield f"{number}: {kind}, {way.__name__.strip('_')}", way(data, rng, files)


def try_all(cases):
    """Outcome, processor seconds and peak megabytes of each case."""
    import warnings

    from dyebook.errors import PhotoError
    from dyebook.photo.measure import measure

    warnings.simplefilter("ignore")
    cv2.setNumThreads(1)
    rows = []
    for name, data in cases:
        start = time.process_time()
        try:
            outcome = "measured" if measure(data).parts else "no part"
        except PhotoError:
            outcome = "PhotoError"
        except Exception as error:  # noqa: BLE001 -- whatever else comes is what we look for
            outcome = f"{type(error).__name__}: {error}"
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        rows.append((name, outcome, time.process_time() - start, peak))
    return rows


def main():
    """Run, count and list what should not have happened."""
    parser = command_line(__doc__)
    parser.add_argument("--count", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=3)
    parser.add_argument("--megabytes", type=float, default=1500)
    asked = parser.parse_args()
    half = asked.count // 2
    cases = chain(damage.mutations(half, asked.seed), damaged_scenes(asked.count - half, asked.seed))
    outcomes, slowest, largest, bad = Counter(), 0.0, 0.0, []
    # a crash of the child breaks the pool and is seen
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as child:
        while chunk := list(islice(cases, _CHUNK)):
            rows = child.submit(try_all, chunk).result(timeout=_CHUNK * 30)
            for name, outcome, seconds, megabytes in rows:
                known = outcome in ("measured", "no part", "PhotoError")
                outcomes[outcome if known else "OTHER"] += 1
                slowest, largest = max(slowest, seconds), max(largest, megabytes)
                if not known or seconds > asked.seconds or megabytes > asked.megabytes:
                    bad.append(f"{name}: {outcome}, {seconds:.1f} s, {megabytes:.0f} MB")
    print(", ".join(f"{count} {name}" for name, count in outcomes.most_common()))
    print(f"slowest {slowest:.2f} s of processor time, largest process {largest:.0f} MB; {len(bad)} broke a rule")
    print("\n".join(bad[:20]))


if __name__ == "__main__":
    main()

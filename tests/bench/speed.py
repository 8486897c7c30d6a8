"""Time and memory of the way from the bytes of a photo to a reading, beside plain decoding, in one run.

    python -m tests.bench.speed [--photo FILE] [--megapixels 12] [--repeat 7] [--peer] [--cpu]

Every stage is a row: a name and a function of what the stages before it left. Each round runs all stages once, so
that a busy machine slows them alike; the table shows medians and their ratio to `cv2.imdecode` of the same bytes. The
last row is `dyebook.measure` on the bytes, which is all of them at once. The peer, in a process of its own so that its
memory is not counted, takes its turn after each round. `--cpu` counts processor time instead of the clock's, for a
machine that has other work.
"""

import argparse
import platform
import resource
import statistics
import time
from concurrent.futures import ProcessPoolExecutor
from io import BytesIO
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from dyebook.photo.card.find import find_card
from dyebook.photo.file.read import read_photo
from dyebook.photo.flaw.find import with_flaws
from dyebook.photo.light import fit_light
from dyebook.photo.mat import find_mat
from dyebook.photo.measure import measure
from dyebook.photo.part.find import find_parts
from dyebook.photo.reading import read_parts

REDUCED_SIDE = 1000
PEER = "colour-science"


def make_jpeg(megapixels, seed=12):
    """Bytes of a JPEG of a rendered bench with a card and parts, with the fine noise of a phone's picture."""
    from tests.render import make_scenes
    from tests.render.photo import picture

    width = round((megapixels * 1e6 * 4 / 3) ** 0.5 / 4) * 4
    codes = picture(make_scenes(seed, "parts", width, width * 3 // 4, camera="reflex")[0]).codes
    noise = np.empty(codes.shape, np.int16)
    cv2.setRNGSeed(seed)
    cv2.randn(noise, (0, 0, 0), (4, 4, 4))
    picture = cv2.add(codes[..., ::-1], noise, dtype=cv2.CV_8U)
    return cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 92])[1].tobytes()


def make_elsewhere(megapixels):
    """`make_jpeg` in a process of its own, so that its memory is not counted."""
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        return pool.submit(make_jpeg, megapixels).result()


def decode(state):
    """The yardstick: plain decoding of the same bytes."""
    return cv2.imdecode(np.frombuffer(state["data"], np.uint8), cv2.IMREAD_COLOR)


def read(state):
    """Bytes to a photo."""
    state["photo"] = read_photo(state["data"], quick=True)


def reduce(state):
    """The small picture in linear light that the finders work on."""
    state["photo"].reduced(REDUCED_SIDE)


def card(state):
    """The grey card, found by itself."""
    state["card"] = find_card(state["photo"])


def mat(state):
    """A photo mat, if there is one."""
    find_mat(state["photo"])


def parts(state):
    """The light and the parts, found by themselves."""
    state["light"] = fit_light(state["photo"], state["card"])
    state["parts"] = find_parts(state["photo"], state["card"], state["light"])


def readings(state):
    """The colours of the parts."""
    state["seen"] = read_parts(state["photo"], state["light"], state["card"], state["parts"])


def flaws(state):
    """The flaws of the parts."""
    for evidence, part in zip(state["seen"], state["parts"], strict=True):
        with_flaws(evidence, state["photo"], state["light"], part)


def everything(state):
    """From the bytes to the measurement, by the public function."""
    measure(state["data"])


def time_peer(data, clock=time.perf_counter):
    """Seconds that colour-science takes for sRGB to Lab over the whole frame, decoding not counted."""
    import colour

    codes = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR_RGB)
    start = clock()
    colour.XYZ_to_Lab(colour.sRGB_to_XYZ(codes / 255.0))
    return clock() - start


STAGES = [
    ("cv2.imdecode", decode),
    ("read", read),
    ("reduced", reduce),
    ("card", card),
    ("mat", mat),
    ("parts", parts),
    ("readings", readings),
    ("flaws", flaws),
    ("measure", everything),
]


def run(data, stages, repeat, peer=None, clock=time.perf_counter):
    """Seconds of each stage, a list per stage, and the peak memory (MB) after each round.

    `peer`, a function without parameters that returns its own seconds, is called after each round.
    """
    times, peaks = {name: [] for name, _ in stages}, []
    for _ in range(repeat):
        state = {"data": data}
        for name, stage in stages:
            start = clock()
            stage(state)
            times[name].append(clock() - start)
        peaks.append(peak_mb())
        if peer is not None:
            times.setdefault(PEER, []).append(peer())
    return times, peaks


def peak_mb():
    """Peak resident memory of this process so far, MB (Linux counts in KB, macOS in bytes)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e6 if platform.system() == "Darwin" else 1e3)


def report(times, peaks):
    """Print the table."""
    medians = {name: statistics.median(values) for name, values in times.items()}
    unit = medians["cv2.imdecode"]
    print(f"{'stage':24s} {'median ms':>10s} {'first ms':>10s} {'× imdecode':>10s}")
    for name, values in times.items():
        print(f"{name:24s} {1e3 * medians[name]:10.1f} {1e3 * values[0]:10.1f} {medians[name] / unit:10.2f}")
    print(f"{'bytes to reading':24s} {_median_ratio(times['measure'], times['cv2.imdecode']):32.2f}")
    if PEER in times:
        ratio = _median_ratio(times[PEER], times["measure"])
        print(f"sRGB to Lab of the frame by {PEER}: {ratio:.1f} × bytes to reading")
    print(f"peak memory: {peaks[0]:.0f} MB after the first round, {peaks[-1]:.0f} MB after the last")


def _median_ratio(times, yardstick):
    """Middle quotient of each round's own times: a machine that slows down between rounds does not blur it."""
    return statistics.median(time / unit for time, unit in zip(times, yardstick, strict=True))


def main():
    """Parse the options, run, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photo", type=Path, help="a photo of your own instead of a made one")
    parser.add_argument("--megapixels", type=float, default=12)
    parser.add_argument("--repeat", type=int, default=7)
    parser.add_argument("--peer", action="store_true", help="also colour-science over the full frame (slow)")
    parser.add_argument("--cpu", action="store_true", help="processor time instead of the clock's")
    options = parser.parse_args()
    clock = time.process_time if options.cpu else time.perf_counter
    cv2.setNumThreads(1)
    data = options.photo.read_bytes() if options.photo else make_elsewhere(options.megapixels)
    width, height = Image.open(BytesIO(data)).size
    print(f"{platform.machine()}, OpenCV {cv2.__version__}, one thread; {width} × {height}, {len(data) / 1e6:.1f} MB")
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        peer = (lambda: pool.submit(time_peer, data, clock).result()) if options.peer else None
        report(*run(data, STAGES, options.repeat, peer, clock))


if __name__ == "__main__":
    main()

"""Seconds and memory of whole measurements of pictures full of patterns, the worst that finders are given.

    python -m tests.bench.textures [--megapixels 12] [--only holes-120 …]

Each pattern is read three times, each in a process of its own: with nothing told, with a card pointed out, so that
parts are looked for, and with one large part, so that flaws are. Processor time is given: other work slows the clock.
"""

import argparse
import subprocess
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np

__all__ = ["TEXTURES", "texture"]

# a pattern and its pitch in pixels of a 4000 px wide picture
TEXTURES = (
    *(f"chequer-{pitch}" for pitch in (20, 80, 130, 200, 320)),
    *(f"{kind}-{pitch}" for kind in ("holes", "tiles", "discs") for pitch in (60, 120, 160, 220)),
    *("tiles-320", "gingham-60", "gingham-220", "stripes-30", "rings-60", "blobs-90", "noise-1", "moire-7"),
)


def texture(name, width, height, scale=1.0):
    """Return a pattern as sRGB codes (height, width, 3); `scale` makes its pitch smaller."""
    kind, pitch = name.split("-")
    pitch, rng = float(pitch) * scale, np.random.default_rng(7)
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    row, column = (y / pitch).astype(int), (x / pitch).astype(int)
    across, down = x % pitch / pitch, y % pitch / pitch
    shades = rng.integers(30, 230, (row.max() + 1, column.max() + 1, 3)).astype(np.float32)
    if kind in ("tiles", "discs"):
        gap = (across < 0.1) | (down < 0.1) if kind == "tiles" else np.hypot(across - 0.5, down - 0.5) > 0.34
        codes = np.where(gap[..., None], 215.0 if kind == "discs" else 20.0, shades[row, column])
    elif kind == "blobs":
        few = rng.normal(128, 80, (max(2, round(height / pitch)), max(2, round(width / pitch)))).astype(np.float32)
        codes = cv2.resize(few, (width, height), interpolation=cv2.INTER_CUBIC)
    else:
        codes = {
            "chequer": lambda: 40.0 + 170 * ((row + column) % 2),
            "holes": lambda: np.where(np.hypot(across - 0.5, down - 0.5) < 0.31, 30.0, 190.0),
            "gingham": lambda: 90.0 + 50 * (row % 2) + 50 * (column % 2),
            "stripes": lambda: 40.0 + 170 * (column % 2),
            "rings": lambda: 127 + 90 * np.sin(2 * np.pi * np.hypot(x - width / 2, y - height / 2) / pitch),
            "noise": lambda: rng.normal(128, 60, x.shape),
            "moire": lambda: 127 + 60 * np.sin(6.3 * x / pitch) + 60 * np.sin(6.3 * (x + 0.03 * y) / pitch),
        }[kind]()
    codes = np.clip(codes, 0, 255).astype(np.uint8)
    return codes if codes.ndim == 3 else np.dstack([codes] * 3)


_READ = """
import resource, sys, time
from pathlib import Path
import cv2
from dyebook import DyebookError, measure
cv2.setNumThreads(1)
data, given, ended = Path(sys.argv[1]).read_bytes(), {}, "nothing told"
width, height = map(int, sys.argv[2:4])

def box(low, high):
    return [(x * width, y * height) for x, y in ((low, low), (high, low), (high, high), (low, high))]

if sys.argv[4] == "given":
    given = {"card_at": box(0.42, 0.55)}
if sys.argv[4] == "part":
    given = {"no_card": True, "part_at": [box(0.1, 0.9)]}
start = time.process_time()
try:
    ended = f"{len(measure(data, **given).parts)} parts"
except DyebookError as refusal:
    ended = type(refusal).__name__
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
print(f"{time.process_time() - start:.2f} {peak:.0f} {ended}")
"""


def _write(file, name, width, height):
    codes = texture(name, width, height, scale=width / 4000)
    cv2.imwrite(file, codes, [cv2.IMWRITE_JPEG_QUALITY, 90])


def main():
    """Print a line for each pattern and way of reading."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--megapixels", type=float, default=12)
    parser.add_argument("--only", nargs="+", choices=TEXTURES, default=TEXTURES, metavar="PATTERN-PITCH")
    options = parser.parse_args()
    width = round((options.megapixels * 1e6 * 4 / 3) ** 0.5)
    size, worst = (width, width * 3 // 4), [0.0, 0.0]
    # drawn elsewhere: a process counts as its own what the one that started it has held
    with tempfile.TemporaryDirectory() as folder, ProcessPoolExecutor(1, get_context("spawn")) as pool:
        file = str(Path(folder) / "texture.jpg")
        for name in options.only:
            pool.submit(_write, file, name, *size).result()
            for way in ("alone", "given", "part"):
                words = [sys.executable, "-c", _READ, file, *map(str, size), way]
                said = subprocess.run(words, capture_output=True, text=True, check=True).stdout
                seconds, peak, ended = said.split(" ", 2)
                worst = [max(worst[0], float(seconds)), max(worst[1], float(peak))]
                print(f"{name:14s} {way:6s} {seconds:>6s} s {peak:>5s} MB  {ended.strip()}", flush=True)
    print(f"worst: {worst[0]:.2f} s, {worst[1]:.0f} MB")


if __name__ == "__main__":
    main()

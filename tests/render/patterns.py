"""What lies on a surface, as layers over its (u, v): share of the second material, dirt, and tilt of the normal.

A layer is (SIZE, SIZE, 4) float32: the share 0..1 of the thing's `other` material, the share that dust or a fingerprint
covers, and the slopes along u and v. The second material is mixed where a dye is: in absorbance; paints in reflectance.
"""

import cv2
import numpy as np

from tests.render.scene import TABLES

SIZE = 1024
FLAWS = ("spot", "streak", "pale_zone", "gradient", "pit", "two_tone")
DIRT = 0.35  # reflectance of dust
_CLOUDS = {"paper": 0.04, "table": 0.22, "plastic": 0.08}  # how much even grounds vary
_GRAIN = TABLES["grain_mm"]
_WAVE = 0.003  # slope of the shallow waves of sheet and lathe: a lamp's mirror image bends, and does not break up


def _noise(rng, sizes, shape=SIZE):
    """Soft noise of unit spread; `sizes` (rows, columns) in pixels."""
    small = [max(4, int(np.ceil(shape / s)) + 3) for s in sizes]
    grain = rng.standard_normal(small).astype(np.float32)
    grain = cv2.resize(grain, (shape, shape), interpolation=cv2.INTER_CUBIC)
    return (grain - grain.mean()) / max(grain.std(), 1e-6)


def _grid():
    v, u = np.meshgrid(*[(np.arange(SIZE, dtype=np.float32) + 0.5) / SIZE] * 2, indexing="ij")
    return u, v


def _soft(signed, width):
    return np.clip(0.5 - signed / width, 0, 1)


def _spot(rng, u, v, size_mm):
    at, r = rng.uniform(0.25, 0.75, 2), rng.uniform(0.1, 0.22) * size_mm.min()
    away = np.hypot((u - at[0]) * size_mm[0], (v - at[1]) * size_mm[1]) * (1 + 0.12 * _noise(rng, (120, 120)))
    return _soft(away - r, rng.uniform(0.2, 0.8) * r)


def _streak(rng, u, v, size_mm):
    at, lean, wide = rng.uniform(0.25, 0.75), rng.normal(0, 0.25), rng.uniform(0.03, 0.08)
    along = rng.random() < 0.5
    s, t = (u, v) if along else (v, u)
    away = np.abs(t - at - lean * (s - 0.5) - 0.015 * _noise(rng, (200, 200)))
    ends = rng.uniform(0.25, 0.5)
    return _soft(away - wide, 0.05) * _soft(np.abs(s - rng.uniform(0.4, 0.6)) - ends, 0.1)


def _pale_zone(rng, u, v, size_mm):
    at = np.array([rng.choice([0.0, 1.0]), rng.uniform(0.2, 0.8)])
    away = np.hypot((u - at[0]) * size_mm[0], (v - at[1]) * size_mm[1]) * (1 + 0.15 * _noise(rng, (250, 250)))
    return _soft(away - rng.uniform(0.3, 0.5) * size_mm.max(), 0.3 * size_mm.max())


def _gradient(rng, u, v, size_mm):
    return np.clip((u if rng.random() < 0.5 else 1 - u) * 1.1 - 0.05 + 0.02 * _noise(rng, (300, 300)), 0, 1)


def _pit(rng, u, v, size_mm):
    cover = np.zeros_like(u)
    for _ in range(int(rng.integers(2, 9))):
        at, r = rng.uniform(0.12, 0.88, 2), rng.uniform(0.15, 0.5)
        cover = np.maximum(cover, _soft(np.hypot((u - at[0]) * size_mm[0], (v - at[1]) * size_mm[1]) - r, 0.2))
    return cover


def _two_tone(rng, u, v, size_mm):
    return _soft(u - rng.uniform(0.35, 0.65) - 0.008 * _noise(rng, (180, 180)), 0.02)


def _steps(rng, u, v, lengths):
    """Bands along u, from none of the other material to all of it."""
    ends = np.cumsum(lengths)[:-1] / np.sum(lengths)
    place = u + 0.006 * _noise(rng, (160, 160))
    return sum(place > end for end in ends) / np.float32(len(ends))


def _print(rng, u, v, size_mm):
    """Invented small print along one edge and a rule along another."""
    ink, place = np.zeros_like(u), 0.06
    while place < 0.7:
        wide = rng.uniform(0.008, 0.03)
        letter = (np.abs(u - place - wide / 2) < wide / 2) & (np.abs(v - 0.035) < rng.uniform(0.006, 0.014))
        ink = np.maximum(ink, letter)
        place += wide + (0.006 if rng.random() < 0.8 else 0.02)
    ticks = (np.abs((u * size_mm[0]) % 5 - 2.5) < 0.15) & (v > 0.965)
    return np.maximum(ink, ticks)


PATTERNS = {
    "spot": _spot, "streak": _streak, "pale_zone": _pale_zone, "gradient": _gradient, "pit": _pit,
    "two_tone": _two_tone, "steps": _steps, "print": _print,
}  # fmt: skip


def layer_of(thing, size_mm):
    """Return the layer of a thing, or None where it is plain; `size_mm` are the lengths of u and v on its surface."""
    if not (thing.pattern or thing.wear or thing.finish.name in _GRAIN):
        return None
    rng, (u, v), size = np.random.default_rng(thing.seed), _grid(), np.array(size_mm)
    layer = np.zeros((SIZE, SIZE, 4), np.float32)
    kind, _, lengths = thing.pattern.partition(":")
    if kind:
        layer[..., 0] = PATTERNS[kind](rng, u, v, [float(n) for n in lengths.split(",")] if lengths else size)
    if thing.finish.name in _GRAIN:
        _grain(layer, rng, size, *_GRAIN[thing.finish.name])
    if thing.wear:
        _wear(layer, thing.wear, rng)
    return layer


def _grain(layer, rng, size_mm, across_mm, along_mm, slope):
    """The finish's own relief, and the waves of sheet and lathe: slopes along u and v."""
    per_mm = SIZE / np.maximum(size_mm, 1)
    for axis in (0, 1):
        grain = _noise(rng, (max(across_mm * per_mm[1], 1.2), max(along_mm * per_mm[0], 1.2)))
        wave = _noise(rng, (9 * per_mm[1], 13 * per_mm[0]))
        layer[..., 2 + axis] = slope * (grain if axis or across_mm == along_mm else 0.1 * grain) + _WAVE * wave


def _wear(layer, wear, rng):
    """Dust, hair scratches and a fingerprint."""
    dust = np.zeros((SIZE, SIZE), np.float32)
    for x, y, r in zip(rng.integers(0, SIZE, 90), rng.integers(0, SIZE, 90), rng.uniform(1, 3.2, 90), strict=True):
        if rng.random() < wear:
            cv2.circle(dust, (int(x), int(y)), int(r), float(rng.uniform(0.3, 0.9)), -1, cv2.LINE_AA)
    if rng.random() < wear:  # a thumb: ridges within an oval
        u, v = _grid()
        at, turn = rng.uniform(0.2, 0.8, 2), rng.uniform(0, np.pi)
        x, y = u - at[0], v - at[1]
        x, y = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
        ridges = 0.5 + 0.5 * np.sin(260 * np.hypot(x, y + 0.05) + 2 * _noise(rng, (90, 90)))
        dust = np.maximum(dust, 0.14 * ridges * _soft(np.hypot(x / 0.12, y / 0.17) - 1, 0.5))
    layer[..., 1] = dust
    for _ in range(int(rng.poisson(5 * wear))):
        line = np.zeros((SIZE, SIZE), np.float32)
        start, reach, turn = rng.uniform(0, SIZE, 2), rng.uniform(60, 400), rng.uniform(0, np.pi)
        end = start + reach * np.array([np.cos(turn), np.sin(turn)])
        cv2.line(line, tuple(start.astype(int).tolist()), tuple(end.astype(int).tolist()), 1.0, 1, cv2.LINE_AA)
        layer[..., 2] -= 0.35 * line * np.sin(turn)
        layer[..., 3] += 0.35 * line * np.cos(turn)


def ground_layer(ground, size_mm):
    """Return the layer of a bench top of `size_mm` (one number: it is square), or None where it is plain."""
    if ground.kind == "plain":
        return None
    rng, (u, v) = np.random.default_rng(ground.seed), _grid()
    layer = np.zeros((SIZE, SIZE, 4), np.float32)
    if ground.kind == "wood":
        board = np.floor(v * size_mm / rng.uniform(70, 120))
        shift = rng.uniform(-3, 3, int(board.max()) + 1)[board.astype(int)]
        bent = v * size_mm / 9 + 0.8 * _noise(rng, (90, 700)) + shift + 0.5 * np.sin(3 * u + shift)
        rings = np.sin(2 * np.pi * bent)
        layer[..., 0] = np.clip(0.45 + 0.3 * rings + 0.13 * _noise(rng, (2, 160)) + 0.1 * _noise(rng, (5, 90)), 0, 1)
        layer[..., 3] = 0.05 * _noise(rng, (2, 160))
    elif ground.kind == "cloth":
        pitch = rng.uniform(1.4, 2.4)
        a, b = (np.sin(2 * np.pi * t * size_mm / pitch + 0.4 * _noise(rng, (60, 60))) for t in (u, v))
        layer[..., 2], layer[..., 3] = 0.45 * a, 0.45 * b
        layer[..., 0] = np.clip(0.5 + 0.22 * a * b + 0.16 * _noise(rng, (3, 3)), 0, 1)
        fold = _noise(rng, (420, 420))
        layer[..., 2] += 2.5 * cv2.Sobel(fold, cv2.CV_32F, 1, 0)
        layer[..., 3] += 2.5 * cv2.Sobel(fold, cv2.CV_32F, 0, 1)
    elif ground.kind == "mat":
        near = np.minimum(*(np.abs((t * size_mm + 5) % 10 - 5) for t in (u, v)))
        layer[..., 0] = _soft(near - 0.14, 0.3)
    else:
        clouds = _CLOUDS[ground.kind] * _noise(rng, (60, 60))
        layer[..., 0] = np.clip(0.5 + clouds + 0.06 * _noise(rng, (2, 2)), 0, 1)
        slope = 0.02 if ground.kind == "paper" else 0.006  # more would glitter under gloss
        layer[..., 2], layer[..., 3] = slope * _noise(rng, (3, 3)), slope * _noise(rng, (3, 3))
    return layer

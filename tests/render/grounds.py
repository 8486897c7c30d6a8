"""Bench tops: brightness and blend of two paints over the picture."""

import cv2
import numpy as np

__all__ = ["KINDS", "ground_fields", "smooth_noise"]


def smooth_noise(rng, shape, cell_px, stretch=1.0):
    """Return noise of mean 0 and standard deviation about 1, smooth over cells; `stretch` lengthens them along x."""
    height, width = shape
    rows = max(2, int(np.ceil(height / cell_px)) + 2)
    columns = max(2, int(np.ceil(width / (cell_px * stretch))) + 2)
    small = rng.standard_normal((rows, columns)).astype(np.float32)
    return 1.3 * cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC)


def _turned(x, y, turn_deg):
    cos, sin = np.float32(np.cos(np.radians(turn_deg))), np.float32(np.sin(np.radians(turn_deg)))
    return cos * x + sin * y, cos * y - sin * x


def _texture(rng, u, v, cell_u, cell_v, blur=(0, 0)):
    """Noise fixed to the bench: a tile, cells of the given millimetres, laid over u and v."""
    tile = rng.standard_normal((512, 512)).astype(np.float32)
    if any(blur):
        edge = 64
        tile = cv2.copyMakeBorder(tile, edge, edge, edge, edge, cv2.BORDER_WRAP)
        tile = cv2.GaussianBlur(tile, (0, 0), max(blur[0], 0.01), sigmaY=max(blur[1], 0.01))[edge:-edge, edge:-edge]
        tile /= tile.std()
    return cv2.remap(tile, u / cell_u, v / cell_v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)


def _plain(rng, u, v, px_mm):
    return np.ones_like(u), np.zeros_like(u)


def _paper(rng, u, v, px_mm):
    shade = 1 + 0.006 * _texture(rng, u, v, 0.4, 0.4) + 0.01 * smooth_noise(rng, u.shape, u.shape[1] / 5)
    ruled = rng.random() < 0.25
    lines = np.clip(0.5 + (0.12 - np.abs((v + 4) % 8 - 4)) / px_mm, 0, 1) if ruled else np.zeros_like(u)
    return shade * (1 - 0.35 * lines), np.zeros_like(u)


def _cloth(rng, u, v, px_mm):
    pitch = max(rng.uniform(0.5, 1.0), 2.5 * px_mm)
    u = u + 0.12 * _texture(rng, u, v, 3, 3)
    v = v + 0.12 * _texture(rng, u, v, 3, 3)
    k = np.float32(np.pi / pitch)
    weave = np.sin(k * u) ** 2 * np.sin(k * v) ** 2
    folds = smooth_noise(rng, u.shape, u.shape[1] / 3.5, rng.uniform(0.5, 2))
    fibres = _texture(rng, u, v, 0.25, 0.25)
    shade = (0.75 + 0.6 * weave) * (1 + 0.10 * fibres) * (1 + 0.05 * folds)
    return shade, np.zeros_like(u)


def _wood(rng, u, v, px_mm):
    bend = rng.uniform(3, 9) * _texture(rng, u, v, 9, 4, (8, 6)) + 0.5 * _texture(rng, u, v, 3, 1, (8, 2))
    rings = (v + bend) / rng.uniform(2, 7)
    saw = rings - np.floor(rings)
    late = np.clip((saw - 0.45) * 1.8, 0, 1) ** 2 * np.clip((1 - saw) * 12, 0, 1)
    fibre = _texture(rng, u, v, 0.25, 0.12, (18, 0.7))
    pores = np.clip(_texture(rng, u, v, 0.3, 0.12, (10, 0.6)) - 1.9, 0, 1)
    blend = np.clip(0.75 * late + 0.12 * fibre + 0.2, 0, 1)
    shade = (1 + 0.04 * fibre) * (1 - 0.45 * pores) * (1 + 0.03 * smooth_noise(rng, u.shape, u.shape[1] / 4))
    return shade, blend


def _plastic(rng, u, v, px_mm):
    gloss = smooth_noise(rng, u.shape, u.shape[1] / 2)
    return 1 + 0.03 * gloss + 0.008 * _texture(rng, u, v, 0.3, 0.3), np.zeros_like(u)


def _table(rng, u, v, px_mm):
    speckle = _texture(rng, u, v, 0.35, 0.35)
    wear = smooth_noise(rng, u.shape, u.shape[1] / 6)
    return 1 + 0.03 * speckle + 0.02 * wear, np.clip(0.25 + 0.2 * wear, 0, 1)


def _bench(rng, u, v, px_mm):
    shade, blend = _wood(rng, u, v, px_mm) if rng.random() < 0.5 else _table(rng, u, v, px_mm)
    lines = np.zeros(u.shape, np.float32)
    height, width = u.shape
    for _ in range(int(rng.integers(15, 45))):
        start = rng.uniform(0, 1, 2) * (width, height)
        reach = rng.normal(0, 0.15, 2) * width
        ends = [tuple(round(16 * c) for c in point) for point in (start, start + reach)]
        cv2.line(lines, *ends, float(rng.uniform(-0.3, 0.25)), 1, cv2.LINE_AA, 4)
    stains = np.clip(smooth_noise(rng, u.shape, width / 14) + 0.3 * _texture(rng, u, v, 2, 2) - 1.5, 0, 1)
    dust = np.clip(_texture(rng, u, v, 0.3, 0.3, (1, 1)) - 2.6, 0, 1)
    return shade * (1 - 0.22 * stains) * (1 + lines) + 0.25 * dust, np.clip(blend + 0.3 * stains, 0, 1)


KINDS = {
    "plain": _plain,
    "paper": _paper,
    "cloth": _cloth,
    "wood": _wood,
    "plastic": _plastic,
    "table": _table,
    "bench": _bench,
}


def ground_fields(ground, view):
    """Return the brightness and the blend (0 first, 1 second colour) of a bench top, each (height, width) float32."""
    rng = np.random.default_rng((ground.seed, 11))
    u, v = _turned(*view.grid(), ground.turn_deg)
    shade, blend = KINDS[ground.kind](rng, u, v, 1 / view.px_per_mm())
    return np.maximum(shade, 0.05).astype(np.float32), blend.astype(np.float32)

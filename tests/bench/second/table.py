"""What lies flat: the background's texture, the card, and paper, rulers and tape, painted on a canvas in table mm."""

import cv2
import numpy as np

from .spectra import MATERIALS, neutral
from .surface import respond

BACKGROUNDS = (
    "white paper",
    "dark cloth",
    "grey cloth",
    "light wood",
    "dark wood",
    "mat",
    "melamine",
    "steel sheet",
    "blue towel",
)


def noise(rng, shape, cell, octaves=4):
    """Return smooth random texture (h, w) of about unit spread; `cell` is the largest cell in pixels, one or (y, x)."""
    cells = np.broadcast_to(np.asarray(cell, dtype=float), 2)
    total = np.zeros(shape, np.float32)
    for k in range(octaves):
        size = [max(2, int(np.ceil(n / max(c / 2**k, 1)))) for n, c in zip(shape, cells, strict=True)]
        grid = rng.standard_normal(size, dtype=np.float32)
        total += cv2.resize(grid, shape[::-1], interpolation=cv2.INTER_LINEAR) * np.float32(0.62**k)
    return total / 1.1


class Canvas:
    """Raw responses of the table's surface, one picture for each of the light's spectra."""

    def __init__(self, view, lighting, curves):
        corners = view.footprint()
        self.origin = corners.min(axis=0) - 2
        span = np.ptp(corners, axis=0) + 4
        middle = view.flat([[0, 0], [1, 0]])
        self.scale = float(np.hypot(*(middle[1] - middle[0])))
        self.scale *= min(1.0, np.sqrt(2.4e6 / np.prod(span * self.scale)))
        self.shape = tuple(int(n * self.scale) for n in span[::-1])
        self.lighting, self.curves, self.view = lighting, curves, view
        self.layers = [np.zeros((*self.shape, 3), np.float32) for _ in lighting.spectra]

    def pixels(self, points_mm):
        """Return canvas indices of table points."""
        return (np.asarray(points_mm, dtype=float) - self.origin) * self.scale - 0.5

    def _raw(self, material):
        return respond(MATERIALS[material] if isinstance(material, str) else material, self.lighting, self.curves)

    def cover(self, first, second=None, share=None, texture=None):
        """Cover all with one material, or two mixed by a share (h, w), times a texture (h, w)."""
        a = self._raw(first)
        b = self._raw(second) if second is not None else None
        for i, layer in enumerate(self.layers):
            for c in range(3):
                layer[..., c] = a[i, c] if b is None else a[i, c] + share * np.float32(b[i, c] - a[i, c])
                if texture is not None:
                    layer[..., c] *= texture

    def polygon(self, points_mm, material, texture=None, opacity=1.0, soft_px=0.0):
        """Paint a polygon; texture is a function of a shape (h, w); `soft_px` blurs its edge."""
        points = self.pixels(points_mm)
        low = np.maximum(np.floor(points.min(axis=0) - 3 * soft_px - 2), 0).astype(int)
        high = np.minimum(np.ceil(points.max(axis=0) + 3 * soft_px + 3), self.shape[::-1]).astype(int)
        if np.any(high <= low):
            return
        mask = np.zeros((high - low)[::-1], np.uint8)
        cv2.fillPoly(mask, [np.round((points - low) * 256).astype(np.int32)], 255, cv2.LINE_AA, 8)
        alpha = mask.astype(np.float32) * np.float32(opacity / 255)
        if soft_px:
            alpha = cv2.GaussianBlur(alpha, (0, 0), soft_px)
        grain = 1.0 if texture is None else texture(alpha.shape)
        for layer, colour in zip(self.layers, self._raw(material), strict=True):
            part = layer[low[1] : high[1], low[0] : high[0]]
            for c in range(3):
                part[..., c] += alpha * (np.float32(colour[c]) * grain - part[..., c])

    def warp(self):
        """Return the canvas as the camera sees it: (h, w, 3) for each spectrum."""
        to_mm = np.array(
            [
                [1 / self.scale, 0, 0.5 / self.scale + self.origin[0]],
                [0, 1 / self.scale, 0.5 / self.scale + self.origin[1]],
                [0, 0, 1],
            ]
        )
        back = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1.0]])
        matrix = back @ self.view.homography() @ to_mm
        return [cv2.warpPerspective(a, matrix, self.view.size, borderMode=cv2.BORDER_REPLICATE) for a in self.layers]


def rectangle(x, y, angle, half_a, half_b):
    """Return the corners (4, 2) of a turned rectangle."""
    c, s = np.cos(angle), np.sin(angle)
    box = np.array([[-half_a, -half_b], [half_a, -half_b], [half_a, half_b], [-half_a, half_b]])
    return box @ np.array([[c, s], [-s, c]]) + [x, y]


def _weave(rng, shape, pitch, depth):
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    turn = rng.uniform(0, np.pi)
    u, v = np.cos(turn) * x + np.sin(turn) * y, np.cos(turn) * y - np.sin(turn) * x
    threads = np.sin(2 * np.pi * u / pitch) * np.sin(2 * np.pi * v / pitch)
    folds = noise(rng, shape, min(shape) / 2, 2)
    return 1 + depth * threads + 0.12 * folds + 0.08 * rng.standard_normal(shape, dtype=np.float32)


def _wood(rng, canvas, first, second):
    shape, s = canvas.shape, canvas.scale
    flip = rng.random() < 0.5
    size = shape[::-1] if flip else shape
    rows = np.arange(size[0], dtype=np.float32)[:, None] / s
    bend = 16 * noise(rng, size, (90 * s, 400 * s), 2)
    rings = 0.5 + 0.5 * np.sin((rows + bend) * rng.uniform(0.2, 0.6))
    pores = noise(rng, size, (1.6 * s, 40 * s), 2)
    share = np.clip(0.2 + rng.uniform(0.08, 0.35) * rings**2 + 0.13 * pores, 0, 1)
    board = (rows + rng.uniform(0, 90)) // rng.uniform(60, 130)
    texture = (1 + 0.09 * np.sin(board * 12.9)) * (1 - 0.7 * (np.abs(np.diff(board, axis=0, prepend=board[:1])) > 0))
    share, texture = share.astype(np.float32), np.broadcast_to(texture.astype(np.float32), size)
    canvas.cover(first, second, share.T if flip else share, texture.T if flip else texture)


def paint_background(canvas, name, rng):
    """Cover the canvas with one of the backgrounds."""
    shape, s = canvas.shape, canvas.scale
    if name == "white paper":
        canvas.cover("paper", texture=1 + 0.008 * noise(rng, shape, 30 * s))
    elif name == "dark cloth":
        level = neutral(rng.uniform(0.02, 0.06), rng.uniform(-0.2, 0.25))
        canvas.cover(level, texture=_weave(rng, shape, max(2.5, 0.9 * s), 0.2))
    elif name == "grey cloth":
        level = neutral(rng.uniform(0.12, 0.33), rng.uniform(-0.12, 0.15))
        canvas.cover(level, texture=_weave(rng, shape, max(2.5, rng.uniform(0.8, 2) * s), rng.uniform(0.04, 0.15)))
    elif name in ("light wood", "dark wood"):
        _wood(rng, canvas, name, "dark wood" if name == "light wood" else "ink")
    elif name == "mat":
        canvas.cover("mat", texture=1 + 0.03 * noise(rng, shape, 4 * s, 3))
        low, high = canvas.origin, canvas.origin + np.array(shape[::-1]) / s
        for axis in (0, 1):
            for place in np.arange(np.ceil(low[axis] / 10) * 10, high[axis], 10):
                middle = (low + high) / 2
                middle[axis] = place
                span = (high - low) / 2
                canvas.polygon(
                    rectangle(*middle, 0, *((0.15, span[1]) if axis == 0 else (span[0], 0.15))), "cream", opacity=0.5
                )
    elif name == "melamine":
        canvas.cover("melamine", texture=1 + 0.015 * noise(rng, shape, 40 * s))
        _stains(canvas, rng)
    elif name == "steel sheet":
        canvas.cover(
            neutral(rng.uniform(0.2, 0.4), 0.1),
            texture=1 + 0.05 * noise(rng, shape, (1.2 * s, 80 * s), 3) + 0.06 * noise(rng, shape, 80 * s),
        )
        _stains(canvas, rng)
    else:
        canvas.cover("towel", texture=_weave(rng, shape, max(2.5, 1.6 * s), 0.16))


def _stains(canvas, rng):
    """Old drops and scratches of a bench that is worked on."""
    low, span = canvas.origin, np.array(canvas.shape[::-1]) / canvas.scale
    for _ in range(rng.integers(4, 12)):
        turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
        radius = rng.uniform(1, 14) * (1 + 0.25 * np.sin(turn * 2 + rng.uniform(0, 6)) + 0.1 * np.sin(turn * 5))
        centre = low + rng.uniform(0, 1, 2) * span
        spot = centre + np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])
        canvas.polygon(
            spot, str(rng.choice(["dark wood", "ink", "towel", "red"])), opacity=rng.uniform(0.05, 0.3), soft_px=2
        )
    for _ in range(rng.integers(3, 10)):
        canvas.polygon(
            rectangle(*(low + rng.uniform(0, 1, 2) * span), rng.uniform(0, 3), rng.uniform(5, 60), 0.12),
            "ink",
            opacity=0.35,
        )

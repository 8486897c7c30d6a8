"""Photos with flawed parts: the first renderer's own flaws, and flaws painted over the second renderer's pictures."""

import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np

from dyebook.lab import delta_e_00, lab_to_linear_rgb, linear_rgb_to_lab

__all__ = ["FlawScene", "FlawedPart", "TrueFlaw", "flaw_scene"]

KINDS = ("spot", "streak", "pale_zone", "gradient", "pit", "two_tone")
_PARTS = 4


@dataclass(frozen=True)
class TrueFlaw:
    """A flaw as it truly is; the mask covers the whole picture."""

    kind: str
    mask: np.ndarray
    delta_e00: float


@dataclass(frozen=True)
class FlawedPart:
    """A part and its flaws; none for a sound one."""

    polygon: np.ndarray
    mask: np.ndarray
    kind: str
    flaws: tuple


@dataclass(frozen=True)
class FlawScene:
    """A photo's bytes, its card and its parts."""

    name: str
    data: bytes
    card_quad: np.ndarray | None
    card_lab: tuple | None
    parts: tuple


def flaw_scene(renderer, seed):
    """Return one scene of a renderer ("a" or "b") with flaws on about half of its parts."""
    return {"a": _scene_a, "b": _scene_b}[renderer](seed)


def _scene_a(seed):
    from dyebook.demo.scene import random_scene, render, write_photo
    from tests.bench.second.truth import with_slits

    rendered = render(random_scene(seed, part_count=_PARTS, with_flaws=True))
    with tempfile.TemporaryDirectory() as place:
        data = write_photo(rendered, Path(place) / "scene.jpg").read_bytes()
    shape = rendered.image.shape[:2]
    parts = []
    for part in rendered.truth.parts:
        mask = part.full_mask(shape[::-1])
        flaws = tuple(TrueFlaw(f.kind, _filled(f.outlines, shape) & mask, f.delta_e00) for f in part.flaws)
        rings = [np.asarray(ring, float) for ring in part.outlines]
        parts.append(FlawedPart(with_slits(rings[0], rings[1:]), mask, part.kind, flaws))
    return FlawScene(f"a{seed}", data, rendered.truth.card_quad, rendered.truth.card_lab, tuple(parts))


def _filled(outlines, shape):
    """Pixels inside an odd number of outlines."""
    out = np.zeros(shape, bool)
    for ring in outlines:
        one = np.zeros(shape, np.uint8)
        cv2.fillPoly(one, [np.round((np.asarray(ring) - 0.5) * 16).astype(np.int32)], 1, shift=4)
        out ^= one.astype(bool)
    return out


def _scene_b(seed):
    from tests.bench.second import make

    rng = np.random.default_rng((seed, 77))
    image, truth = make(seed)
    linear = _decoded()[image]
    parts = []
    for part in truth["parts"]:
        mask = truth["label"] == part["label"]
        flaws = (_painted(rng, linear, mask, part["lab"]),) if rng.random() < 0.5 and mask.sum() > 400 else ()
        parts.append(FlawedPart(np.array(part["polygon"]), mask, part["kind"], tuple(f for f in flaws if f)))
    code = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-6) ** (1 / 2.4) - 0.055)
    picture = np.round(np.clip(code, 0, 1) * 255).astype(np.uint8)
    _, data = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(85, 97))])
    card = truth["card"]
    quad, lab = (None, None) if card is None else (np.array(card["quad"]), tuple(card["lab"]))
    return FlawScene(f"b{seed}", data.tobytes(), quad, lab, tuple(parts))


@cache
def _decoded():
    code = np.arange(256) / 255
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4).astype(np.float32)


def _painted(rng, linear, mask, lab):
    """Paint one flaw over a part's pixels and return its truth; None where too little of it is seen."""
    kind = str(rng.choice(KINDS))
    cover = cv2.GaussianBlur(_cover(rng, kind, mask), (0, 0), 0.7) * mask
    film = np.clip(lab_to_linear_rgb(lab), 0.004, 0.8)
    if kind == "pit":
        other = np.full(3, 0.03 if rng.random() < 0.5 else 0.5)
    else:
        depth = rng.uniform(0.35, 0.75) if kind == "pale_zone" or rng.random() < 0.5 else rng.uniform(1.3, 2.1)
        other = 0.85 * (film / 0.85) ** depth
    change = np.log(other / film)
    linear *= np.exp(cover[..., None] * change).astype(np.float32)
    inside = (cover >= 0.5) & mask
    if inside.sum() < 6:
        return None
    return TrueFlaw(kind, inside, float(delta_e_00(linear_rgb_to_lab(film), linear_rgb_to_lab(other))))


def _cover(rng, kind, mask):
    """Weight 0..1 of a flaw over the whole picture."""
    y, x = np.nonzero(mask)
    middle = np.array([x.mean(), y.mean()])
    axes = np.linalg.eigh(np.cov(np.stack([x, y])))[1][:, ::-1]
    seen = (np.stack([x, y], axis=1) - middle) @ axes
    low, high = np.quantile(seen, (0.01, 0.99), axis=0)
    grid = np.stack(np.meshgrid(*map(np.arange, mask.shape[::-1])), axis=-1) - middle
    u, v = np.moveaxis((grid @ axes).astype(np.float32), -1, 0)
    at_u, at_v = seen[int(rng.integers(len(seen)))]
    narrow = (high - low).min()
    size = narrow * rng.uniform(0.09, 0.22)
    if kind == "gradient":
        return np.clip((u - low[0]) / (high[0] - low[0]), 0, 1)
    if kind == "two_tone":
        edge = low[0] + (high[0] - low[0]) * rng.uniform(0.3, 0.7)
        return 1 / (1 + np.exp(np.clip(edge - u + 3 * np.sin(v / 11), -30, 30)))
    if kind == "pale_zone":
        reach = (high[0] - low[0]) * rng.uniform(0.08, 0.25)
        end = low[0] if rng.random() < 0.5 else high[0]
        return 1 / (1 + np.exp(np.clip((np.abs(u - end) - reach) / (0.12 * reach), -30, 30)))
    if kind == "streak":
        length = size * rng.uniform(2.5, 6)
        return np.exp(-((np.abs(v - at_v) / (0.3 * size)) ** 4)) * (np.abs(u - at_u) < length)
    if kind == "spot":
        return np.exp(-np.log(2) * (((u - at_u) / size) ** 2 + ((v - at_v) / (size * rng.uniform(0.6, 1))) ** 2) ** 3)
    dots = np.stack([at_u, at_v]) + rng.normal(0, 0.5 * narrow * 0.4, (int(rng.integers(3, 10)), 2))
    near = np.min([np.hypot(u - du, v - dv) for du, dv in dots], axis=0)
    return np.clip(0.5 + rng.uniform(1.4, 3.2) - near, 0, 1).astype(np.float32)

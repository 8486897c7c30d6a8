"""Cards laid onto real photographs and drawn grounds: pictures unlike those of either world, for the card benches.

A composite is made flat, in linear light: a ground (a photograph that scikit-image brings along, one of the folder
named by DYEBOOK_CHARTS, or drawn grain, planks, squares), things that are not a card (paper, painted, brushed, graded
or dark plates, discs), the card with its rim and shadow, then a light with a cast, blur, noise, tone and JPEG.
"""

import json
import os
from functools import cache
from pathlib import Path

import cv2
import numpy as np

__all__ = ["composite", "disturbed"]

_LIBRARY = ("coffee.png", "chelsea.png", "rocket.jpg", "brick.png", "grass.png", "gravel.png")
_DRAWN = ("grain", "planks", "squares", "slope")
_SUPER = 2  # things are drawn so much larger, so that their edges come out soft


def composite(seed, bare=False):
    """Return a picture and its truth.

    Parameters
    ----------
    seed : int
    bare : bool
        Leave the card out.

    Returns
    -------
    image : ndarray of uint8, shape (h, w, 3)
        sRGB, red first.
    quad : ndarray of shape (4, 2) or None
        Corners of the grey area in pixels.
    ground, rim : str
        What the card lies on, and what rim it has.
    """
    rng = np.random.default_rng([seed, 77])
    long_side = int(rng.choice([900, 1000, 1300, 1600]))
    size = (long_side, round(long_side / rng.uniform(1.2, 1.6)))
    size = size[::-1] if rng.random() < 0.4 else size
    name = rng.choice([*_photographs(), *_DRAWN * 3])
    scene = _drawn(name, size, rng) if name in _DRAWN else _photographed(name, size, rng)
    quad, rim = _random_quad(size, rng), str(rng.choice(["none", "white", "black"], p=[0.5, 0.3, 0.2]))
    free = cv2.fillConvexPoly(np.zeros(size[::-1], np.uint8), np.int32(_scaled(quad, 1.5)), 1)
    for _ in range(rng.integers(0, 6)):
        _lay_thing(scene, free if not bare else None, rng)
    if not bare:
        _lay_card(scene, quad, rim, rng)
    return disturbed(scene, rng), None if bare else quad, str(name), "none" if bare else rim


def disturbed(scene, rng):
    """Return linear light as sRGB bytes of a poor camera: cast, exposure, blur, noise, tone, sharpening, JPEG."""
    cast = np.exp(rng.normal(0, 0.16) * np.array([1, 0, -1]) + rng.normal(0, 0.03) * np.array([-1, 1, -1]))
    light = scene * (cast * np.exp(rng.normal(-0.05, 0.35))).astype(np.float32)
    light = cv2.GaussianBlur(light, (0, 0), rng.uniform(0.3, 1.6))
    noise = np.exp(rng.uniform(np.log(0.001), np.log(0.025)))
    light += rng.standard_normal(light.shape, np.float32) * np.sqrt(np.maximum(light, 1e-3)) * np.float32(noise)
    if rng.random() < 0.5:
        light = cv2.GaussianBlur(light, (0, 0), rng.uniform(0.4, 0.9))
    tone = _to_srgb(np.clip(light, 0, 1))
    bend = rng.uniform(-0.1, 0.35)
    tone = (1 - bend) * tone + bend * tone**2 * (3 - 2 * tone)
    if rng.random() < 0.6:
        tone += np.float32(rng.uniform(0.1, 0.8)) * (tone - cv2.GaussianBlur(tone, (0, 0), 1.2))
    image = np.uint8(np.clip(tone * 255 + 0.5, 0, 255))
    code = cv2.imencode(".jpg", image[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(60, 97))])[1]
    return cv2.imdecode(code, cv2.IMREAD_COLOR)[..., ::-1]


@cache
def _photographs():
    """Linear photographs by name; of one with a chart, the widest strip beside the chart."""
    import skimage

    folder = Path(skimage.__file__).parent / "data"
    found = {name: cv2.imread(str(folder / name)) for name in _LIBRARY}
    found = {name: image for name, image in found.items() if image is not None}
    if os.environ.get("DYEBOOK_CHARTS"):
        own = Path(os.environ["DYEBOOK_CHARTS"])
        for photo in json.loads((own / "truth.json").read_text(encoding="utf-8"))["photos"]:
            image = cv2.imread(str(own / photo["file"]))
            strip = None if image is None else _beside(image, np.array(photo["patches"]).reshape(-1, 2))
            if strip is not None:
                found[photo["file"]] = strip
    return {name: _to_linear(np.ascontiguousarray(image[..., ::-1])) for name, image in found.items()}


def _beside(image, chart):
    """The largest strip of a picture that shows nothing of a chart, or None."""
    height, width = image.shape[:2]
    pad = 0.12 * np.ptp(chart, axis=0).max()
    (x0, y0), (x1, y1) = (chart.min(axis=0) - pad).astype(int), (chart.max(axis=0) + pad).astype(int)
    strips = [image[:, : max(x0, 0)], image[:, x1:], image[: max(y0, 0)], image[y1:]]
    best = max(strips, key=lambda strip: min(strip.shape[:2]))
    return best if min(best.shape[:2]) > 0.2 * min(height, width) else None


def _photographed(name, size, rng):
    """A photograph cut to size."""
    image = _photographs()[name]
    zoom = max(size[0] / image.shape[1], size[1] / image.shape[0]) * rng.uniform(1, 1.3)
    large = cv2.resize(image, None, fx=zoom, fy=zoom, interpolation=cv2.INTER_CUBIC)
    x, y = (int(rng.integers(0, max(1, have - want + 1))) for have, want in zip(large.shape[1::-1], size, strict=True))
    large = np.maximum(large[y : y + size[1], x : x + size[0]], 0)
    return cv2.resize(large, size) if large.shape[1::-1] != size else large


def _drawn(kind, size, rng):
    """A drawn ground."""
    y, x = np.indices(size[::-1], np.float32)
    turn, pitch = rng.uniform(0, np.pi), rng.uniform(20, 160)
    along, across = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    shade = 0.4 * rng.uniform() * (along - along.mean()) / max(size)
    if kind == "planks":
        tones = rng.normal(0, 0.25, 400).astype(np.float32)
        shade = shade + tones[(across // pitch).astype(int) % 400] + _grain(size, rng, (3, 40)) * 0.3
        shade -= 0.8 * (across % pitch < 2)
    elif kind == "squares":
        shade = shade + rng.choice([-0.5, 0.7]) * ((across % pitch < 2) | (along % pitch < 2))
    else:
        sigma = rng.uniform(0.7, 30) if kind == "grain" else 60
        shade = shade + _grain(size, rng, (sigma, sigma)) * rng.uniform(0.05, 0.5)
    return np.float32(_colour(rng, chroma=rng.choice([0.02, 0.2]))) * np.exp(shade)[..., None].astype(np.float32)


def _grain(size, rng, sigma):
    """Noise of unit spread, smooth over `sigma` pixels (x, y)."""
    few = rng.standard_normal((max(4, size[1] // 4), max(4, size[0] // 4)), np.float32)
    few = cv2.GaussianBlur(few, (0, 0), max(0.4, sigma[0] / 4), sigmaY=max(0.4, sigma[1] / 4))
    return cv2.resize(few / few.std(), size, interpolation=cv2.INTER_CUBIC)


def _colour(rng, chroma, low=0.03, high=0.85):
    """Random reflectance."""
    return np.exp(rng.uniform(np.log(low), np.log(high)) + rng.normal(0, chroma, 3)).clip(0, 0.95)


def _random_quad(size, rng):
    """A card of 1.2 to 15 % of the frame, turned and in mild perspective, clockwise from the top left."""
    ratio, turn = rng.uniform(1, 1.6), rng.uniform(-0.8, 0.8)
    side = np.sqrt(np.exp(rng.uniform(np.log(0.012), np.log(0.15))) * size[0] * size[1])
    quad = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * side / 2 * (ratio**0.5, ratio**-0.5)
    quad *= 1 + rng.uniform(-0.12, 0.12, (4, 1)) * 0.8
    quad = quad @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    reach = np.abs(quad).max(axis=0) * 1.18 + 6
    if (2 * reach > size).any():
        return _random_quad(size, rng)
    quad = quad + rng.uniform(reach, size - reach)
    return np.roll(quad, -int(np.argmin(quad.sum(axis=1))), axis=0)


def _scaled(quad, factor):
    return quad.mean(axis=0) + (quad - quad.mean(axis=0)) * factor


def _cover(quad, size):
    """Share of each pixel inside a convex outline, with soft edges."""
    large = np.zeros((size[1] * _SUPER, size[0] * _SUPER), np.uint8)
    cv2.fillPoly(large, [np.int32(np.round((quad * _SUPER - 0.5) * 16))], 255, cv2.LINE_AA, 4)
    return cv2.resize(large, size, interpolation=cv2.INTER_AREA).astype(np.float32)[..., None] / 255


def _lay(scene, quad, colour, shade=None):
    cover = _cover(quad, scene.shape[1::-1])
    face = np.float32(colour) if shade is None else np.float32(colour) * np.exp(shade)[..., None].astype(np.float32)
    scene += cover * (face - scene)


def _lay_card(scene, quad, rim, rng):
    """Lay a card with its rim and shadow, in a light that may fall off across it."""
    size = scene.shape[1::-1]
    grey = rng.uniform(0.13, 0.26) * np.exp(rng.normal(0, 0.015, 3))
    outer = _scaled(quad, 1.0 if rim == "none" else rng.uniform(1.06, 1.18))
    shadow = cv2.GaussianBlur(_cover(outer + rng.uniform(-5, 5, 2), size)[..., 0], (0, 0), rng.uniform(1, 7))
    scene *= 1 - np.float32(rng.uniform(0, 0.6)) * shadow[..., None]
    if rim != "none":
        _lay(scene, outer, np.ones(3) * (rng.uniform(0.6, 0.9) if rim == "white" else rng.uniform(0.01, 0.04)))
    y, x = np.indices(size[::-1], np.float32)
    slope = rng.normal(0, 0.15, 2) / max(size)
    grain = _grain(size, rng, (rng.uniform(1, 4),) * 2) * rng.uniform(0, 0.015)
    _lay(scene, quad, grey, slope[0] * (x - quad[:, 0].mean()) + slope[1] * (y - quad[:, 1].mean()) + grain)
    if rng.random() < 0.2:  # a person's soft shadow over part of the card
        edge = (x - quad[:, 0].mean()) * np.cos(turn := rng.uniform(0, 6.3)) + (y - quad[:, 1].mean()) * np.sin(turn)
        scene *= np.exp(-rng.uniform(0.05, 0.25) / (1 + np.exp(-edge / rng.uniform(20, 80))))[..., None]


def _lay_thing(scene, free, rng):
    """Lay something that is no card: where `free` is given, only beside it."""
    size = scene.shape[1::-1]
    quad = _random_quad(size, rng)
    quad = _scaled(quad, rng.uniform(0.4, 1.0))
    if free is not None and (free * cv2.fillConvexPoly(np.zeros_like(free), np.int32(quad), 1)).any():
        return
    kind = rng.choice(["paper", "painted", "brushed", "graded", "dark", "disc", "tag"])
    shade, colour = None, np.ones(3) * rng.uniform(0.12, 0.4)
    if kind == "paper":
        colour = rng.uniform(0.65, 0.9) * np.array([1, 1, rng.uniform(0.92, 1.02)])
    elif kind == "painted":
        colour = _colour(rng, 0.1, 0.05, 0.6) * np.exp(rng.choice([-1, 1]) * rng.permutation([0.5, 0, -0.4]))
    elif kind == "dark":
        colour = np.ones(3) * rng.uniform(0.01, 0.05)
    elif kind == "brushed":
        shade = _grain(size, rng, (1, 60)[:: int(rng.choice([1, -1]))]) * rng.uniform(0.08, 0.3)
    elif kind == "graded":
        along = np.indices(size[::-1], np.float32)[int(rng.integers(2))]
        shade = rng.uniform(4, 9) * np.sin((along - along.mean()) / max(size) * rng.uniform(2, 6)) * 0.3
    if kind == "disc":
        turns = np.linspace(0, 2 * np.pi, 48)[:, None]
        axes = np.linalg.norm(quad[1] - quad[0]) / 2, np.linalg.norm(quad[2] - quad[1]) / 2
        quad = quad.mean(axis=0) + np.hstack([np.cos(turns) * axes[0], np.sin(turns) * axes[1]])
    _lay(scene, quad, colour, shade)
    if kind == "tag":
        centre = quad[0] * 0.8 + quad[2] * 0.2
        turns = np.linspace(0, 2 * np.pi, 24)[:, None]
        radius = 0.07 * np.linalg.norm(quad[1] - quad[0])
        _lay(scene, centre + radius * np.hstack([np.cos(turns), np.sin(turns)]), np.ones(3) * 0.02)


def _to_srgb(light):
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-6) ** (1 / 2.4) - 0.055)


def _to_linear(codes):
    tone = codes.astype(np.float32) / 255
    return np.where(tone <= 0.04045, tone / 12.92, ((tone + 0.055) / 1.055) ** 2.4).astype(np.float32)

"""One scene: what lies where, what light falls on it, and the picture a camera takes of it, with the truth."""

from dataclasses import dataclass, field

import cv2
import numpy as np

from .camera import Camera, add_noise, encode
from .clutter import paint_card
from .light import Lighting, irradiance
from .shapes import trace
from .spectra import WAVELENGTHS_NM
from .surface import respond, shade, shows_film
from .table import Canvas, paint_background
from .view import View

_COARSE = 3  # shadows are reckoned on every third pixel


@dataclass
class Scene:
    """All that is in a picture; `parts` hold (solid, film, surface), `clutter` (solid, surface), `flat` painters."""

    view: View
    camera: Camera
    lighting: Lighting
    background: str
    card: dict | None = None
    card_place: tuple = (0.0, 0.0, 0.0)
    flat: list = field(default_factory=list)
    parts: list = field(default_factory=list)
    clutter: list = field(default_factory=list)
    pairs: list = field(default_factory=list)


def _coarse_points(view):
    w, h = (n // _COARSE + 1 for n in view.size)
    x, y = np.meshgrid(np.arange(w) * _COARSE + _COARSE / 2, np.arange(h) * _COARSE + _COARSE / 2)
    rays = view.rays(x.ravel(), y.ravel())
    points = view.eye + rays * (-view.eye[2] / rays[:, 2])[:, None]
    return points.astype(np.float32), (h, w)


def _near(view, solid, towards, shape, grow):
    """Indices of the coarse points that a solid may darken: its foot, and where its top is thrown by a light."""
    foot, top = solid.corners(0, grow), solid.corners(solid.top, grow)
    if towards is not None:
        way = top - towards
        top = top - way * (solid.top / np.minimum(way[:, 2:], -1.0))
        top[:, 2] = 0
    spots = view.project(np.concatenate([foot, top])) / _COARSE
    mask = np.zeros(shape, np.uint8)
    cv2.fillConvexPoly(mask, cv2.convexHull(np.round(spots).astype(np.int32)), 1)
    return np.flatnonzero(mask)


def _shadow(panel, solid, points):
    """Return how much of a panel table points (N, 3) still see past a solid, 0..1."""
    to = panel.centre.astype(np.float32) - points
    reach = np.linalg.norm(to, axis=1)
    to /= reach[:, None]
    softness = float(
        0.7 * np.sqrt(np.linalg.norm(panel.side_a) * np.linalg.norm(panel.side_b)) / np.linalg.norm(panel.centre)
    )
    end = solid.top / np.maximum(to[:, 2], 0.05)
    along = np.full(len(points), 0.06 * solid.top, np.float32)
    least = np.ones(len(points), np.float32)
    for _ in range(14):
        gap = solid.at(points + to * along[:, None])
        least = np.minimum(least, np.where(along < end, gap / (2 * softness * along + 0.2) + 0.5, 1))
        along = along + np.maximum(gap * 0.9, 0.05 * solid.top)
    return np.clip(least, 0, 1) ** 1.2


def table_light(scene, solids):
    """Return for each spectrum the light on the table over the frame (h, w), 1 at its middle, shadows in it."""
    points, shape = _coarse_points(scene.view)
    up = np.zeros_like(points)
    up[:, 2] = 1
    total = [np.zeros(len(points), np.float32) for _ in scene.lighting.spectra]
    for panel in scene.lighting.panels:
        light = irradiance(panel, points, up)
        for solid in solids:
            where = _near(scene.view, solid, panel.centre, shape, 0.5 * solid.top + 2)
            light[where] *= _shadow(panel, solid, points[where])
        total[panel.spectrum] += light
    sky = np.full(len(points), scene.lighting.sky.falls_on(up[0]), np.float32)
    for solid in solids:
        where = _near(scene.view, solid, None, shape, 2 * solid.top)
        sky[where] *= 1 - 0.65 * np.exp(-np.maximum(solid.at(points[where]), 0) / (0.5 * solid.top + 0.5))
    total[scene.lighting.sky.spectrum] += sky
    matrix = np.array([[_COARSE, 0, _COARSE / 2 - 0.5], [0, _COARSE, _COARSE / 2 - 0.5]])
    return [
        cv2.warpAffine(
            t.reshape(shape) / np.pi, matrix, scene.view.size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        for t in total
    ]


def _candidates(view, solid):
    """Return x, y indices of pixels that a solid may cover."""
    spots = view.project(np.concatenate([solid.corners(0, 0.5), solid.corners(solid.top, 0.5)]))
    mask = np.zeros(view.size[::-1], np.uint8)
    cv2.fillConvexPoly(mask, cv2.convexHull(np.round(spots).astype(np.int32)), 1)
    y, x = np.nonzero(mask)
    return x, y


def expose(raw, white, scene):
    """Return the exposure an automatic camera chooses, so that exposure x raw / white is linear light."""
    grey = raw[::4, ::4, 1] / white[1]
    mean = np.exp(np.log(grey + 0.004).mean())
    # makers lift dark scenes and hold back bright ones only part of the way
    exposure = 0.23 * mean**-0.55 * 0.23**-0.45 * 2**scene.camera.stops
    exposure = min(exposure, 1.3 / np.percentile(grey, 96))
    level = 0.2 if scene.card is None else scene.card["reflectance"].mean()
    return float(min(exposure, 0.42 / level))


def paint(scene, rng):
    """Return raw light (h, w, 3), label (h, w) with part numbers from 1, the pixels that show a part's film as a flat
    piece would, and the card's corners in table mm."""
    view, curves = scene.view, scene.camera.curves
    canvas = Canvas(view, scene.lighting, curves)
    paint_background(canvas, scene.background, rng)
    for painter, place, half in scene.flat:
        painter(canvas, place, half, rng)
    corners = paint_card(canvas, scene.card, scene.card_place, rng) if scene.card is not None else None
    solids = [(s, surface, 0) for s, surface in scene.clutter]
    solids += [(s, surface, i + 1) for i, (s, _, surface) in enumerate(scene.parts)]
    light = table_light(scene, [s for s, _, _ in solids])
    raw = np.zeros((*view.size[::-1], 3), np.float32)
    for picture, amount in zip(canvas.warp(), light, strict=True):
        raw += picture * amount[..., None]
    label, facing = np.zeros(view.size[::-1], np.uint8), np.zeros(view.size[::-1], bool)
    depth = np.full(view.size[::-1], np.inf, np.float32)
    table_raw = raw[::8, ::8].reshape(-1, 3).mean(axis=0)
    for solid, surface, number in solids:
        _place((raw, label, facing, depth), scene, solid, surface, number, table_raw, rng)
    return raw, label, facing, corners


def _place(layers, scene, solid, surface, number, table_raw, rng):
    """Trace one solid into the picture's layers where nothing nearer lies."""
    raw, label, facing, depth = layers
    view = scene.view
    x, y = _candidates(view, solid)
    hit, points = trace(solid, view.eye, view.rays(x + 0.5, y + 0.5))
    x, y = x[hit], y[hit]
    far = np.linalg.norm(points - view.eye.astype(np.float32), axis=1)
    nearer = far < depth[y, x]
    x, y, points = x[nearer], y[nearer], points[nearer]
    if not x.size:
        return
    normals = solid.normals(points, np.float32(0.06))
    scenery = points, normals, view.eye, solid, surface, scene.lighting, table_raw
    raw[y, x] = shade(*scenery, rng)
    facing[y, x] = number > 0 and shows_film(*scenery)
    label[y, x], depth[y, x] = number, far[nearer]


def photograph(scene, raw, rng):
    """Return linear sRGB as the camera sees it and the 8-bit picture."""
    white = scene.lighting.shares() @ respond(np.ones(WAVELENGTHS_NM.size), scene.lighting, scene.camera.curves)
    exposure = expose(raw, white, scene)
    w, h = scene.view.size
    if scene.camera.vignette:
        y, x = np.mgrid[:h, :w].astype(np.float32)
        away = ((x / w - 0.5) ** 2 + (y / h - 0.5) ** 2) * 2
        raw = raw * (1 - scene.camera.vignette * away)[..., None]
    if not scene.camera.perfect:
        raw = add_noise(raw, white, scene.camera, exposure, rng)
    linear = scene.camera.to_srgb(raw, white) * np.float32(exposure)
    return linear, encode(linear, scene.camera)

"""Draws one body into the picture: its silhouette, its shading, its flaws, and the exact truth of a part."""

from dataclasses import dataclass

import cv2
import numpy as np

from dyebook.demo.spectra import Film, Paint, illuminant, material_reflectance
from tests.render.cameras import sensor_rgb
from tests.render.marks import flaw_cover, ink_cover
from tests.render.shading import film_factor, film_path, mirror
from tests.render.shapes import unit

__all__ = ["Drawn", "draw_body", "frame_corners", "local_grid", "silhouette"]

LONGEST_PATH = 1.25
FACING = 0.06  # a good pixel's brightness is that of a flat piece within this share
VEIL = 0.1  # and its mirror light exceeds that of a flat piece by at most this share of its body light


@dataclass(frozen=True, eq=False)
class Drawn:
    """One body as drawn: its box, coverage, light, and the pixels that face the light as a flat piece does."""

    box: tuple[int, int, int, int]
    cover: np.ndarray  # (h, w) 0..1
    light: np.ndarray  # (h, w, 3) sensor light
    good: np.ndarray  # (h, w) bool
    flaw_cover: tuple  # one (h, w) 0..1 a flaw


def frame_corners(body, margin_mm=0.5):
    """Return the corners (4, 2), bench millimetres, of the body's frame."""
    a, b = np.array(body.shape.reach_mm) + margin_mm
    corners = np.array([[-a, -b], [a, -b], [a, b], [-a, b]])
    return corners @ _turn(body).T + (body.x_mm, body.y_mm)


def _turn(body):
    angle = np.radians(body.turn_deg)
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def local_grid(body, view, box):
    """Return x and y of the pixels of a box in the body's own frame, millimetres."""
    x, y = view.grid(box)
    turn = _turn(body).astype(np.float32)
    x, y = x - np.float32(body.x_mm), y - np.float32(body.y_mm)
    return turn[0, 0] * x + turn[1, 0] * y, turn[0, 1] * x + turn[1, 1] * y


def silhouette(body, view, grow_mm=0.0):
    """Return the coverage (height, width) of a body over a whole (small) picture, grown by a margin."""
    cover = np.zeros((view.height, view.width), np.float32)
    box = view.box_around(frame_corners(body, 1 + grow_mm))
    if box[2] > box[0] and box[3] > box[1]:
        distance, _ = body.shape.relief(*local_grid(body, view, box))
        cover[box[1] : box[3], box[0] : box[2]] = np.clip(0.5 - (distance - grow_mm) * view.px_per_mm(), 0, 1)
    return cover


def _brushed(body, x, y, normal, px_mm, rng):
    """Tilt normals by brushing (plates: along x; turned pieces: around the axis) and return the grain too."""
    tile = rng.standard_normal((256, 256)).astype(np.float32)
    line_mm = max(0.09, 0.8 * px_mm)
    turned = body.shape.kind == "turned"
    u, v = (y / (60 * line_mm), x / line_mm) if turned else (x / (60 * line_mm), y / line_mm)
    tilt = cv2.remap(tile, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)
    if body.shape.kind in ("ring", "dome"):
        radius, turn = np.hypot(x, y), np.arctan2(y, x)
        place = (turn * 3).astype(np.float32), (radius / line_mm).astype(np.float32)
        tilt = cv2.remap(tile, *place, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)
        lean = np.stack([x, y, np.zeros_like(x)], axis=-1) / np.maximum(radius, 0.1)[..., None]
    else:
        lean = np.zeros(3, np.float32)
        lean[0 if turned else 1] = 1
    if body.finish.brush:
        normal = normal + (body.finish.brush * tilt)[..., None] * lean
        normal = unit(normal)
    return normal, 1 + body.finish.grain * tilt


def _to_bench(normal, body):
    """Turn normals from the body's frame to the bench's."""
    out = normal.copy()
    out[..., :2] = normal[..., :2] @ _turn(body).T.astype(np.float32)
    return out


def _seen_from_camera(normal, view, box):
    """Lean normals as if the camera stood straight above each pixel: mirror images change across a flat piece."""
    x, y = view.grid(box)
    lean = np.stack([x, y], axis=-1) / np.float32(2 * view.distance_mm)
    seen = normal.copy()
    seen[..., :2] += lean
    return unit(seen)


def _colours(material, spec):
    """Sensor light of a material seen straight on and through the longest path."""
    light = illuminant(spec.light)
    paths = np.array([1.0, LONGEST_PATH])
    reflectance = (
        material_reflectance(material, paths) if isinstance(material, Film) else material_reflectance(material)
    )
    return np.broadcast_to(sensor_rgb(spec.camera, light, reflectance), (2, 3))


def _body_light(material, spec, path):
    """Sensor light (h, w, 3) of a material, deeper where the way through the film is longer."""
    short, long = _colours(material, spec)
    if not isinstance(material, Film):
        return np.broadcast_to(short.astype(np.float32), (*path.shape, 3))
    rate = (np.log(long / short) / (LONGEST_PATH - 1)).astype(np.float32)
    return short.astype(np.float32) * np.exp((path - 1)[..., None] * rate)


def draw_body(body, spec, ground_rgb):
    """Return a body as the camera's sensor sees it, light even over the picture.

    Parameters
    ----------
    body : Body
    spec : SceneSpec
    ground_rgb : ndarray, shape (3,)
        Sensor light of the bench around it, which its flanks mirror.

    Returns
    -------
    Drawn or None
        None where nothing of it lies in the picture.
    """
    view = spec.view
    box = view.box_around(frame_corners(body))
    if box[2] <= box[0] or box[3] <= box[1]:
        return None
    x, y = local_grid(body, view, box)
    px_mm = 1 / view.px_per_mm((body.x_mm, body.y_mm))
    distance, normal = body.shape.relief(x, y)
    rng = np.random.default_rng((body.seed, 3))
    normal, grain = _brushed(body, x, y, normal, px_mm, rng)
    normal = _to_bench(normal, body)
    path = film_path(normal, spec.around) if isinstance(body.material, Film) else np.ones_like(x)
    colour = _body_light(body.material, spec, path)
    flaws = tuple(flaw_cover(flaw, body, x, y, px_mm).astype(np.float32) for flaw in body.flaws)
    for flaw, weight in zip(body.flaws, flaws, strict=True):
        colour = colour + weight[..., None] * (_body_light(flaw.material, spec, path) - colour)
    for weight, lab in ink_cover(body, x, y, px_mm):
        colour = colour + weight[..., None] * (_body_light(Paint(lab), spec, path) - colour)
    seen = _seen_from_camera(normal, view, box)
    factor = film_factor(seen, spec.around, body.finish, float(ground_rgb.mean())) * grain
    veil = _surface_light(seen, spec, body.finish, ground_rgb)
    cover = (body.opacity * np.clip(0.5 - distance / px_mm, 0, 1)).astype(np.float32)
    lit = colour * factor[..., None]
    flat_veil = _surface_light(np.array([[[0, 0, 1.0]]], np.float32), spec, body.finish, ground_rgb)
    clear = cv2.transform(veil, np.ones((1, 3))) < 3 * (1.2 * flat_veil.max() + VEIL * lit[..., 1])
    good = (np.abs(factor - 1) < FACING) & clear & (cover > 0.999)
    for weight in flaws:
        good &= weight < 0.02
    return Drawn(box, cover, (lit + veil).astype(np.float32), good, flaws)


def _surface_light(normal, spec, finish, ground_rgb):
    """Mirror light (h, w, 3) of the first surface: sky is white, the bench has its colour; Schlick's Fresnel rise."""
    if not finish.gloss:
        return np.zeros(normal.shape, np.float32)
    sky, ground = mirror(normal, spec.around, finish.gloss_rad)
    fresnel = finish.gloss + (1 - finish.gloss) * (1 - np.clip(normal[..., 2], 0, 1)) ** 5
    light = (fresnel * sky)[..., None] + (0.6 * fresnel * ground)[..., None] * ground_rgb.astype(np.float32)
    # glints narrower than a pixel would turn edges into dashes: cap them, then share them with their neighbours
    return cv2.GaussianBlur(np.minimum(light, 3).astype(np.float32), (0, 0), 0.6)

"""Which things a random scene holds, and where they find room."""

from dataclasses import replace

import cv2
import numpy as np

from .camera import draw_camera
from .clutter import FLAT, TEMPTING, draw_card, flat_size
from .light import draw_lighting
from .scene import Scene
from .spectra import ILLUMINANTS, draw_film, illuminant, near_film
from .surface import film_surface, plain_surface
from .table import BACKGROUNDS, rectangle
from .things import KINDS, draw_clutter, draw_part
from .view import look

SIZES = ((1416, 1062), (1062, 1416), (1500, 1000), (1220, 1220), (1000, 1500))


class Floor:
    """Free and taken places of the table, on a coarse grid over the frame."""

    def __init__(self, view):
        self.view, self.taken = view, np.zeros([n // 4 for n in view.size[::-1]], np.uint8)

    def _cells(self, corners_mm, height):
        points = np.concatenate([np.column_stack([corners_mm, np.full(len(corners_mm), h)]) for h in (0, height)])
        return self.view.project(points)

    def find(self, rng, half, height, margin_mm, inside=True, tries=60):
        """Return a free (x, y, angle) for a box, and take it; None when there is no room."""
        frame = self.view.footprint()
        low, high = frame.min(axis=0), frame.max(axis=0)
        for _ in range(tries):
            square = rng.random() < 0.35
            angle = rng.normal(0, 0.06) + rng.integers(4) * np.pi / 2 if square else rng.uniform(0, 2 * np.pi)
            place = (*rng.uniform(low, high), angle)
            box = rectangle(*place, half[0] + margin_mm, half[1] + margin_mm)
            spots = self._cells(box, height)
            edge = 8 if inside else -0.25 * min(self.view.size)
            if np.any(spots < edge) or np.any(spots > np.array(self.view.size) - edge):
                continue
            mask = np.zeros_like(self.taken)
            cv2.fillConvexPoly(mask, cv2.convexHull(np.round(spots / 4).astype(np.int32)), 1)
            if not np.any(mask & self.taken):
                self.taken |= mask
                return place
        return None


def _draw_view(rng, card):
    """Return a view in which the card takes 3 to 15 % of the frame."""
    size = SIZES[rng.integers(len(SIZES))]
    share = np.exp(rng.uniform(np.log(0.036), np.log(0.135)))
    area = 4 * card["half"][0] * card["half"][1]
    width = np.sqrt(area / share * size[0] / size[1])
    tilt = abs(rng.normal(0, 14))
    return look(size, width, min(tilt, 36), rng.uniform(0, 360), rng.normal(0, 5), rng.uniform(42, 68)), width


def _spectra(rng):
    names, odds = list(ILLUMINANTS), np.array(list(ILLUMINANTS.values()), float)
    count = 2 if rng.random() < 0.15 else 1
    chosen = [str(n) for n in rng.choice(names, count, replace=False, p=odds / odds.sum())]
    return chosen, [illuminant(n) for n in chosen]


def _draw_parts(scene, floor, rng, frame_mm):
    count = int(rng.choice([1, 2, 3, 4, 5], p=[0.22, 0.36, 0.22, 0.13, 0.07]))
    pair = rng.random() < 0.46
    curves = scene.camera.curves
    last = None
    for _ in range(max(count, 2 if pair else 1)):
        near = near_film(last[0], rng) if pair and last is not None and not scene.pairs else None
        kind = last[2] if near is not None and rng.random() < 0.8 else str(rng.choice(KINDS))
        film = near or draw_film(rng)
        surface = film_surface(film, scene.lighting, curves, rng)
        if near is not None:
            surface = replace(last[1], responses=surface.responses, haze=surface.haze)
        solid = draw_part(kind, rng, frame_mm)
        place = floor.find(rng, solid.half, solid.top, 0.02 * frame_mm)
        if place is None:
            continue
        solid.x, solid.y, solid.angle = place
        scene.parts.append((solid, film, surface))
        if near is not None:
            scene.pairs.append((len(scene.parts) - 2, len(scene.parts) - 1))
        last = film, surface, kind


def _draw_clutter(scene, floor, rng, frame_mm):
    busy = rng.random() < 0.35
    for _ in range(rng.integers(3, 7) if busy else rng.integers(0, 4)):
        name = str(rng.choice(list(FLAT)))
        half = flat_size(name, rng, frame_mm)
        place = floor.find(rng, half, 0, 0.012 * frame_mm, inside=False, tries=25)
        if place is not None:
            scene.flat.append((FLAT[name], place, half))
    for _ in range(rng.integers(2, 6) if busy else rng.integers(0, 3)):
        solid, material = draw_clutter(rng, frame_mm)
        place = floor.find(rng, solid.half, solid.top, 0.015 * frame_mm, inside=False, tries=25)
        if place is not None:
            solid.x, solid.y, solid.angle = place
            scene.clutter.append((solid, plain_surface(material, scene.lighting, scene.camera.curves, rng)))


def _draw_tempting(scene, floor, rng, frame_mm, count):
    for name in rng.permutation(list(TEMPTING))[:count]:
        half = flat_size(name, rng, frame_mm)
        place = floor.find(rng, half, 0, 0.02 * frame_mm, inside=rng.random() < 0.7)
        if place is not None:
            scene.flat.append((TEMPTING[name], place, half))


def _under(scene, rng, frame_mm):
    """Sometimes a sheet of paper lies under everything and covers part of the bench."""
    if rng.random() < 0.15 and scene.background != "white paper":
        half = rng.uniform(0.2, 0.45, 2) * frame_mm
        scene.flat.insert(0, (FLAT["paper"], (*rng.uniform(-0.2, 0.2, 2) * frame_mm, rng.uniform(0, 3)), half))


def _card_place(view, floor, card, rng, frame_mm):
    """Return where the card lies, seen at 3 to 15 % of the frame; slanted views shrink it far from the camera."""
    half = card["half"][0] + card["rim_mm"], card["half"][1] + card["rim_mm"]
    for _ in range(12):
        before = floor.taken.copy()
        place = floor.find(rng, half, 0, 0.02 * frame_mm, tries=200)
        if place is None:
            return None
        quad = view.flat(rectangle(*place, *card["half"])).astype(np.float32)
        if 0.03 <= cv2.contourArea(quad) / np.prod(view.size) <= 0.15:
            return place
        floor.taken = before
    return None


def draw_scene(rng):
    """Return a random scene and the names of its light's spectra."""
    card = draw_card(rng)
    view, frame_mm = _draw_view(rng, card)
    names, spectra = _spectra(rng)
    lighting = draw_lighting(rng, spectra, frame_mm, view.eye / np.linalg.norm(view.eye))
    background = str(rng.choice(BACKGROUNDS, p=[0.17, 0.13, 0.13, 0.13, 0.09, 0.1, 0.1, 0.08, 0.07]))
    scene = Scene(view, draw_camera(rng), lighting, background)
    floor = Floor(view)
    if rng.random() >= 1 / 8:
        place = _card_place(view, floor, card, rng, frame_mm)
        if place is not None:
            scene.card, scene.card_place = card, place
    _draw_parts(scene, floor, rng, frame_mm)
    tempting = rng.integers(1, 4) if scene.card is None else int(rng.random() < 0.2)
    _draw_tempting(scene, floor, rng, frame_mm, tempting)
    _draw_clutter(scene, floor, rng, frame_mm)
    _under(scene, rng, frame_mm)
    return scene, names

"""The grey card: where it lies and how it looks."""

import cv2
import numpy as np

from dyebook.demo.spectra import illuminant, paint_reflectance
from tests.render.cameras import sensor_rgb

__all__ = ["card_cover", "card_quad", "draw_card"]


def _corners(card, border_mm=0.0):
    """Corners (4, 2) on the bench, clockwise as seen."""
    a, b = card.width_mm / 2 + border_mm, card.height_mm / 2 + border_mm
    angle = np.radians(card.turn_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return np.array([[-a, -b], [a, -b], [a, b], [-a, b]]) @ turn.T + (card.x_mm, card.y_mm)


def card_quad(spec):
    """Return the corners (4, 2) of the card's grey area in the picture, in order TL, TR, BR, BL."""
    quad = spec.view.to_pixels(_corners(spec.card))
    first = int(np.argmin(quad.sum(axis=1)))
    return np.roll(quad, -first, axis=0)


def card_cover(card, view, grow_mm=0.0):
    """Return the coverage (height, width), 0 or 1, of a card with its border over a whole (small) picture."""
    cover = np.zeros((view.height, view.width), np.float32)
    quad = view.to_pixels(_corners(card, card.border_mm + grow_mm))
    cv2.fillConvexPoly(cover, np.round(quad).astype(np.int32), 1.0)
    return cover


def _strip(card, x, y, px_mm):
    """Darkness 0..1 of invented small print and corner marks on the border, in the card's own frame."""
    rng = np.random.default_rng((card.seed, 7))
    ink = np.zeros_like(x)
    line = card.height_mm / 2 + card.border_mm / 2
    height = min(1.0, card.border_mm / 4)
    place = -card.width_mm / 2 + 2
    end = rng.uniform(-0.1, 0.3) * card.width_mm
    while place < end:
        wide = rng.uniform(0.4, 1.2)
        box = np.maximum(np.abs(x - place - wide / 2) - wide / 2, np.abs(y - line) - height * rng.uniform(0.4, 1))
        ink = np.maximum(ink, np.clip(0.5 - box / px_mm, 0, 1))
        place += wide + (0.35 if rng.random() < 0.8 else 1.2)
    for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        dx = np.abs(x - sx * (card.width_mm / 2 + card.border_mm / 2))
        dy = np.abs(y - sy * (card.height_mm / 2 + card.border_mm / 2))
        cross = np.minimum(np.maximum(dx - 1.2, dy - 0.12), np.maximum(dy - 1.2, dx - 0.12))
        ink = np.maximum(ink, np.clip(0.5 - cross / px_mm, 0, 1))
    return ink


def draw_card(light, spec):
    """Draw the card into sensor light, in place."""
    card, view = spec.card, spec.view
    x0, y0, x1, y1 = box = view.box_around(_corners(card, card.border_mm + 0.5))
    if x1 <= x0 or y1 <= y0:
        return
    px_mm = 1 / view.px_per_mm((card.x_mm, card.y_mm))
    bench_x, bench_y = view.grid(box)
    angle = np.float32(np.radians(card.turn_deg))
    dx, dy = bench_x - np.float32(card.x_mm), bench_y - np.float32(card.y_mm)
    x, y = np.cos(angle) * dx + np.sin(angle) * dy, np.cos(angle) * dy - np.sin(angle) * dx
    inner = np.maximum(np.abs(x) - card.width_mm / 2, np.abs(y) - card.height_mm / 2)
    power = illuminant(spec.light)
    grey, border = (
        sensor_rgb(spec.camera, power, paint_reflectance(lab)).astype(np.float32) for lab in (card.lab, card.border_lab)
    )
    edge = np.clip(0.5 + inner / px_mm, 0, 1)[..., None]
    colour = grey + edge * (border - grey)
    if card.border_mm >= 2 and card.marks:
        tone = 0.15 if card.border_lab.L > 50 else 6.0
        colour *= 1 + (tone - 1) * _strip(card, x, y, px_mm)[..., None]
    rng = np.random.default_rng((card.seed, 9))
    sheen = 1 + card.sheen * (x * rng.choice([-1, 1]) / card.width_mm + y * rng.choice([-1, 1]) / card.height_mm)
    fibre = cv2.GaussianBlur(rng.standard_normal(x.shape, dtype=np.float32), (0, 0), 1.0)
    colour *= (sheen * (1 + 0.012 * fibre))[..., None]
    cover = np.clip(0.5 - (inner - card.border_mm) / px_mm, 0, 1)[..., None]
    part = light[y0:y1, x0:x1]
    part += cover * (colour - part)

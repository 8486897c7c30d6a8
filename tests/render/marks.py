"""What lies on a body's surface: flaws of its colour, print, weave; weights over the body's own frame."""

import numpy as np

from dyebook.lab import Lab

__all__ = ["flaw_cover", "ink_cover"]

BLACK = Lab(12, 0, 0)


def flaw_cover(flaw, body, x, y, px_mm):
    """Weight 0..1 of a flaw over the body's own frame."""
    rng = np.random.default_rng((flaw.seed, 5))
    dx, dy = x - flaw.x_mm, y - flaw.y_mm
    size = flaw.size_mm
    if flaw.kind in ("spot", "pale_zone"):
        turn = np.arctan2(dy, dx)
        phases = rng.uniform(0, 2 * np.pi, 3)
        edge = size * (1 + sum(0.08 * np.sin((k + 2) * turn + p) for k, p in enumerate(phases)))
        soft = 0.3 * size if flaw.kind == "pale_zone" else max(0.12 * size, px_mm)
        return np.clip(0.5 + (edge - np.hypot(dx, dy)) / (2 * soft), 0, 1)
    if flaw.kind == "streak":
        centre = 0.15 * size * np.sin(dx / (3 * size) + rng.uniform(0, 6))
        ends = np.clip((2.5 * size - np.abs(dx)) / size, 0, 1)  # a streak fades out, it does not stop
        line = np.clip(0.5 + (size / 6 - np.abs(dy - centre)) / max(0.2 * size, px_mm), 0, 1)
        return line * ends * ends * (3 - 2 * ends)
    if flaw.kind == "gradient":
        half = body.shape.reach_mm[0]
        return np.clip(0.5 + x / (2 * half), 0, 1)
    if flaw.kind == "two_tone":
        return np.clip(0.5 + (dx + 0.1 * size * np.sin(dy / 3)) / max(0.3, px_mm), 0, 1)
    pits = rng.uniform(-size, size, (int(rng.integers(4, 12)), 2))
    radius = np.min([np.hypot(dx - px, dy - py) for px, py in pits], axis=0)
    return np.clip(0.5 + (rng.uniform(0.2, 0.4) - radius) / max(0.1, px_mm), 0, 1)


def ink_cover(body, x, y, px_mm):
    """Return pairs of a weight 0..1 (h, w) and the Lab that shows there: what is printed on or woven into a body."""
    return _INKS[body.ink](body.shape, x, y, px_mm) if body.ink else []


def _ruler(shape, x, y, px_mm):
    """Ticks along one edge, and blots for the numbers."""
    edge, place = shape.half_y, x + shape.half_x
    ink = np.zeros_like(x)
    for pitch, length in ((1.0, 3.0), (5.0, 4.5), (10.0, 6.0)):
        away = np.abs((place + pitch / 2) % pitch - pitch / 2)
        tick = np.clip(0.5 + (0.11 - away) / px_mm, 0, 1) * (y + edge < length)
        ink = np.maximum(ink, tick)
    number = (np.abs((place - 1.5) % 10 - 1.5) < 1.2) & (np.abs(y + edge - 8) < 1.2)
    return [(np.maximum(ink, 0.6 * number * (np.sin(9 * x) * np.sin(7 * y) > -0.1)), BLACK)]


def _weave(shape, x, y, px_mm):
    """Gaps between the threads of cloth."""
    pitch = max(0.7, 2.5 * px_mm)
    return [(0.4 * (1 - np.sin(np.pi * x / pitch) ** 2 * np.sin(np.pi * y / pitch) ** 2), BLACK)]


def _pencil(shape, x, y, px_mm):
    """Bare wood at the point, and the lead."""
    end = shape.knots[-1][0]
    scallop = 0.8 * np.cos(6 * np.arcsin(np.clip(y / shape.knots[0][1], -1, 1)))
    wood = np.clip(0.5 + (x - end + 13 + scallop) / max(0.3, px_mm), 0, 1)
    lead = np.clip(0.5 + (x - end + 4) / max(0.2, px_mm), 0, 1)
    return [(wood, Lab(76, 8, 26)), (lead, Lab(25, 0, 0))]


def _shaft(shape, x, y, px_mm):
    """The steel blade of a screwdriver."""
    start = shape.knots[-2][0]
    return [(np.clip(0.5 + (x - start) / px_mm, 0, 1), Lab(66, 0, 1))]


_INKS = {"ruler": _ruler, "weave": _weave, "pencil": _pencil, "shaft": _shaft}

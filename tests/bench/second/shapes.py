"""Solids lying on the table, as signed distances, and the meeting of rays with them."""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np


@dataclass
class Solid:
    """A solid at (x, y), turned by an angle; `half` is half its length and width on the table, `top` its height.

    Subclasses give `distance(u, v, z)` in the solid's own mm, and may give `relief(u, v, z)`, a height too fine to
    be traced that turns only the normals.
    """

    x: float = 0.0
    y: float = 0.0
    angle: float = 0.0
    half: tuple = (10.0, 10.0)
    top: float = 10.0
    extra: dict = field(default_factory=dict)

    relief = None
    kind = "solid"

    def local(self, points):
        """Return u, v, z of table points (N, 3)."""
        c, s = np.float32(np.cos(self.angle)), np.float32(np.sin(self.angle))
        x, y = points[:, 0] - np.float32(self.x), points[:, 1] - np.float32(self.y)
        return c * x + s * y, c * y - s * x, points[:, 2]

    def corners(self, height=0.0, grow=0.0):
        """Return the four corners (4, 3) of the box around it at a height."""
        a, b = self.half[0] + grow, self.half[1] + grow
        c, s = np.cos(self.angle), np.sin(self.angle)
        box = np.array([[-a, -b], [a, -b], [a, b], [-a, b]])
        turned = box @ np.array([[c, s], [-s, c]]) + [self.x, self.y]
        return np.column_stack([turned, np.full(4, height)])

    def at(self, points):
        """Return the signed distance at table points (N, 3)."""
        return self.distance(*self.local(points))

    def normals(self, points, step):
        """Return outward unit normals at surface points, relief included."""
        u, v, z = self.local(points)
        total = np.zeros((len(points), 3), np.float32)
        for sign in ((1, -1, -1), (-1, -1, 1), (-1, 1, -1), (1, 1, 1)):
            place = (u + sign[0] * step, v + sign[1] * step, z + sign[2] * step)
            value = self.distance(*place)
            if self.relief is not None:
                value = value - self.relief(*place)
            total += value[:, None] * np.array(sign, np.float32)
        total /= np.linalg.norm(total, axis=1, keepdims=True) + 1e-12
        c, s = np.float32(np.cos(self.angle)), np.float32(np.sin(self.angle))
        return np.column_stack([c * total[:, 0] - s * total[:, 1], s * total[:, 0] + c * total[:, 1], total[:, 2]])

    @property
    def axis(self):
        """Direction of u on the table."""
        return np.array([np.cos(self.angle), np.sin(self.angle), 0.0], np.float32)


def _box2(p, q, a, b, rounding):
    """Distance to a rectangle of half sides a, b with rounded corners."""
    dp, dq = np.abs(p) - (a - rounding), np.abs(q) - (b - rounding)
    outside = np.sqrt(np.maximum(dp, 0) ** 2 + np.maximum(dq, 0) ** 2)
    return outside + np.minimum(np.maximum(dp, dq), 0) - rounding


def _join(flat, height, rounding):
    """Distance to the solid where both distances are negative, its edge rounded."""
    a, b = flat + rounding, height + rounding
    return np.minimum(np.maximum(a, b), 0) + np.sqrt(np.maximum(a, 0) ** 2 + np.maximum(b, 0) ** 2) - rounding


class Turned(Solid):
    """A turned bar lying: steps [(until u, radius)], grooves [(u, width, depth)], knurl (from, to, pitch, depth)."""

    kind = "cylinder"

    def radius(self, u):
        """Radius of the profile along the bar; steps are short cones."""
        steps = self.extra["steps"]
        radius = np.full_like(u, steps[0][1])
        for (until, before), (_, after) in pairwise(steps):
            radius += (after - before) * np.clip((u - until) / 0.8 + 0.5, 0, 1)
        for place, width, depth in self.extra.get("grooves", ()):
            radius -= depth * np.clip((width / 2 - np.abs(u - place)) / (0.25 * width), 0, 1)
        return radius

    def distance(self, u, v, z):
        around = np.sqrt(v**2 + (z - self.top / 2) ** 2) - self.radius(u)
        return _join(around, np.abs(u) - self.half[0], 0.06 * self.top)

    def relief(self, u, v, z):
        """Diamonds of the knurl, and the fine feed marks of turning."""
        turn = np.arctan2(z - self.top / 2, v) * (self.top / 2)
        out = np.zeros_like(u)
        if "knurl" in self.extra:
            start, end, pitch, depth = self.extra["knurl"]
            inside = np.clip((np.minimum(u - start, end - u)) / 0.5, 0, 1)
            one = np.abs((u + turn) / pitch % 1 - 0.5)
            two = np.abs((u - turn) / pitch % 1 - 0.5)
            out = -depth * inside * 2 * np.maximum(one, two)
        return out


class Hex(Solid):
    """A hexagonal spacer lying on one face."""

    kind = "hex"

    def distance(self, u, v, z):
        w = np.abs(v), np.abs(z - self.top / 2)
        across = np.maximum(w[1], 0.8660254 * w[0] + 0.5 * w[1]) - self.top / 2
        return _join(across, np.abs(u) - self.half[0], 0.05 * self.top)


class Tag(Solid):
    """A flat plate with rounded corners; holes [(u, v, radius)]; `round` the corner radius, `edge` the edge's."""

    kind = "tag"

    def distance(self, u, v, z):
        flat = _box2(u, v, *self.half, self.extra["round"])
        for a, b, radius in self.extra.get("holes", ()):
            flat = np.maximum(flat, radius - np.sqrt((u - a) ** 2 + (v - b) ** 2))
        return _join(flat, np.abs(z - self.top / 2) - self.top / 2, self.extra["edge"])


class Ring(Solid):
    """A ring or a short tube lying flat; `wall` its radial thickness, `edge` the rounding of its section."""

    kind = "ring"

    def distance(self, u, v, z):
        wall = self.extra["wall"]
        across = np.sqrt(u**2 + v**2) - (self.half[0] - wall / 2)
        return _box2(across, z - self.top / 2, wall / 2, self.top / 2, self.extra["edge"])


class Knob(Solid):
    """A knob standing up: a dome over a fluted grip; `dome` the dome's radius of curvature, `flutes` their number."""

    kind = "knob"

    def distance(self, u, v, z):
        out = np.sqrt(u**2 + v**2)
        dome = self.extra["dome"]
        crown = np.sqrt(out**2 + (z - (self.top - dome)) ** 2) - dome
        return np.maximum(_join(out - self.half[0], crown, 0.08 * self.top), -z)

    def relief(self, u, v, z):
        """Flutes round the grip, fading out on the crown."""
        out = np.sqrt(u**2 + v**2)
        inside = np.clip((out / self.half[0] - 0.93) / 0.05, 0, 1)
        return -self.extra["depth"] * inside * (0.5 + 0.5 * np.cos(self.extra["flutes"] * np.arctan2(v, u)))


def trace(solid, eye, rays, rounds=22):
    """Return which rays (N, 3) from the eye meet a solid, and where: bool (N,), float32 (M, 3) of those that do."""
    eye = np.asarray(eye, np.float32)
    start = (solid.top * 1.02 - eye[2]) / rays[:, 2]
    end = (0.0 - eye[2]) / rays[:, 2]
    length, close = start.copy(), np.full(len(rays), np.inf, np.float32)
    alive = np.arange(len(rays))
    tolerance = np.float32(0.004 * solid.top + 0.01)
    for _ in range(rounds):
        gap = solid.at(eye + rays[alive] * length[alive, None])
        close[alive] = gap
        length[alive] += 0.9 * np.maximum(gap, 0)
        alive = alive[(gap > tolerance) & (length[alive] < end[alive])]
        if not alive.size:
            break
    hit = (close <= 4 * tolerance) & (length <= end + 0.1)
    return hit, eye + rays[hit] * length[hit, None]

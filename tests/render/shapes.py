"""Small turned, cut and stamped things as distance fields and normals, in millimetres of their own frame."""

from dataclasses import dataclass

import numpy as np

__all__ = ["Dome", "Plate", "Ring", "Turned", "unit"]


@dataclass(frozen=True)
class Turned:
    """A turned piece lying on its side, axis along x: knots (x mm, radius mm), grooves and knurled bands.

    Everywhere `relief(x, y)` gives the signed distance to the silhouette (mm, negative inside) and the unit
    normals (..., 3), z up.
    """

    knots: tuple[tuple[float, float], ...]
    grooves: tuple[tuple[float, float], ...] = ()  # centre and width, mm
    knurls: tuple[tuple[float, float, float], ...] = ()  # from, to, pitch, mm
    facets: int = 0  # flats around the axis, 6 for a pencil
    kind = "turned"

    @property
    def height_mm(self):
        """Height above the bench."""
        return 2 * max(r for _, r in self.knots)

    @property
    def reach_mm(self):
        """Half length and half width of the frame."""
        return max(abs(x) for x, _ in self.knots), self.height_mm / 2

    def relief(self, x, y):
        """Return distance and normals."""
        place, radius = np.array(self.knots, dtype=np.float32).T
        r = np.interp(x, place, radius).astype(np.float32)
        slope = (np.interp(x + 0.15, place, radius) - np.interp(x - 0.15, place, radius)) / 0.3
        for centre, width in self.grooves:
            u = np.clip((x - centre) / (width / 2), -1, 1)
            dip = 0.25 * width * (1 - u * u)
            r = r - dip
            slope = slope + np.where(np.abs(u) < 1, u, 0)
        distance = np.maximum(np.abs(y) - r, np.maximum(place[0] - x, x - place[-1]))
        across = np.clip(y / np.maximum(r, 1e-3), -0.999, 0.999)
        if self.facets:
            flat = 2 * np.pi / self.facets
            across = np.sin(np.round(np.arcsin(across) / flat + 0.2) * flat - 0.2 * flat) * 0.98
        normal = np.stack([-slope, across, np.sqrt(1 - across**2)], axis=-1)
        for start, end, pitch in self.knurls:
            normal = normal + self._knurl(x, across, r, start, end, pitch)
        return distance, unit(normal)

    @staticmethod
    def _knurl(x, across, r, start, end, pitch):
        """Slopes of diamond pyramids on a band of the surface."""
        inside = np.clip((x - start) / 0.3, 0, 1) * np.clip((end - x) / 0.3, 0, 1)
        around = np.arcsin(across) * r
        u, v = (np.sin(np.pi * (x + s * around) / pitch * np.sqrt(2)) for s in (1, -1))
        steep = 0.45 * inside
        tilt_x = steep * (np.tanh(3 * u) + np.tanh(3 * v)) / 2
        tilt_s = steep * (np.tanh(3 * u) - np.tanh(3 * v)) / 2
        upright = np.sqrt(1 - across**2)
        return np.stack([tilt_x, tilt_s * upright, -tilt_s * across], axis=-1)


@dataclass(frozen=True)
class Plate:
    """A flat piece with rounded corners, holes and a bevelled edge; x and y half sizes in mm."""

    half_x: float
    half_y: float
    corner: float = 2.0
    holes: tuple[tuple[float, float, float], ...] = ()  # x, y, radius, mm
    bevel: float = 0.6
    thickness: float = 2.0
    bow: float = 0.0  # slope at the ends, rad: no sheet is quite flat
    kind = "plate"

    @property
    def height_mm(self):
        """Height above the bench."""
        return self.thickness

    @property
    def reach_mm(self):
        """Half length and half width of the frame."""
        return self.half_x, self.half_y

    def _distance(self, x, y):
        qx, qy = np.abs(x) - self.half_x + self.corner, np.abs(y) - self.half_y + self.corner
        d = np.hypot(np.maximum(qx, 0), np.maximum(qy, 0)) + np.minimum(np.maximum(qx, qy), 0) - self.corner
        for hx, hy, radius in self.holes:
            d = np.maximum(d, radius - np.hypot(x - hx, y - hy))
        return d

    def relief(self, x, y):
        """Return distance and normals."""
        d = self._distance(x, y)
        step = 0.05
        out_x = (self._distance(x + step, y) - d) / step
        out_y = (self._distance(x, y + step) - d) / step
        steep = 1.2 * np.clip(1 + d / self.bevel, 0, 1) ** 2 if self.bevel else 0.0
        bow_x, bow_y = self.bow * x / self.half_x, 0.5 * self.bow * y / self.half_y
        return d, unit(np.stack([steep * out_x + bow_x, steep * out_y + bow_y, np.ones_like(d)], axis=-1))


@dataclass(frozen=True)
class Ring:
    """A ring lying flat; `rounding` 0 is a washer with bevelled edges, 1 a torus."""

    outer: float
    inner: float
    rounding: float = 0.4
    thickness: float = 2.5
    kind = "ring"

    @property
    def height_mm(self):
        """Height above the bench."""
        return self.thickness

    @property
    def reach_mm(self):
        """Half length and half width of the frame."""
        return self.outer, self.outer

    def relief(self, x, y):
        """Return distance and normals."""
        radius = np.hypot(x, y)
        middle, half = (self.outer + self.inner) / 2, (self.outer - self.inner) / 2
        u = (radius - middle) / half
        flat = 1 - max(self.rounding, 0.08)
        across = np.clip((np.abs(u) - flat) / (1 - flat), 0, 0.98) * np.sign(u)
        slope = across / np.sqrt(1 - across**2)
        away = np.stack([x, y], axis=-1) / np.maximum(radius, 1e-3)[..., None]
        return (np.abs(u) - 1) * half, unit(
            np.concatenate([away * slope[..., None], np.ones_like(u)[..., None]], axis=-1)
        )


@dataclass(frozen=True)
class Dome:
    """A round knob or disc seen from above: flat or domed top, rounded shoulder, ribs on the rim if wanted."""

    radius: float
    dome: float = 0.3  # slope at the edge of the top, rad
    shoulder: float = 1.5  # mm
    step: float = 0.0  # radius of a turned step on the top, mm
    ribs: int = 0
    thickness: float = 8.0
    kind = "dome"

    @property
    def height_mm(self):
        """Height above the bench."""
        return self.thickness

    @property
    def reach_mm(self):
        """Half length and half width of the frame."""
        return self.radius * 1.02, self.radius * 1.02

    def relief(self, x, y):
        """Return distance and normals."""
        radius = np.hypot(x, y)
        turn = np.arctan2(y, x)
        edge = self.radius * (1 + (0.015 * np.cos(self.ribs * turn) if self.ribs else 0))
        d = radius - edge
        steep = np.clip(1 + d / self.shoulder, 0, 0.97)
        slope = self.dome * radius / self.radius + steep / np.sqrt(1 - steep**2)
        if self.step:
            slope = slope + 0.9 * np.exp(-(((radius - self.step) / 0.25) ** 2))
        away = np.stack([x, y], axis=-1) / np.maximum(radius, 1e-3)[..., None]
        side = -0.5 * (np.sin(self.ribs * turn) if self.ribs else 0) * (steep > 0.3) * steep
        along = np.stack([-away[..., 1], away[..., 0]], axis=-1)
        tilt = away * slope[..., None] + along * np.broadcast_to(side, d.shape)[..., None]
        return d, unit(np.concatenate([tilt, np.ones_like(d)[..., None]], axis=-1))


def unit(vectors):
    """Return vectors (..., 3) at length 1, float32."""
    vectors = np.asarray(vectors, dtype=np.float32)
    return vectors / np.sqrt(np.einsum("...i,...i->...", vectors, vectors))[..., None]

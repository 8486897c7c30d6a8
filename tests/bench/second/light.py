"""Lights round the table: glowing panels at a place, and the room's faint dome; what they give and how they mirror."""

from dataclasses import dataclass

import numpy as np


def unit(vectors):
    """Return vectors of length one."""
    return vectors / np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), 1e-9)


def _normal_share(x):
    """Share of a normal curve left of x, to 2e-4; light tails matter, or a bright lamp leaks into flat parts."""
    x = np.clip(x, -6, 6)
    return 0.5 + 0.5 * np.tanh(0.79788 * (x + 0.044715 * x**3))


@dataclass
class Panel:
    """A glowing rectangle: centre and its two half sides (mm), radiance, and the number of the spectrum it sends."""

    centre: np.ndarray
    side_a: np.ndarray
    side_b: np.ndarray
    radiance: float = 1.0
    spectrum: int = 0
    grid: int = 3

    @property
    def face(self):
        """Unit normal towards the table."""
        face = unit(np.cross(self.side_a, self.side_b))
        return face if face @ self.centre < 0 else -face

    def samples(self):
        """Yield points on the panel and the area (mm2) each stands for."""
        steps = (np.arange(self.grid) + 0.5) / self.grid * 2 - 1
        area = 4 * np.linalg.norm(np.cross(self.side_a, self.side_b)) / self.grid**2
        for a in steps:
            for b in steps:
                yield (self.centre + a * self.side_a + b * self.side_b).astype(np.float32), area

    def seen(self, points, directions, blur):
        """Return how much of a blurred mirror direction (N, 3) from points falls on the panel, 0..1.

        `blur` is the half width of the mirror lobe in radians.
        """
        along = directions @ self.face.astype(np.float32)
        towards = (self.centre.astype(np.float32) - points) @ self.face.astype(np.float32)
        distance = towards / np.where(np.abs(along) < 1e-3, -1e-3, along)
        place = points + directions * distance[:, None] - self.centre.astype(np.float32)
        cover = (distance > 0).astype(np.float32)
        for side in (self.side_a, self.side_b):
            half = np.linalg.norm(side)
            soft = np.maximum(blur * np.abs(distance), 1e-3)
            offset = np.abs(place @ (side / half).astype(np.float32))
            low, high = (-half - offset) / soft, (half - offset) / soft
            cover = cover * (_normal_share(high / 0.65) - _normal_share(low / 0.65))
        return cover


@dataclass
class Sky:
    """The dome of the room: radiance overhead, its fall towards the horizon, and the dark shape of the photographer."""

    radiance: float = 0.1
    fall: float = 0.4
    spectrum: int = 0
    photographer: np.ndarray | None = None
    width: float = 0.35

    def seen(self, directions, blur):
        """Return the radiance seen along directions (N, 3) by a lobe of a half width; the table below is 0."""
        up = directions[:, 2]
        glow = self.radiance * (1 - self.fall * (1 - np.clip(up, 0, 1)))
        return glow * (0.5 + 0.5 * np.tanh(up / (0.05 + blur)))

    def falls_on(self, normals):
        """Return the irradiance on surfaces of given normals."""
        return np.pi * self.radiance * (1 - 0.4 * self.fall) * (0.5 + 0.5 * normals[..., 2])

    def unhidden(self, directions, blur):
        """Return how much of what lies along directions the photographer leaves to be mirrored, 0..1."""
        if self.photographer is None:
            return 1.0
        apart = np.sqrt(np.maximum(2 - 2 * directions @ self.photographer.astype(np.float32), 0))
        return 1 - 0.85 / (1 + np.exp((apart - self.width) / (0.04 + 0.5 * blur)))


@dataclass
class Lighting:
    """Everything that lights one scene; `spectra` are the light's powers, (81,) each."""

    name: str
    panels: list
    sky: Sky
    spectra: list

    def on_table(self, points):
        """Return panel irradiances on the table at points (N, 3): a list of (panel, (N,)), and the sky's number."""
        up = np.zeros_like(points)
        up[:, 2] = 1
        return [(p, irradiance(p, points, up)) for p in self.panels], float(self.sky.falls_on(up[0]))

    def shares(self):
        """Return the share of the light in the table's middle that each spectrum gives, (spectra,)."""
        panels, sky = self.on_table(np.zeros((1, 3), np.float32))
        parts = np.zeros(len(self.spectra))
        for panel, value in panels:
            parts[panel.spectrum] += float(value[0])
        parts[self.sky.spectrum] += sky
        return parts / parts.sum()

    def level(self, goal=1.0):
        """Scale all so that the table's middle receives pi x `goal`."""
        shares, sky = self.on_table(np.zeros((1, 3), np.float32))
        factor = np.pi * goal / (sum(float(v[0]) for _, v in shares) + sky)
        for panel in self.panels:
            panel.radiance *= factor
        self.sky.radiance *= factor
        return self


def irradiance(panel, points, normals):
    """Return what a panel sends on surfaces at points with normals, (N,)."""
    total = np.zeros(len(points), np.float32)
    for place, area in panel.samples():
        way = place - points
        square = np.einsum("ij,ij->i", way, way)
        cosines = np.einsum("ij,ij->i", way, normals).clip(0) * (-(way @ panel.face.astype(np.float32))).clip(0)
        total += np.float32(panel.radiance * area) * cosines / square**2
    return total


def _panel(azimuth, height_deg, distance, half_w, half_h, **more):
    """A panel facing the table's middle."""
    rise = np.radians(height_deg)
    to = np.array([np.cos(rise) * np.cos(azimuth), np.cos(rise) * np.sin(azimuth), np.sin(rise)])
    a = unit(np.cross(to, [0.02, 0.01, 1.0]))
    half_h = min(half_h, 0.9 * distance * np.tan(rise))  # no panel reaches below the table
    return Panel(distance * to, half_w * a, half_h * unit(np.cross(to, a)), **more)


def draw_lighting(rng, spectra, width_mm, back):
    """Return the lighting of a scene of a width; `back` is the unit vector to the camera."""
    name = str(
        rng.choice(["window", "lamp", "two lamps", "ceiling", "tent", "overcast"], p=[0.29, 0.21, 0.1, 0.18, 0.1, 0.12])
    )
    azimuth, w = rng.uniform(0, 2 * np.pi), width_mm
    other = len(spectra) - 1
    sky = Sky(0.1, rng.uniform(0.2, 0.7), other, back, rng.uniform(0.2, 0.5))
    if name == "window":
        panels = [
            _panel(
                azimuth,
                rng.uniform(28, 60),
                rng.uniform(2, 5) * w,
                rng.uniform(0.7, 1.6) * w,
                rng.uniform(0.7, 1.6) * w,
            )
        ]
        share = rng.uniform(0.2, 0.5)
    elif name == "lamp":
        panels = [_panel(azimuth, rng.uniform(40, 75), rng.uniform(1.3, 3) * w, 0.12 * w, 0.12 * w, grid=2)]
        share = rng.uniform(0.1, 0.3)
    elif name == "two lamps":
        turn = rng.uniform(2.0, 3.6)
        panels = [
            _panel(azimuth + k * turn, rng.uniform(35, 60), rng.uniform(2, 4) * w, 0.3 * w, 0.2 * w, grid=2)
            for k in (0, 1)
        ]
        share = rng.uniform(0.1, 0.3)
    elif name == "ceiling":
        panels = [_panel(azimuth + k * np.pi, rng.uniform(55, 80), 5 * w, 2.2 * w, 0.35 * w) for k in (0, 1)]
        share = rng.uniform(0.2, 0.45)
    elif name == "tent":
        panels = [_panel(azimuth + k * np.pi / 2, 35, 1.6 * w, 1.2 * w, 0.9 * w) for k in range(4)]
        share = rng.uniform(0.25, 0.4)
    else:
        panels = [_panel(azimuth, 60, 6 * w, 4.5 * w, 4 * w)]
        share = rng.uniform(0.4, 0.65)
    lighting = Lighting(name, panels, sky, spectra)
    return balance_sky(lighting, share).level()


def balance_sky(lighting, share):
    """Set the sky so that it gives a share of the light on the table, each panel an equal part of the rest."""
    shares, sky = lighting.on_table(np.zeros((1, 3), np.float32))
    for panel, value in shares:
        panel.radiance *= (1 - share) / len(shares) / float(value[0])
    lighting.sky.radiance *= share / sky
    return lighting

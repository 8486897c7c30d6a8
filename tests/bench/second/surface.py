"""How a surface answers the light: dyed film over metal, bare metal, matt things."""

from dataclasses import dataclass

import numpy as np

from .light import unit
from .spectra import MATERIALS, WAVELENGTHS_NM

_PATHS = np.linspace(0.9, 1.5, 9)  # relative path in the film; 1 at the angles of a 45/0 instrument
_INDEX = 1.6
# a point shows the film when its light is a flat piece's within this share, and it mirrors at most this share of it
FACING, VEIL = 0.06, 0.1
_USUAL = (1 + 1 / np.sqrt(1 - 0.5 / _INDEX**2)) / 2


@dataclass
class Surface:
    """What lies on a solid. `responses` holds for each light's spectrum raw RGB over the path lengths, (9, 3).

    lambert : share of the body's light that spreads evenly; the rest goes to a broad lobe of exponent `broad`
    mirror, rough, stretch : strength and half width (rad) of the metal's own mirror lobe, and its widening along
        the axis on turned parts
    front : strength of the Fresnel reflection of the outer face, of half width `front_rough`
    haze : reflectance of the even veil the outer face scatters
    """

    responses: list
    whites: list
    lambert: float = 1.0
    broad: float = 6.0
    mirror: float = 0.0
    rough: float = 0.2
    stretch: float = 0.0
    front: float = 0.0
    front_rough: float = 0.1
    haze: float = 0.0
    grain: float = 0.0


def respond(reflectance, lighting, curves):
    """Return raw RGB of a reflectance under each of the scene's spectra, (spectra, 3)."""
    return np.array([(reflectance * power) @ curves for power in lighting.spectra])


def film_surface(film, lighting, curves, rng):
    """Return the surface of a dyed film with a random finish, from blasted to bright."""
    finish = rng.random()
    return Surface(
        responses=[np.array([(film.reflectance(p) * power) @ curves for p in _PATHS]) for power in lighting.spectra],
        whites=list(respond(np.ones(WAVELENGTHS_NM.size), lighting, curves)),
        lambert=rng.uniform(0.6, 1.0),
        broad=rng.uniform(3, 12),
        mirror=0.02 + 0.42 * finish**2,
        rough=0.4 - 0.3 * finish + rng.uniform(0, 0.08),
        stretch=rng.uniform(0.05, 0.3),
        front=rng.uniform(0.6, 1.0),
        front_rough=0.25 - 0.2 * finish + rng.uniform(0, 0.05),
        haze=film.haze,
        grain=rng.uniform(0.005, 0.05) * (1 - 0.7 * finish),
    )


def plain_surface(material, lighting, curves, rng):
    """Return the surface of a bench thing: bare metals mirror, others are matt with a little gloss."""
    reflectance = MATERIALS[material] if isinstance(material, str) else material
    metal = isinstance(material, str) and material in ("steel", "copper", "brass")
    body = (0.35 if metal else 1.0) * respond(reflectance, lighting, curves)
    return Surface(
        responses=[np.repeat(row[None], _PATHS.size, axis=0) for row in body],
        whites=list(respond(np.ones(WAVELENGTHS_NM.size), lighting, curves)),
        mirror=rng.uniform(1.0, 1.8) if metal else 0.0,
        rough=rng.uniform(0.05, 0.25),
        stretch=0.1 if metal else 0.0,
        front=0.0 if metal else rng.uniform(0.0, 0.8),
        front_rough=rng.uniform(0.05, 0.3),
        grain=0.01,
    )


def _body(points, normals, to_eye, surface, lighting):
    """Return for each spectrum the light the body sends to the eye per unit reflectance, and the mean path; (N,)."""
    out = [np.zeros(len(points), np.float32) for _ in lighting.spectra]
    path = [np.zeros(len(points), np.float32) for _ in lighting.spectra]
    leaving = 1 / np.sqrt(1 - (1 - np.einsum("ij,ij->i", normals, to_eye).clip(0, 1) ** 2) / _INDEX**2)
    even = np.float32(surface.lambert)
    for panel in lighting.panels:
        face = panel.face.astype(np.float32)
        for place, area in panel.samples():
            way = place - points
            square = np.einsum("ij,ij->i", way, way)
            way /= np.sqrt(square)[:, None]
            cosine = np.einsum("ij,ij->i", way, normals).clip(0)
            light = panel.radiance * area / np.pi * cosine * (-(way @ face)).clip(0) / square
            half = np.einsum("ij,ij->i", unit(way + to_eye), normals).clip(0)
            light = light * (even + (1 - even) * (half / np.float32(0.9239)) ** np.float32(surface.broad))
            out[panel.spectrum] += light
            path[panel.spectrum] += light * (leaving + 1 / np.sqrt(1 - (1 - cosine**2) / _INDEX**2))
    sky = lighting.sky
    light = sky.falls_on(normals) / np.pi
    out[sky.spectrum] += light
    path[sky.spectrum] += light * (leaving + np.float32(1.12))
    return out, [p / np.maximum(o, 1e-9) / (2 * _USUAL) for o, p in zip(out, path, strict=True)]


def _reflected(points, normals, to_eye, blur, lighting):
    """Return for each spectrum the radiance the mirror direction shows, and how much of it is the table."""
    out = [np.zeros(len(points), np.float32) for _ in lighting.spectra]
    mirrored = 2 * np.einsum("ij,ij->i", normals, to_eye)[:, None] * normals - to_eye
    for panel in lighting.panels:
        out[panel.spectrum] += panel.radiance * panel.seen(points, mirrored, blur)
    out[lighting.sky.spectrum] += lighting.sky.seen(mirrored, blur)
    left = lighting.sky.unhidden(mirrored, blur)
    out = [light * left for light in out]
    return out, 0.5 - 0.5 * np.tanh(mirrored[:, 2] / (0.05 + blur))


def _along_path(surface, which, path):
    return np.stack([np.interp(path, _PATHS, surface.responses[which][:, i]) for i in range(3)], axis=1)


def shade(points, normals, eye, solid, surface, lighting, table_raw, rng):
    """Return raw RGB (N, 3) of surface points; `table_raw` (3,) is the table's own mean raw light."""
    to_eye = unit(eye.astype(np.float32) - points)
    if surface.grain:
        normals = unit(normals + np.float32(surface.grain) * rng.standard_normal(normals.shape, dtype=np.float32))
    light, path = _body(points, normals, to_eye, surface, lighting)
    white = np.sum(surface.whites, axis=0) / len(surface.whites)
    raw = np.zeros_like(points)
    for i, (amount, length) in enumerate(zip(light, path, strict=True)):
        raw += amount[:, None] * (_along_path(surface, i, length) + surface.haze * surface.whites[i])
    below = (0.5 - 0.5 * normals[:, 2:]) * table_raw * 0.7
    usual = np.mean([r[2] for r in surface.responses], axis=0) / white
    raw += below * usual
    return raw + _mirrored(points, normals, to_eye, solid, surface, lighting, table_raw)


def shows_film(points, normals, eye, solid, surface, lighting, table_raw):
    """Return which surface points (N,) are lit as a flat piece there would be, and mirror hardly anything."""
    to_eye = unit(eye.astype(np.float32) - points)
    up = np.zeros_like(points)
    up[:, 2] = 1
    lit, flat = (sum(_body(points, n, to_eye, surface, lighting)[0]) for n in (normals, up))
    mirrored = _mirrored(points, normals, to_eye, solid, surface, lighting, table_raw).sum(axis=1)
    body = lit * np.mean([r[2].sum() for r in surface.responses])
    return (np.abs(lit / flat - 1) < FACING) & (mirrored < VEIL * body)


def _mirrored(points, normals, to_eye, solid, surface, lighting, table_raw):
    """Return what metal and outer face mirror, raw RGB (N, 3)."""
    raw = np.zeros_like(points)
    white = np.sum(surface.whites, axis=0) / len(surface.whites)
    facing = np.einsum("ij,ij->i", normals, to_eye).clip(0, 1)
    slant = _PATHS[0] + 0.2 * (1 - facing)
    if surface.mirror:
        raw += surface.mirror * _mirror_lobe(points, normals, to_eye, solid, surface, lighting, table_raw, slant, white)
    if surface.front:
        # a rough face never mirrors fully at grazing angles
        fresnel = surface.front * (0.05 + 0.5 * max(0.0, 1 - 2.5 * surface.front_rough) * (1 - facing) ** 5)
        seen, low = _reflected(points, normals, to_eye, surface.front_rough, lighting)
        for amount, shown in zip(seen, surface.whites, strict=True):
            raw += (fresnel * amount)[:, None] * shown
        raw += (fresnel * low)[:, None] * table_raw
    return raw


def _mirror_lobe(points, normals, to_eye, solid, surface, lighting, table_raw, slant, white):
    """Return what the metal under the film mirrors, drawn out along the axis where the part was turned."""
    raw = np.zeros_like(points)
    tilts = (-1.3, 0.0, 1.3) if solid.kind in ("cylinder", "knurled") and surface.stretch else (0.0,)
    for tilt in tilts:
        bent = unit(normals + np.float32(tilt * surface.stretch) * solid.axis) if tilt else normals
        seen, low = _reflected(points, bent, to_eye, surface.rough, lighting)
        for i, amount in enumerate(seen):
            raw += amount[:, None] * _along_path(surface, i, slant)
        raw += low[:, None] * table_raw * np.mean([r[2] for r in surface.responses], axis=0) / white
    return raw / len(tilts)

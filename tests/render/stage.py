"""A scene as arrays that both worlds draw from: triangles, materials in bands, layers, the camera, the lights."""

from dataclasses import astuple, dataclass

import numpy as np

from dyebook.lab import Lab
from tests.render.patterns import ground_layer, layer_of
from tests.render.scene import FINISHES, TABLES, Film, Paint, Thing, shaped
from tests.render.shapes import mesh_of
from tests.render.spectra import KNOTS_NM, absorbance, body_reflectance, clear_loss

_BENCH_MM = 520.0  # half the bench top's side
_GROUND_FINISH = {"plastic": "glossy paint", "table": "glossy paint"}


class Camera:
    """A pinhole as a View has it: eye, axes right, up and ahead, focal length in pixels, size."""

    def __init__(self, view):
        tilt, azimuth = np.radians((view.tilt_deg, view.azimuth_deg))
        away = np.array([-np.sin(tilt) * np.cos(azimuth), -np.sin(tilt) * np.sin(azimuth), np.cos(tilt)])
        self.eye, self.ahead = away * view.distance_mm, -away
        right = np.cross(self.ahead, [0, 1, 0])
        self.right = right / np.linalg.norm(right)
        self.up = np.cross(self.right, self.ahead)
        self.focal = view.width * view.distance_mm / view.width_mm
        self.size = view.width, view.height

    def project(self, points):
        """Return pixels (..., 2) of points (..., 3)."""
        seen = np.asarray(points, float) - self.eye
        depth = seen @ self.ahead
        flat = np.stack([seen @ self.right, -(seen @ self.up)], axis=-1)
        return np.array(self.size) / 2 + self.focal * flat / depth[..., None]


@dataclass(frozen=True, eq=False)
class Source:
    """A lamp: a sphere of a radius, or a rectangle of half sides, that shines on `aim`; `power` is its radiance."""

    kind: str
    at: np.ndarray
    size: tuple
    power: float
    aim: np.ndarray


def placed(thing):
    """Return a thing's corners and normals on the bench, and its uv."""
    mesh, angle = mesh_of(thing.shape), np.radians(thing.turn_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
    return mesh.points @ turn.T + (thing.x_mm, thing.y_mm, thing.z_mm), mesh.normals @ turn.T, mesh.uv


def _row(thing, layer):
    finish, film, bands = thing.finish, isinstance(thing.material, Film), []
    r0 = float(clear_loss(1.0, finish.index))
    for material in (thing.material, thing.other or thing.material):
        body = body_reflectance(material, KNOTS_NM)
        bands += [body, absorbance(material, KNOTS_NM)] if film else [body / (1 - r0) ** 2, np.zeros(16)]
    return np.concatenate([*bands, [*astuple(finish)[:5], r0 if film else 0.0, thing.material.veil, layer]])


def _photographer(spec, camera):
    """The phone, and a person behind it who reaches over the bench."""
    rows = (*TABLES["phone"], *(TABLES["person"] if spec.light.person else ()))
    return [
        Thing(shaped("box", **sizes), Paint(Lab(*lab)), FINISHES["paint"], *(camera.eye + place), turn)
        for lab, sizes, place, turn in rows
    ]


class Stage:
    """A scene's camera, sources and room; corners (n, 3, 3), normals, uv of all triangles, the thing each belongs to
    (owner), a row of the table for each thing, layers; without bench and photographer where it is drawn `alone`.

    Things are those of the scene in order, then the bench, then the photographer. Table columns: body and absorbance in
    16 bands, the same of the other material (64 columns), then along, across, even, index, gloss, r0, veil, layer. The
    room is radiance by elevation from the zenith down and azimuth.
    """

    def __init__(self, spec, alone=False):
        self.camera, tile = Camera(spec.view), 1.3 * spec.view.width_mm
        self.sources, self.room = _lights(spec.light)
        sheet = shaped("sheet", half_x=_BENCH_MM, half_y=_BENCH_MM)
        finish = FINISHES[_GROUND_FINISH.get(spec.ground.kind, "paint")]
        bench = Thing(sheet, Paint(spec.ground.lab), finish, other=Paint(spec.ground.second))
        self.things = [*spec.things, *(() if alone else (bench, *_photographer(spec, self.camera)))]
        parts, rows, layers = [placed(thing) for thing in self.things], [], []
        for index, (thing, (points, normals, uv)) in enumerate(zip(self.things, parts, strict=True)):
            if thing is bench:
                layer = ground_layer(spec.ground, tile)
                parts[index] = points, normals, (uv - 0.5) * 2 * _BENCH_MM / tile + 0.5
            else:
                layer = layer_of(thing, mesh_of(thing.shape).uv_mm)
            rows.append(_row(thing, len(layers) if layer is not None else -1))
            if layer is not None:
                layers.append(layer)
        joined = (np.concatenate(one).astype(np.float32) for one in zip(*parts, strict=True))
        self.points, self.normals, self.uv = joined
        self.owner = np.repeat(np.arange(len(parts)), [len(part[0]) for part in parts]).astype(np.uint32)
        self.table, self.layers = np.float32(rows), np.array(layers or np.zeros((1, 1, 1, 4)), np.float32)


def environment(light, rows=128):
    """Return the room's radiance (rows, 2 rows), zenith first, scaled to light the bench as perfect white gives 1."""
    height = np.pi / 2 - (np.arange(rows) + 0.5) / rows * np.pi
    azimuth = (np.arange(2 * rows) + 0.5) / rows * np.pi
    up, away = np.meshgrid(height, np.angle(np.exp(1j * (azimuth - np.radians(light.azimuth_deg)))), indexing="ij")
    if light.kind == "even":
        return np.ones_like(up)
    if light.kind == "tent":
        room = 0.72 + 0.28 * np.sin(np.maximum(up, 0)) + 0.12 * np.cos(away) * np.cos(up)
        opening = np.abs(np.angle(np.exp(1j * (azimuth + np.pi / 2))))[None, :] < 0.22
        room[opening & (up < 0.6)] = 0.12
    elif light.kind == "overcast":
        room = np.where(up > 0.25 + 0.08 * np.sin(5 * away), (1 + 2 * np.sin(np.maximum(up, 0))) / 3, 0.12)
    else:
        room = 0.35 + 0.65 * np.clip((up - 0.35) / 0.3, 0, 1)  # walls, and a lighter ceiling
        room = room * (1 + 0.3 * np.cos(away)) * (0.8 + 0.2 * np.sign(np.sin(3.1 * away + 0.7)) * (up < 0.4))
    weight = np.maximum(np.sin(up), 0) * np.cos(up) * (np.pi / rows) ** 2
    return room * np.pi / (room * weight).sum()


def _lights(light):
    """Sources and room, which together light the bench's middle as perfect white gives 1."""
    room = environment(light)
    if light.kind in ("even", "tent", "overcast"):
        return (), room
    second = np.random.default_rng(int(light.azimuth_deg * 10)).uniform(1.7, 2.8)
    turn, lift = np.radians((light.azimuth_deg, light.height_deg))
    toward = lambda t, e: np.array([np.cos(t) * np.cos(e), np.sin(t) * np.cos(e), np.sin(e)])  # noqa: E731
    bulb, middle = (light.size_mm / 2,), np.zeros(3)
    if light.kind == "window":
        at = toward(turn, np.radians(32)) * 950
        side = np.cross([0, 0, 1], toward(turn, 0))
        plan = [("rectangle", at + s * 235 * side, (215.0, 520.0), 0.5, at * (0, 0, 1)) for s in (-1, 1)]
    elif light.kind == "tubes":
        ends = [np.array([[x, 60.0, 1500.0], [x, 60.0, 0.0]]) for x in (-350, 250)]
        plan = [("rectangle", at, (30.0, 600.0), 0.5, aim) for at, aim in ends]
    elif light.kind == "lamp":
        plan = [("sphere", toward(turn, lift) * 620, bulb, 1.0, middle)]
    else:
        places = toward(turn, lift) * 620, toward(turn + second, lift + 0.1) * 700
        plan = [("sphere", at, bulb, share, middle) for at, share in zip(places, (0.62, 0.38), strict=True)]
    power = [float((1 - light.room) * share * np.pi / _irradiance(*lamp, aim)) for *lamp, share, aim in plan]
    return tuple(Source(*lamp, w, aim) for w, (*lamp, _, aim) in zip(power, plan, strict=True)), light.room * room


def _irradiance(kind, at, size, aim):
    """Irradiance at the bench's middle by a source of radiance 1."""
    away = np.linalg.norm(at)
    if kind == "sphere":
        return np.pi * (size[0] / away) ** 2 * at[2] / away
    ahead, side, up = frame_toward(at, aim)
    s, t = (g.ravel() for g in np.meshgrid(*[np.linspace(-0.95, 0.95, 20)] * 2))
    spots = at + np.outer(s * size[0], side) + np.outer(t * size[1], up)
    square = (spots**2).sum(axis=1)
    cosines = np.maximum(spots[:, 2], 0) * np.maximum(-(spots @ ahead), 0) / square
    return 4 * size[0] * size[1] * (cosines / square).mean()


def frame_toward(at, aim):
    """Axes of a rectangle at a place that faces another: ahead, side, up."""
    ahead = aim - at
    ahead = ahead / np.linalg.norm(ahead)
    side = np.cross(ahead, [0, 0, 1] if abs(ahead[2]) < 0.99 else [0, 1, 0])
    side /= np.linalg.norm(side)
    return ahead, side, np.cross(side, ahead)

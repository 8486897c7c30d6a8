"""The simple world: even bodies with a lobe, soft shadows, in numpy, quick enough for unit tests.

Triangles are painted from far to near, and each pixel is shaded once where one thing covers it, nine times where
several do. A body sends its film's colour in all directions (Lambert), less what the finish gathers in a lobe about the
mirror's direction, under a neutral gloss. Light does not bounce.
"""

import cv2
import numpy as np

from tests.render.scene import Film
from tests.render.spectra import body_reflectance, clear_loss, film_reflectance, sensor_weights
from tests.render.stage import Stage

_FINE = 3
_RELIEF = 0.5  # of the layers' slopes, which an even body shows too strongly
_LOW_MM = 0.7  # what lies lower takes shadows, and throws none
_MIXES = np.linspace(0, 1, 5)  # shares of the second material whose colours are worked out


def draw_simple(spec, alone=False):
    """Return sensor light (H, W, 3); the thing at 3 × 3 places in a pixel, -1 for none; uv; stage."""
    stage = Stage(spec, alone)
    width, height = stage.camera.size
    triangle = _painted(stage, len(spec.things))
    owner = np.where(triangle >= 0, stage.owner[triangle].astype(int), -1)
    blocks = owner.reshape(height, _FINE, width, _FINE).swapaxes(1, 2).reshape(height, width, -1)
    mixed = (blocks != blocks[..., :1]).any(axis=2)
    ys, xs = np.mgrid[:height, :width]
    colours, shadow = _colours(spec, stage), _shadows(spec, stage, owner)
    middle = triangle[_FINE // 2 :: _FINE, _FINE // 2 :: _FINE]
    light, uv = _shaded(spec, stage, colours, shadow, middle.ravel(), xs.ravel() + 0.5, ys.ravel() + 0.5)
    light = light.reshape(height, width, 3)
    ys, xs = np.nonzero(mixed)
    total = np.zeros((len(ys), 3), np.float32)
    for dy, dx in np.ndindex(_FINE, _FINE):
        which = triangle[ys * _FINE + dy, xs * _FINE + dx]
        total += _shaded(spec, stage, colours, shadow, which, xs + (dx + 0.5) / _FINE, ys + (dy + 0.5) / _FINE)[0]
    light[mixed] = total / _FINE**2
    return light, owner, uv.reshape(height, width, 2), stage


def _painted(stage, bench):
    """Number of the triangle at each of the fine pixels, -1 for none."""
    width, height = (side * _FINE for side in stage.camera.size)
    picture = np.full((height, width), -1, np.float32)
    faces = np.cross(stage.points[:, 1] - stage.points[:, 0], stage.points[:, 2] - stage.points[:, 0])
    middle = stage.points.mean(axis=1)
    seen = np.einsum("ij,ij->i", faces, stage.camera.eye - middle) > 0
    # a corner behind the camera would be projected to the wrong side
    seen &= ((stage.points - stage.camera.eye) @ stage.camera.ahead).min(axis=1) > 30
    depth = np.linalg.norm(middle - stage.camera.eye, axis=1)
    lowest = np.full(len(stage.table), np.inf)
    np.minimum.at(lowest, stage.owner, stage.points[..., 2].min(axis=1))
    lowest[bench:][:1] = -1  # lies under everything; what lies on a sheet covers it
    order = np.flatnonzero(seen)[np.lexsort((-depth[seen], lowest[stage.owner[seen]]))]
    places = np.round((stage.camera.project(stage.points[order]) * _FINE - 0.5) * 16).astype(np.int32)
    for index, corners in zip(order.tolist(), places, strict=True):
        cv2.fillConvexPoly(picture, corners, float(index), cv2.LINE_8, 4)
    return picture.astype(int)


def _colours(spec, stage):
    """Sensor light of each thing's body at the shares of `_MIXES`, (things, 5, 3)."""
    rows = []
    for thing in stage.things:
        if isinstance(thing.material, Film):
            rows.append([film_reflectance(thing.film_at(mix), thing.finish)[0] for mix in _MIXES])
        else:
            first, second = (body_reflectance(one) for one in (thing.material, thing.other or thing.material))
            rows.append([first + mix * (second - first) for mix in _MIXES])
    return (np.array(rows) @ sensor_weights(spec.camera, spec.light.spectrum, fine=True)).astype(np.float32)


def _lamps(spec, stage):
    """Direction, share of the bench's light and angular spread of each lamp."""
    away = [np.linalg.norm(source.at) for source in stage.sources]
    share = (1 - spec.light.room) / max(1, len(away))
    return [(one.at / far, share, max(one.size) / far) for one, far in zip(stage.sources, away, strict=True)]


def _shadows(spec, stage, owner):
    """Share of the light that reaches the bench in each pixel, (H, W): lamps and room."""
    height, width = size = stage.camera.size[::-1]
    scale, lamps = width / spec.view.width_mm, _lamps(spec, stage)
    reach, shadows = np.ones(size, np.float32), [np.zeros(size, np.float32) for _ in lamps]
    middle = owner[_FINE // 2 :: _FINE, _FINE // 2 :: _FINE]
    for index in range(len(spec.things)):
        top = float(stage.points[stage.owner == index][..., 2].max())
        if top <= _LOW_MM:
            continue
        cover = (middle == index).astype(np.float32)
        reach *= 1 - 0.6 * cv2.GaussianBlur(cover, (0, 0), max(0.5 * top * scale, 0.6))
        for shadow, (toward, _, spread) in zip(shadows, lamps, strict=True):
            for share in np.linspace(0.1, 0.95, 6):
                move = -toward[:2] / toward[2] * top * share * scale * (1, -1)
                moved = cv2.warpAffine(cover, np.c_[np.eye(2), move], (width, height))
                np.maximum(shadow, cv2.GaussianBlur(moved, (0, 0), max(spread * top * share * scale, 0.5)), out=shadow)
    light = (spec.light.room if lamps else 1.0) * reach
    return light + sum(share * (1 - shadow) for shadow, (_, share, _) in zip(shadows, lamps, strict=True))


def _unit(vectors):
    return vectors / np.maximum(np.linalg.norm(vectors, axis=1, keepdims=True), 1e-6)


def _shaded(spec, stage, colours, shadow, triangle, x, y):
    """Sensor light (n, 3) and uv of triangles seen at pixels x, y."""
    camera, size = stage.camera, stage.camera.size
    ray = camera.ahead * camera.focal + np.outer(x - size[0] / 2, camera.right) - np.outer(y - size[1] / 2, camera.up)
    ray = _unit(ray)
    a, b, c = (stage.points[triangle, k].astype(float) for k in range(3))
    plane = np.cross(b - a, c - a)
    far = np.vecdot(a - camera.eye, plane) / np.minimum(np.vecdot(ray, plane), -1e-12)
    hit = camera.eye + ray * far[:, None]
    area = np.maximum(np.vecdot(plane, plane), 1e-12)
    second, third = np.vecdot(np.cross(hit - a, c - a), plane) / area, np.vecdot(np.cross(b - a, hit - a), plane) / area
    share = np.clip(np.stack([1 - second - third, second, third], axis=1), 0, 1)
    share /= share.sum(axis=1, keepdims=True)
    normal, uv = (np.einsum("nk,nki->ni", share, v[triangle]) for v in (stage.normals, stage.uv))
    row = stage.table[stage.owner[triangle]]
    layers = np.zeros((len(x), 4), np.float32)
    there, side = row[:, 71] >= 0, stage.layers.shape[1]
    at = np.clip((np.abs(uv - 2 * np.round(uv / 2)) * side).astype(int), 0, side - 1)[there]  # mirrored beyond 0..1
    layers[there] = stage.layers[row[there, 71].astype(int), at[:, 1], at[:, 0]]
    normal = _unit(normal)
    lean = _unit(np.cross([0.0, 1.0, 0.0], normal))
    bent = _unit(normal - _RELIEF * (layers[:, 2:3] * lean + layers[:, 3:] * np.cross(normal, lean)))
    light = _lit(spec, stage, colours, row, stage.owner[triangle], layers, bent, -ray)
    low = hit[:, 2] < _LOW_MM
    inside = np.clip(y.astype(int), 0, size[1] - 1), np.clip(x.astype(int), 0, size[0] - 1)
    light[low] *= shadow[inside][low, None]
    light[triangle < 0] = 0.05
    return light, uv


def _lit(spec, stage, colours, row, owner, layers, normal, eye):
    """Sensor light of surfaces with a normal, seen from `eye`."""
    even, index = row[:, 66], row[:, 67]
    gather = np.where(even < 0.999, 0.75 * (1 - even), 0)
    facing = np.clip(np.vecdot(normal, eye), 0.02, 1)
    mirror = 2 * np.vecdot(normal, eye)[:, None] * normal - eye
    rough = np.maximum(np.sqrt(row[:, 64] * row[:, 65]), 0.02)
    sharp = np.maximum(row[:, 68], 0.02)
    room = spec.light.room if stage.sources else 1.0
    body = room * (0.5 + 0.5 * normal[:, 2])
    lobe, gloss = room * (0.35 + 0.65 * (0.5 + 0.5 * mirror[:, 2])), room * (0.2 + 0.8 * np.clip(mirror[:, 2], 0, 1))
    for toward, share, spread in _lamps(spec, stage):
        body = body + share * np.clip(normal @ toward, 0, None) / toward[2]
        at = np.clip(mirror @ toward, 0, 1)
        for width, target in ((rough, lobe), (sharp, gloss)):
            power = 2 / (width**2 + spread**2)
            target += share * (power + 1) / 4 * at**power
    place = np.clip(layers[:, 0], 0, 1) * (len(_MIXES) - 1)
    low = np.minimum(place.astype(int), len(_MIXES) - 2)
    colour = colours[owner, low] + (place - low)[:, None] * (colours[owner, low + 1] - colours[owner, low])
    light = colour * ((1 - gather) * body + gather * lobe)[:, None] + (clear_loss(facing, index) * gloss)[:, None]
    dust = layers[:, 1:2]
    return ((1 - dust) * light + dust * 0.35 * body[:, None]).astype(np.float32)

"""Turned, cut and stamped things as triangle meshes, in millimetres of their own frame, standing on z = 0."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.sparse import csr_array
from scipy.spatial import Delaunay, cKDTree
from skimage.measure import points_in_poly

_CREASE = np.cos(np.radians(38))


@dataclass(frozen=True, eq=False)
class Mesh:
    """Triangles with a normal and a place on the part (u, v in 0..1) for each of their corners."""

    points: np.ndarray  # (n, 3, 3)
    normals: np.ndarray  # (n, 3, 3)
    uv: np.ndarray  # (n, 3, 2)

    @property
    def size_mm(self):
        return np.ptp(self.points.reshape(-1, 3), axis=0)

    @property
    def uv_mm(self):
        """Length on the surface of u and of v from 0 to 1, the median over the sides that run along them."""
        sides, steps = np.linalg.norm(np.diff(self.points, axis=1), axis=2), np.abs(np.diff(self.uv, axis=1))
        lengths = []
        for k in (0, 1):
            along = (steps[..., 1 - k] < 1e-6) & (steps[..., k] > 1e-6) & (sides > 1e-6)
            lengths.append(sides[along] / steps[along, k])
        return np.array([np.median(one) for one in lengths]) if all(map(len, lengths)) else self.size_mm[:2]


@lru_cache(maxsize=256)
def mesh_of(shape):
    return MAKERS[shape.kind](**dict(shape.sizes))


def _soup(points, faces, uv):
    """Corners with normals that are smooth except over creases."""
    corners = points[faces]
    face = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    keep = np.linalg.norm(face, axis=1) > 1e-9
    corners, face, faces = corners[keep], face[keep], faces[keep]
    flat = face / np.linalg.norm(face, axis=1, keepdims=True)
    _, place = np.unique(np.round(points, 4), axis=0, return_inverse=True)
    there = csr_array((np.ones(faces.size), (np.arange(faces.size), place.ravel()[faces].ravel())))
    one, other = (there @ there.T).nonzero()  # pairs of corners at one place
    alike = np.einsum("ij,ij->i", flat[one // 3], flat[other // 3]) > _CREASE
    normals = csr_array((alike[alike], (one[alike], other[alike] // 3))) @ face
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    return Mesh(corners, normals.reshape(-1, 3, 3), uv[faces])


def _grid(points):
    """Mesh of a surface (rows along u, columns along v)."""
    rows, columns = points.shape[:2]
    u, v = np.meshgrid(np.linspace(0, 1, rows), np.linspace(0, 1, columns), indexing="ij")
    surface, faces = _quads(points)
    return _soup(surface, faces[:, [0, 2, 1]], np.stack([u, v], axis=-1).reshape(-1, 2))


def _turned(x, radius, steps=96):
    """A piece turned about the x axis, lying on the bench; radius (rows,) or (rows, steps + 1) with relief."""
    radius = np.broadcast_to(np.reshape(radius, (len(x), -1)), (len(x), steps + 1)).copy()
    x, radius = np.r_[x[0], x, x[-1]], np.vstack([0 * radius[:1], radius, 0 * radius[:1]])
    turn = np.linspace(0, 2 * np.pi, steps + 1)
    ring = np.stack([np.zeros_like(turn), np.sin(turn), np.cos(turn)], axis=-1)
    points = radius[..., None] * ring
    points[..., 0] = np.asarray(x)[:, None]
    points[..., 2] += radius.max()
    return _grid(points)


def _profile(*knots, step=1.5):
    """A piece turned by its turning points (x, r), with more between them, so that long pieces have rows for marks."""
    x, radius = np.array(knots, float).T
    counts = np.maximum(1, np.ceil(np.abs(np.diff(x)) / step)).astype(int)
    place = np.concatenate([*(k + np.arange(n) / n for k, n in enumerate(counts)), [len(counts)]])
    return _turned(*(np.interp(place, np.arange(len(x)), values) for values in (x, radius)))


def _rod(length=50.0, radius=5.0, edge=0.6, groove=0.0):
    half, g, low = length / 2, groove * length / 2, radius - 0.7
    cut = [(g - 1, radius), (g - 0.5, low), (g + 0.5, low), (g + 1, radius)] if groove else []
    return _profile((-half, radius - edge), (-half + edge, radius), *cut, (half - edge, radius), (half, radius - edge))


def _pen(length=120.0, radius=5.5, tip=2.5, taper=18.0):
    h, seam, low = length / 2, 0.15 * length, radius - 0.4
    cap = (seam, radius), (seam + 0.4, low), (seam + 1.4, low), (seam + 1.8, radius)
    nib = (-h, tip - 0.5), (-h + 0.5, tip), (-h + taper, radius)
    return _profile(*nib, *cap, (h - 0.8, radius), (h, radius - 0.8))


def _knurled(length=30.0, radius=7.0, pitch=1.4, share=0.7):
    x = np.linspace(-length / 2, length / 2, int(length / pitch * 6))
    steps = int(2 * np.pi * radius / pitch) * 6
    turn = np.linspace(0, 2 * np.pi, steps + 1)
    count = round(2 * np.pi * radius / pitch / 1.4)
    wave = [np.abs(((turn * count / (2 * np.pi) + s * x[:, None] / pitch / 1.4) % 1) - 0.5) for s in (1, -1)]
    inside = np.clip((share * length / 2 - np.abs(x)) / 0.4, 0, 1)[:, None]
    return _turned(x, radius - 0.35 * pitch * inside * (wave[0] + wave[1]), steps)


def _threaded(length=24.0, radius=4.0, pitch=1.25):
    x = np.linspace(-length / 2, length / 2, int(length / pitch * 10))
    turn = np.linspace(0, 2 * np.pi, 97)
    phase = (x[:, None] / pitch + turn / (2 * np.pi)) % 1
    depth = 0.6 * pitch * np.clip(np.abs(phase - 0.5) * 2.4 - 0.15, 0, 1)
    return _turned(x, radius - depth)


def _upright(radius, z, relief=0.0, steps=128):
    """A piece turned about the z axis: radii and heights from the bench up, `relief` a share of the radius."""
    turn = np.linspace(0, 2 * np.pi, steps + 1)
    r = np.asarray(radius)[:, None] * (1 + relief + 0 * turn)
    height = np.broadcast_to(np.asarray(z)[:, None], r.shape)
    return _grid(np.stack([r * np.cos(turn), r * np.sin(turn), height], axis=-1)[:, ::-1])


def _cap(radius=12.0, height=8.0, dome=0.8, edge=1.2, ribs=0):
    """A knob or cap seen from above, domed by `dome` mm, with ribs round its side."""
    corner = np.linspace(0, np.pi / 2, 6)
    r = np.r_[radius, radius - edge + edge * np.cos(corner)]
    z = np.r_[0.0, height - edge - dome + edge * np.sin(corner)]
    top = np.linspace(r[-1], 0, 16)[1:]
    r, z = np.r_[r, top], np.r_[z, z[-1] + dome * (1 - (top / r[-1]) ** 2)]
    steps = 8 * ribs or 128
    wave = np.cos(ribs * np.linspace(0, 2 * np.pi, steps + 1)) if ribs else np.zeros(steps + 1)
    return _upright(r, z, 0.02 * wave * (r > radius - edge)[:, None], steps)


def _ring(outer=14.0, inner=9.0, thickness=3.0, rounding=0.4):
    """A ring or washer lying flat; rounding 1 makes a torus."""
    turn = np.linspace(0, 2 * np.pi, 49)
    power = 1 / (1 + 3 * (1 - rounding))
    wide, high = (np.sign(w) * np.abs(w) ** power for w in (np.cos(turn), np.sin(turn)))
    return _upright((outer + inner) / 2 + (outer - inner) / 2 * wide, thickness / 2 * (1 + high))


def _outline(half_x, half_y, corner, inset):
    """Outline (n, 2) of a plate with round corners, anticlockwise."""
    corner = min(corner, half_x, half_y)
    r, turn = max(corner - inset, 0.02), np.linspace(0, np.pi / 2, 9)
    reach, arcs = np.array([half_x, half_y]) - inset - r, []
    for quarter, side in enumerate(((1, 1), (-1, 1), (-1, -1), (1, -1))):
        angle = turn + quarter * np.pi / 2
        arcs.append(side * reach + r * np.stack([np.cos(angle), np.sin(angle)], axis=1))
    return np.concatenate(arcs)


def _plate(half_x=20.0, half_y=12.0, corner=2.0, thickness=1.6, bevel=0.3, holes=(), bow=0.0):
    """A flat piece with holes (x, y, radius), its upper edges bevelled, its ends bowed up by `bow` mm."""
    turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    circle = np.stack([np.cos(turn), -np.sin(turn)], axis=1)
    rings = [[_outline(half_x, half_y, corner, inset) for inset in (0.0, bevel)]]
    rings += [[np.array(h[:2]) + (h[2] + b) * circle for b in (0.0, bevel)] for h in holes]
    pieces, top = [], []
    for outer, inner in (map(_resampled, pair) for pair in rings):
        rows = (outer, 0.0), (outer, thickness - bevel), (inner, thickness)
        pieces.append(_quads(np.stack([np.c_[ring, np.full(len(ring), z)] for ring, z in rows])))
        top.append(inner[:-1])
    inner = np.stack(np.meshgrid(np.arange(-half_x, half_x, 2.5), np.arange(-half_y, half_y, 2.5)), -1).reshape(-1, 2)
    away = cKDTree(np.concatenate(top)).query(inner)[0] > 0.8
    flat = np.concatenate([*top, inner[_inside(inner, top) & away]])
    faces = Delaunay(flat).simplices
    faces = faces[_inside(flat[faces].mean(axis=1), top)]
    (ax, ay), (bx, by) = (flat[faces[:, 1]] - flat[faces[:, 0]]).T, (flat[faces[:, 2]] - flat[faces[:, 0]]).T
    clockwise = ax * by < ay * bx
    faces[clockwise] = faces[clockwise][:, ::-1]
    pieces.append((np.c_[flat, np.full(len(flat), thickness)], faces))
    offsets, points = np.cumsum([0, *(len(piece) for piece, _ in pieces)]), np.concatenate([one for one, _ in pieces])
    faces = np.concatenate([those + offset for (_, those), offset in zip(pieces, offsets, strict=False)])
    uv = points[:, :2] / (2 * half_x, 2 * half_y) + 0.5
    points[:, 2] += bow * (points[:, 0] / half_x) ** 2
    return _soup(points, faces, uv)


def _resampled(ring, count=240):
    """A ring at `count` equal steps, closed."""
    ring = np.vstack([ring, ring[:1]])
    way = np.r_[0, np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1))]
    return np.stack([np.interp(np.linspace(0, way[-1], count + 1), way, c) for c in ring.T], axis=1)


def _quads(rows):
    """Points and faces of rows (r, n, 3) of one closed strip, outside on the right hand."""
    count = rows.shape[1]
    a = (np.arange(len(rows) - 1)[:, None] * count + np.arange(count - 1)).ravel()
    b, c, d = a + 1, a + count, a + count + 1
    return rows.reshape(-1, 3), np.concatenate([np.stack([a, b, c], 1), np.stack([b, d, c], 1)])


def _inside(points, rings):
    """Which points lie in the first ring, and in none of the others."""
    outer, *holes = (points_in_poly(points, ring) for ring in rings)
    return outer & ~np.any(holes, axis=0) if holes else outer


def _sheet(half_x=30.0, half_y=22.0):
    x, y = np.meshgrid(np.linspace(-half_x, half_x, 9), np.linspace(-half_y, half_y, 9), indexing="ij")
    return _grid(np.stack([x, y, 0 * x], axis=-1))


def _box(half_x=20.0, half_y=10.0, height=12.0):
    x, y, z = np.meshgrid([-half_x, half_x], [-half_y, half_y], [0.0, height], indexing="ij")
    points = np.stack([x.ravel(), y.ravel(), z.ravel()], axis=1)
    sides = np.array([(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)])
    faces = np.concatenate([sides[:, :3], sides[:, [0, 2, 3]]])
    return _soup(points, faces, points[:, :2] / (2 * half_x, 2 * half_y) + 0.5)


MAKERS = {"plate": _plate, "ring": _ring, "cap": _cap, "rod": _rod, "pen": _pen, "knurl": _knurled}
MAKERS |= {"thread": _threaded, "sheet": _sheet, "box": _box}

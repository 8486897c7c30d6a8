"""What distinguishes a flaw from texture: features of the places on a part that stand out.

All places of all fields are measured at once, from sums over their pixels, over a ring around each and over its rim.
From these come how far and how sharply a place stands out, its size and form, and its change of light against the ring:
how large it is, and whether it is one of dye, of shade, of mirror light, or ground seen through a hole. Some features
are taken a second time against the part's other places, as a flaw is rare and texture is all over.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from dyebook.lab import delta_e_00, linear_rgb_to_lab
from dyebook.photo.flaw.candidates import BARE_METAL, Regions, depth_direction
from dyebook.photo.flaw.view import CHROMA, DARK, PartView

__all__ = ["FEATURES", "Place", "change_delta_e", "part_facts", "places_of"]

# fmt: off
FEATURES = (
    # how far it stands out
    "height_mean", "height_top", "height_others", "peak",
    # size and form, and where on the part
    "area_share", "area_windows", "long_to_wide", "turn_to_part", "wide_to_part", "long_to_part", "tilt", "open_rim",
    # its change of colour, and the ring around it
    "delta_e", "delta_chroma", "ring_distance", "ring_spread", "ring_chroma",
    # what the change is one of
    "like_dye", "hue_like_dye", "like_shade", "like_mirror", "adds_white", "adds_metal",
    # its form, sign, edge and evenness
    "filled", "paler", "edge", "edge_uneven", "uneven",
    # the field and level it was found at, and what else was
    "plain", "level", "rivals",
    # texture within and around
    "grain", "grain_around",
    # share of all that stands out; brightness and ground seen through
    "share_of_all", "bright", "ground", "ground_hue",
    # some of these against the part's other places
    "delta_e_usual", "delta_chroma_usual", "ring_distance_usual", "ring_chroma_usual", "height_mean_usual",
    "delta_e_rank", "delta_chroma_rank", "ring_distance_rank", "ring_chroma_rank", "height_mean_rank",
)
# fmt: on
# features whose size against the part's other places matters more than their own, and their floor in logarithms
_COMPARED, _COMPARED_FLOOR = ("delta_e", "delta_chroma", "ring_distance", "ring_chroma", "height_mean"), 1e-3
_TINY = 1e-6

# -- Outlines --
# the height that a tenth of a place exceeds is its own; an outline at half of it may not be this much larger
_PLATEAU, _MOST_GROWN = 0.9, 2.0

# -- Heights --
# share of a field's pixels below the height it is known by, pixels that give it, and the least of it
_USUAL_SHARE, _USUAL_PIXELS, _LEAST_USUAL = 0.97, 1000, 0.5
_SLOPE_SMOOTHED = 0.8

# -- Ring and rim --
# the ring lies from so many windows off a place to so many more; fewer pixels than this do not count
_RING_GAP, _RING_WIDTH, _FEWEST_AROUND = 0.8, 2.2, 8
_MOST_PIXELS = 3000
_BESIDE = np.ones((3, 3), np.uint8)
_RING_RIDGE, _CHROMA_FLOOR = 1e-5, 1e-3

# -- Change of light --
_MOST_CHANGE = 4  # log light
# least light of a film beside mirror light, least light that thinner film adds, hue that is noise
_MIRROR_FLOOR, _LEAST_MISSING, _HUE_NOISE = 0.02, 0.02, 0.02
_OWN_STRIDE = 5

_COLUMNS = ("x", "y", "xx", "yy", "xy", "height", "tilt", "square", "grain")
_PAIRS = ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))


@dataclass(frozen=True)
class Place:
    """One of the regions of a field."""

    regions: Regions
    label: int

    def mask(self, shape):
        """Return its pixels as bool over a view of a shape."""
        return _enlarged(self.regions.labels == self.label, self.regions.field.step, shape)

    def outlined(self, shape):
        """Return the pixels around its top that stand out at least half as far: where a soft edge truly runs."""
        region, height = self.regions.labels == self.label, self.regions.field.height
        height = height * np.sign(height[region].sum())
        plateau = np.quantile(height[region], _PLATEAU)
        _, labels = cv2.connectedComponents((height > plateau / 2).view(np.uint8), connectivity=4, ltype=cv2.CV_16U)
        inside = labels[region]
        half = labels == np.bincount(inside[inside > 0]).argmax()
        fits = half.sum() < _MOST_GROWN * region.sum()
        return _enlarged(half if fits else region, self.regions.field.step, shape)


def part_facts(view: PartView) -> dict[str, float]:
    """Return what the features need to know about the part as a whole."""
    rows, columns = view.mask.any(axis=1).sum(), view.mask.any(axis=0).sum()
    return {
        "area": float(view.mask.sum()),
        "narrow": float(min(rows, columns)),
        "long": float(max(rows, columns)),
        "aspect": float(min(rows, columns) / max(rows, columns)),
    }


def places_of(found: list[Regions], view: PartView, film: np.ndarray, facts: dict) -> tuple[list[Place], np.ndarray]:
    """Return the places of all regions and their features.

    The features have shape (places, len(FEATURES)). `film` has shape (3,). `facts`: from `part_facts`.
    """
    places = [Place(regions, k + 1) for regions in found for k in range(regions.count)]
    if not places:
        return [], np.zeros((0, len(FEATURES)))
    seen = _pixel_sums(found, view)
    change, around = _contrast(seen)
    form = _form(seen)
    tops = _usual_tops(found)
    repeats = [regions.count for regions in found]
    same = {
        "usual": [tops[id(r.field)] for r in found],
        "sigma": [r.field.sigma for r in found],
        "plain": [r.field.plain for r in found],
        "level": [r.level for r in found],
        "rivals": [r.rivals for r in found],
    }
    same = {name: np.repeat(np.array(values, dtype=float), repeats) for name, values in same.items()}
    every = {
        **same,
        **_heights(seen, same["usual"]),
        **_sizes(form, same["sigma"], facts),
        **around,
        **_likenesses(change, film),
        **_differences(change, film),
        **_through(seen, view),
        **_added(seen, change),
        "tilt": seen.means["tilt"],
        "grain": np.log((seen.means["grain"] + _TINY) / (seen.ring_grain + _TINY)),
        "grain_around": np.log(seen.ring_grain + _TINY),
        "share_of_all": _share_of_all(seen, repeats),
        "open_rim": seen.open_rim,
    }
    every |= _among_all({name: every[name] for name in _COMPARED})
    return places, np.stack([every[name] for name in FEATURES], axis=1)


def _enlarged(one, step, shape):
    """A mask with each pixel made step × step, cut to a shape."""
    one = one.view(np.uint8)
    if step > 1:
        one = cv2.resize(one, None, fx=step, fy=step, interpolation=cv2.INTER_NEAREST)
    return np.ascontiguousarray(one[: shape[0], : shape[1]]).view(bool)


def _heights(seen, usual):
    """Features of how far places stand out."""
    height = seen.means["height"]
    return {
        "height_mean": height,
        "height_top": seen.top,
        "height_others": height / usual,
        "peak": seen.top / (height + _TINY),
        "edge": seen.slope / (height + _TINY),
        "edge_uneven": seen.slope_sd / (seen.slope + _TINY),
    }


def _sizes(form, sigma, facts):
    """Features of size and form."""
    return {
        "area_share": np.log(form["area"] / facts["area"]),
        "area_windows": np.log(form["area"] / sigma**2),
        "long_to_wide": form["long"] / form["wide"],
        "turn_to_part": form["turn"],
        "wide_to_part": form["wide"] / facts["narrow"],
        "long_to_part": form["long"] / facts["long"],
        "filled": form["filled"],
    }


def _contrast(seen):
    """Changes of log light against the ring around each place, and features of that ring."""
    spread = seen.ring_squares - seen.ring_mean[:, :, None] * seen.ring_mean[:, None, :]
    spread[seen.few] = seen.usual_spread[seen.few]
    within = np.maximum(seen.means["square"] - (seen.means["rest"] ** 2).sum(axis=1), 0)
    change = seen.means["rest"] - np.where(seen.few[:, None], 0, seen.ring_mean)
    solved = np.linalg.solve(spread + _RING_RIDGE * np.eye(3), change[..., None])[..., 0]
    of_hue = np.maximum(((CHROMA @ spread) * CHROMA).sum(axis=(1, 2)), 0)
    return change, {
        "ring_distance": np.sqrt(np.maximum((change * solved).sum(axis=1), 0)),
        "ring_spread": np.sqrt(np.maximum(np.trace(spread, axis1=1, axis2=2), 0)),
        "uneven": np.sqrt(within) / (np.linalg.norm(change, axis=1) + _TINY),
        "ring_chroma": np.linalg.norm(change @ CHROMA.T, axis=1) / (np.sqrt(of_hue) + _CHROMA_FLOOR),
    }


def _form(seen):
    """Area, length, width, turn of the long axis, and the filled share of the ellipse of equal moments."""
    x, y = seen.means["x"], seen.means["y"]
    pixel = seen.step**2 / 12
    xx, yy = seen.means["xx"] - x**2 + pixel, seen.means["yy"] - y**2 + pixel
    xy = seen.means["xy"] - x * y
    half, root = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    long, wide = 4 * np.sqrt(half + root), 4 * np.sqrt(np.maximum(half - root, 0.1 * pixel))
    area = seen.count * seen.step**2
    return {
        "area": area,
        "long": long,
        "wide": wide,
        "turn": np.abs(np.cos(0.5 * np.arctan2(2 * xy, xx - yy))),
        "filled": area / (np.pi / 4 * long * wide),
    }


def _usual_tops(found):
    """Height that few of each field's pixels exceed, by the field."""
    out = {}
    for regions in found:
        field = regions.field
        if id(field) not in out:
            seen = np.abs(field.height[field.inner])
            seen = seen[:: max(1, len(seen) // _USUAL_PIXELS)]
            k = int(_USUAL_SHARE * len(seen))
            out[id(field)] = max(float(np.partition(seen, k)[k]), _LEAST_USUAL)
    return out


def _share_of_all(seen, repeats):
    """Share of all that stands out in a place's own field at its own level."""
    mass = seen.count * seen.means["height"]
    starts = np.concatenate([[0], np.cumsum(repeats)[:-1]])
    return mass / np.repeat(np.add.reduceat(mass, starts), repeats)


def _among_all(features):
    """Logarithms of features against the middle place's, and the share of places that have more."""
    out = {}
    for name, values in features.items():
        logs = np.log(np.maximum(values, _COMPARED_FLOOR))
        out[f"{name}_usual"] = logs - np.median(logs)
        out[f"{name}_rank"] = 1 - np.searchsorted(np.sort(values), values, side="right") / len(values)
    return out


def change_delta_e(film: np.ndarray, change: np.ndarray):
    """Return CIEDE2000 between a film and the same film with its log light changed.

    `film` has shape (3,). `change` (..., 3): in log light, as `PartView` holds it.
    """
    other = np.maximum((film + DARK) * np.exp(np.clip(change, -_MOST_CHANGE, _MOST_CHANGE)) - DARK, 0)
    return delta_e_00(linear_rgb_to_lab(film), linear_rgb_to_lab(other))


def _likenesses(change, film):
    """Cosines of changes of log light with that of less dye, also in hue alone, of more light, of mirror light.

    A deeper place is turned about: what would make it of the part's own shade is judged.
    """
    paler = depth_direction(film)
    sign = np.where(change @ paler < 0, -1.0, 1.0)
    change = change * sign[:, None]
    return {
        "paler": sign,
        "like_dye": _cosine(change, paler),
        "hue_like_dye": _cosine(change @ CHROMA.T, CHROMA @ paler),
        "like_shade": _cosine(change, np.ones(3)),
        "like_mirror": _cosine(change, 1 / np.clip(film, _MIRROR_FLOOR, None)),
    }


def _differences(change, film):
    """CIEDE2000 of changes, and of what is left of them at the same brightness."""
    hue = change - change.mean(axis=1, keepdims=True)
    both = change_delta_e(film, np.stack([change, hue]))
    return {"delta_e": both[0], "delta_chroma": both[1]}


def _through(seen, view):
    """Brightness against the part's, and how near the light is to that of the ground that a hole would show."""
    light, own = seen.means["light"], np.median(view.log_light[view.inner][::_OWN_STRIDE], axis=0)
    hue_of_ground, hue_of_part = (np.linalg.norm((light - other) @ CHROMA.T, axis=1) for other in (view.ground, own))
    return {
        "bright": (light - own).mean(axis=1),
        "ground": np.linalg.norm(light - view.ground, axis=1),
        "ground_hue": hue_of_ground / (hue_of_ground + hue_of_part + _HUE_NOISE),
    }


def _added(seen, change):
    """Cosines of what is added in linear light with white, which mirror light is, and with what thinner film adds."""
    within = np.exp(seen.means["light"])
    around = np.exp(seen.means["light"] - change)
    added = (within - around) * np.where(change.sum(axis=1) < 0, -1.0, 1.0)[:, None]
    missing = np.maximum(BARE_METAL - np.minimum(within, around), _LEAST_MISSING)
    return {
        "adds_white": _cosine(added, np.ones(3)),
        "adds_metal": (added * missing).sum(axis=1)
        / (np.linalg.norm(added, axis=1) * np.linalg.norm(missing, axis=1) + _TINY),
    }


def _cosine(changes: np.ndarray, way: np.ndarray) -> np.ndarray:
    """Cosine of changes (N, C) with a direction (C,)."""
    return changes @ way / (np.linalg.norm(changes, axis=1) * np.linalg.norm(way) + _TINY)


@dataclass(frozen=True)
class _PixelSums:
    """Sums over the pixels of N places."""

    # count, step, top, open_rim, slope, slope_sd: (N,): pixels of the field inside; pixels of the view per pixel of the
    # field; largest height; share of the rim that is the part's own; steepness of the height there, per window, and its
    # spread
    count: np.ndarray
    step: np.ndarray
    top: np.ndarray
    open_rim: np.ndarray
    slope: np.ndarray
    slope_sd: np.ndarray
    # dict of ndarray: of x, y and their products in pixels of the view, height, tilt, squared length of the rest of
    # light, square of the fine texture; of the rest of light, and of log light itself (N, 3)
    means: dict
    # ring_mean, ring_squares: (N, 3), (N, 3, 3): means of the rest of light, and of its products, in the ring around
    # each place
    ring_mean: np.ndarray
    ring_squares: np.ndarray
    ring_grain: np.ndarray  # (N,): mean square of the fine texture in the ring
    few: np.ndarray  # bool (N,): whether the ring is too short to count
    usual_spread: np.ndarray  # (N, 3, 3): covariance of the whole field


def _pixel_sums(found, view):
    """Sums over the pixels of all regions, in their order."""
    slopes, sizes, inside, ring, rim, start = {}, [], [], [], [], 0
    grain = _grain(view)
    for regions in found:
        field = regions.field
        if id(field) not in slopes:
            slopes[id(field)] = _slope(field)
        size, *zones = _zones(regions)
        sizes.append(size)
        inside.append(_inside(regions, view, grain, zones[0], start))
        ring.append(_ring(regions, grain, *zones[1], start))
        rim.append(_rim(regions, slopes[id(field)], *zones[2], start))
        start += regions.count
    return _summed(found, np.concatenate(sizes), *(_joined(pieces) for pieces in (inside, ring, rim)))


def _joined(pieces):
    """Labels (N,) and table (C, N) of many pieces as one."""
    labels, tables = zip(*pieces, strict=True)
    return np.concatenate(labels), np.concatenate(tables, axis=1)


def _summed(found, sizes, inside, ring, rim):
    total, (label, table) = len(sizes), inside
    means = _means(label, table, total, np.bincount(label, minlength=total))
    top = np.zeros(total)
    np.maximum.at(top, label, table[_COLUMNS.index("height")])
    around = np.bincount(ring[0], minlength=total)
    squares = np.stack([ring[1][i] * ring[1][j] for i, j in _PAIRS])
    ring_means = _means(ring[0], ring[1], total, around)
    packed = _means(ring[0], squares, total, around)
    full = np.empty((total, 3, 3))
    for k, (i, j) in enumerate(_PAIRS):
        full[:, i, j] = full[:, j, i] = packed[:, k]
    closed = rim[1][0] > 0
    steep = _means(rim[0][closed], rim[1][1:, closed], total, np.bincount(rim[0][closed], minlength=total))
    repeats = [regions.count for regions in found]
    return _PixelSums(
        count=sizes,
        step=np.repeat([float(regions.field.step) for regions in found], repeats),
        top=top,
        open_rim=1 - _means(rim[0], rim[1][:1], total, np.bincount(rim[0], minlength=total))[:, 0],
        slope=steep[:, 0],
        slope_sd=np.sqrt(np.maximum(steep[:, 1] - steep[:, 0] ** 2, 0)),
        means={**dict(zip(_COLUMNS, means.T, strict=False)), "rest": means[:, -6:-3], "light": means[:, -3:]},
        ring_mean=ring_means[:, :3],
        ring_grain=ring_means[:, 3],
        ring_squares=full,
        few=around < _FEWEST_AROUND,
        usual_spread=np.repeat(np.array([regions.field.covariance for regions in found]), repeats, axis=0),
    )


def _means(label, table, total, count):
    """Means (total, C) of a table (C, N) by label."""
    sums = [np.bincount(label, row, total) for row in table]
    return np.stack(sums, axis=1) / np.maximum(count, 1)[:, None]


def _slope(field):
    """How steeply the height of a field falls, per window."""
    fall = cv2.GaussianBlur(np.abs(field.height), (0, 0), _SLOPE_SMOOTHED)
    across, down = cv2.Sobel(fall, cv2.CV_32F, 1, 0, scale=1 / 8), cv2.Sobel(fall, cv2.CV_32F, 0, 1, scale=1 / 8)
    return cv2.magnitude(across, down) * np.float32(field.sigma / field.step)


def _zones(regions):
    """Pixels of each label; indices of labelled pixels; of those around and their labels; of the rim, likewise."""
    field, labels = regions.field, regions.labels
    window = field.sigma / field.step
    gap = max(1, round(_RING_GAP * window))
    pad = gap + max(2, round(_RING_WIDTH * window))
    beside = cv2.dilate(labels, _BESIDE)
    near = cv2.dilate(labels, np.ones((2 * gap + 1,) * 2, np.uint8))
    far = cv2.dilate(labels, np.ones((2 * pad + 1,) * 2, np.uint8))
    ring = _some(np.flatnonzero((far > 0) & (near == 0) & field.inner))
    rim = np.flatnonzero(beside != labels)
    rim = rim[labels.ravel()[rim] == 0]
    inside = np.flatnonzero(labels)
    size = np.bincount(labels.ravel()[inside], minlength=regions.count + 1)[1:]
    return size, _some(inside), (ring, far.ravel()[ring]), (rim, beside.ravel()[rim])


def _some(where):
    """At most a few thousand of the pixels: means do not need more."""
    return where[:: 1 + len(where) // _MOST_PIXELS]


def _grain(view):
    """Square of what a pixel's log brightness differs by from its neighbours': texture, which dye leaves as it is."""
    bright = cv2.transform(view.log_light, np.full((1, 3), 1 / 3))
    return (bright - cv2.GaussianBlur(bright, (0, 0), 1.0)) ** 2


def _in_view(where, regions, width):
    """Indices of a field's pixels in the view."""
    step = regions.field.step
    if step == 1:
        return where
    y, x = np.divmod(where, regions.labels.shape[1])
    return y * step * width + x * step


def _inside(regions, view, grain, where, start):
    field, step = regions.field, regions.field.step
    y, x = np.divmod(where, regions.labels.shape[1])
    x, y = x * np.float32(step), y * np.float32(step)
    there = _in_view(where, regions, view.mask.shape[1])
    height, tilt = np.abs(field.height.ravel()[where]), view.tilt.ravel()[there]
    rest, light = (
        np.take(values.reshape(-1, 3), at, axis=0) for values, at in ((field.rest, where), (view.log_light, there))
    )
    square = np.einsum("ij,ij->i", rest, rest)
    # double numbers in rows: sums by label take no others
    table = np.empty((len(_COLUMNS) + 6, len(where)))
    for row, values in zip(
        table, (x, y, x * x, y * y, x * y, height, tilt, square, grain.ravel()[there]), strict=False
    ):
        row[:] = values
    table[-6:-3], table[-3:] = rest.T, light.T
    return regions.labels.ravel()[where].astype(int) + (start - 1), table


def _ring(regions, grain, where, label, start):
    table = np.empty((4, len(where)))
    table[:3] = np.take(regions.field.rest.reshape(-1, 3), where, axis=0).T
    table[3] = grain.ravel()[_in_view(where, regions, grain.shape[1])]
    return label.astype(int) + (start - 1), table


def _rim(regions, slope, where, label, start):
    steep = slope.ravel()[where]
    table = np.stack([regions.field.inner.ravel()[where], steep, steep**2]).astype(float)
    return label.astype(int) + (start - 1), table

"""What tells a part from a shadow, a ruler or a scrap: numbers measured on one candidate region."""

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

__all__ = ["FEATURES", "features_of"]

# Features of outright form (round, square, long) and of texture are left out on purpose: trees that saw them learned
# one set of wares and one camera's noise, and found fewer parts among other wares.
FEATURES = (
    # how sharply the region ends
    "edge_median",
    "edge_low",
    "edge_least_side",
    # its form
    "solidity",
    "half_turn",
    "log_share",
    "frame_contact",
    "hole_share",
    # its colour, and the colour around it
    "chroma",
    "lightness",
    "chroma_step",
    "light_step",
    "ground_chroma",
    "ground_lightness",
    "ground_spread",
    "ground_alike",
    # how light and colour run over it
    "light_spread",
    "chroma_spread",
    "lobe",
    "dark_tail",
    "across_along",
    "along_spread",
    "rim_step",
    "rim_spread",
    "lobe_chroma",
    "like_ground",
    "rim_wave",
    "chroma_end",
    # print, ticks and grooves on it, and its finest grain
    "inner_middle",
    "inner_high",
    "grain",
    # the shadow it throws
    "shadow_side",
    "shadow_share",
)

_NEAR, _FAR = 7, 15
_SAMPLE = 400
_EVENLY = np.arange(_SAMPLE)
_SECTORS, _SLICES = 8, 10


@dataclass(frozen=True, eq=False)
class _Scene:
    """A candidate with the ground around it, as scattered pixels."""

    inside: np.ndarray  # (n, 3) colours
    spots: np.ndarray  # (n, 2) their places from the middle
    rim: np.ndarray  # (n, 3)
    rim_spots: np.ndarray  # (n, 2)
    edges: np.ndarray  # (n,) strength of edges well inside
    grain: np.ndarray  # (n,) light against that of the pixels beside, well inside
    near: np.ndarray  # (n, 3)
    near_sector: np.ndarray
    far: np.ndarray
    far_sector: np.ndarray

    @cached_property
    def along(self):
        """Places inside along the short axis and along the long one, (n,) each."""
        return (self.spots @ np.linalg.eigh(self.spots.T @ self.spots)[1]).T


def features_of(view, one):
    """Return the features of a candidate.

    Parameters
    ----------
    view : PhotoView
    one : Candidate

    Returns
    -------
    ndarray of float, shape (len(FEATURES),)
        In the order of `FEATURES`; all finite.
    """
    scene = _scene_of(view, one)
    inside, ground = _levels(scene.inside), _levels(scene.near)
    return np.array(
        [
            *_boundary(view, one),
            *_form(view, one),
            *_colours(scene, inside, ground),
            *_relief(scene, inside, ground),
            *_runs(scene),
            *_marks(scene),
            *_shadow(scene, ground),
        ]
    )


def _scene_of(view, one):
    height, width = view.edge.shape
    pad = _FAR + 1
    x0, y0 = max(one.box[0] - pad, 0), max(one.box[1] - pad, 0)
    x1, y1 = min(one.box[2] + pad, width), min(one.box[3] + pad, height)
    mask = np.zeros((y1 - y0, x1 - x0), np.uint8)
    mask[one.box[1] - y0 : one.box[3] - y0, one.box[0] - x0 : one.box[2] - x0] = one.mask
    colour = view.colour[y0:y1, x0:x1].reshape(-1, 3)
    depth = cv2.distanceTransform(mask, cv2.DIST_L2, 3)
    away = cv2.distanceTransform(1 - mask, cv2.DIST_L2, 3)
    away[view.card[y0:y1, x0:x1] > 0] = 0  # neither near nor far
    middle = one.middle[0] + one.box[0] - x0, one.middle[1] + one.box[1] - y0
    core = _some(depth > 2.5)
    core = core if len(core) > 30 else _some(mask > 0)
    near = _some((away > 1.9) & (away < _NEAR))
    near = near if len(near) > 15 else _some((away > 0) & (away < _FAR))
    near = near if len(near) > 15 else core
    far = _some((away > 10) & (away < _FAR))
    far = far if len(far) > 15 else near
    rim = _some((depth > 0) & (depth < 2.9))
    deep = _some(depth > 4.5)
    deep = deep if len(deep) > 20 else core
    spots, near_spots, far_spots, rim_spots = (
        _from_middle(places, x1 - x0, middle) for places in (core, near, far, rim)
    )
    return _Scene(
        np.take(colour, core, axis=0),
        spots,
        np.take(colour, rim, axis=0),
        rim_spots,
        view.edge[y0:y1, x0:x1].ravel()[deep],
        view.grain[y0:y1, x0:x1].ravel()[deep],
        np.take(colour, near, axis=0),
        _sector(near_spots),
        np.take(colour, far, axis=0),
        _sector(far_spots),
    )


def _some(where):
    """Places, in the flattened array, of at most a few hundred of the marked pixels, evenly picked."""
    places = np.flatnonzero(where)
    if len(places) <= _SAMPLE:
        return places
    # no whole number of pixels apart: that would fall in step with a knurl or with ticks
    return places[(_EVENLY * ((len(places) - 1) / (_SAMPLE - 1))).astype(int)]


def _from_middle(places, width, middle):
    """x and y (n, 2) of places in a flattened array, from the middle."""
    rows, columns = np.divmod(places, width)
    return np.column_stack([columns - middle[0], rows - middle[1]])


def _sector(spots):
    """Which eighth of the horizon each place (n, 2) from the middle lies in."""
    angle = np.arctan2(spots[:, 1], spots[:, 0])
    return ((angle + np.pi) * (_SECTORS / (2 * np.pi))).astype(int) % _SECTORS


def _levels(colours):
    """The 2nd, 10th, 50th, 75th, 90th and 98th percentile of each channel, (6, 3)."""
    ranked = np.sort(colours, axis=0)
    return ranked[(np.array([0.02, 0.1, 0.5, 0.75, 0.9, 0.98]) * (len(ranked) - 1)).round().astype(int)]


def _boundary(view, one):
    rim = one.contour[:: len(one.contour) // 200 + 1, 0]
    strength = np.log(view.crest[rim[:, 1], rim[:, 0]] + 1)
    sector = _sector(rim - rim.mean(axis=0))
    count = np.bincount(sector, minlength=_SECTORS)
    sides = np.bincount(sector, strength, _SECTORS)[count > 0] / count[count > 0]
    ranked = np.sort(strength)
    return ranked[len(ranked) // 2], ranked[len(ranked) // 10], sides.min()


def _form(view, one):
    contour, area = one.contour, max(one.area, 1)
    height, width = view.edge.shape
    x, y = contour[:, 0].T
    at_frame = (x < 3) | (y < 3) | (x > width - 4) | (y > height - 4)
    return (
        area / max(cv2.contourArea(cv2.convexHull(contour)), 1.0),
        _half_turn(one),
        np.log(area / view.edge.size),
        at_frame.mean(),
        one.hole_share,
    )


def _half_turn(one):
    """Overlap of the region with itself turned half round."""
    turn = np.array([[-1, 0, 2 * one.middle[0]], [0, -1, 2 * one.middle[1]]])
    turned = cv2.warpAffine(one.mask, turn, one.mask.shape[::-1], flags=cv2.INTER_NEAREST)
    both = cv2.countNonZero(turned & one.mask)
    return both / max(2 * one.area - both, 1)


def _colours(scene, inside, ground):
    middle, around = inside[2], ground[2]
    step = middle - around
    off = scene.near - around
    spread = np.abs(ground[3] - ground[1])
    toward = off @ step / max(step @ step, 1.0)
    return (
        np.hypot(*middle[1:]),
        middle[0],
        np.hypot(*step[1:]),
        step[0],
        np.hypot(*around[1:]),
        around[0],
        np.log(np.sqrt((spread**2).sum()) + 1),
        (toward > 0.5).mean(),
    )


def _relief(scene, inside, ground):
    light, middle = scene.inside[:, 0], inside[2]
    across, along = _profile_spreads(scene)
    rim = np.sort(scene.rim[:, 0]) if len(scene.rim) else np.array([middle[0]])
    high = scene.inside[light >= inside[4, 0]]
    off = scene.inside - ground[2]
    alike = (np.abs(off[:, 0]) < 8) & (np.abs(off[:, 1:]).max(axis=1) < 7)
    return (
        inside[4, 0] - inside[1, 0],
        np.hypot(*(inside[4, 1:] - inside[1, 1:])),
        inside[5, 0] - middle[0],
        middle[0] - inside[0, 0],
        np.log((across + 0.5) / (along + 0.5)),
        along,
        rim[len(rim) // 2] - middle[0],
        rim[len(rim) * 9 // 10] - rim[len(rim) // 10],
        np.hypot(*np.median(high[:, 1:], axis=0)) - np.hypot(*middle[1:]),
        alike.mean(),
    )


def _runs(scene):
    """How light swings once around the rim, and the most that chroma changes along the region: a tip, a ferrule."""
    light, turn = scene.rim[:, 0], np.arctan2(scene.rim_spots[:, 1], scene.rim_spots[:, 0])
    swing = 2 * abs(np.mean((light - light.mean()) * np.exp(1j * turn))) if len(light) else 0.0
    slices = _slices(scene.along[1])
    count = np.bincount(slices, minlength=_SLICES)
    used = count > 3
    runs = np.stack([np.bincount(slices, scene.inside[:, k], _SLICES)[used] / count[used] for k in (1, 2)], axis=1)
    change = np.linalg.norm(runs - np.median(runs, axis=0), axis=1).max() if used.any() else 0.0
    return swing, change


def _marks(scene):
    """Strength of edges well inside, middling and high, and the grain there."""
    ranked, grain = np.sort(scene.edges), np.sort(scene.grain)
    return (
        np.log1p(ranked[len(ranked) // 2]),
        np.log1p(ranked[len(ranked) * 85 // 100]),
        np.log(grain[len(grain) // 2] + 0.05),
    )


def _profile_spreads(scene):
    """Spread of the mean light of slices, across the region's axis and along it."""
    return [_slice_spread(along, scene.inside[:, 0]) for along in scene.along]


def _slice_spread(along, values):
    slices = _slices(along)
    count = np.bincount(slices, minlength=_SLICES)
    used = count > 3
    return float((np.bincount(slices, values, _SLICES)[used] / count[used]).std()) if used.any() else 0.0


def _slices(along):
    """Which of ten equal stretches each place along an axis lies in."""
    low, high = along.min(), along.max()
    return np.minimum((along - low) * (_SLICES / max(high - low, 1e-6)), _SLICES - 1).astype(int)


def _shadow(scene, ground):
    """The darkest side of the near ground against the ground farther out on that side, and the share in shade."""
    near, far = (
        np.bincount(sector, colours[:, 0], _SECTORS) / np.maximum(np.bincount(sector, minlength=_SECTORS), 1)
        for sector, colours in ((scene.near_sector, scene.near), (scene.far_sector, scene.far))
    )
    seen = (np.bincount(scene.near_sector, minlength=_SECTORS) > 2) & (near > 0) & (far > 0)
    steps = np.sort((near - far)[seen]) if seen.any() else np.zeros(1)
    off = scene.near - ground[2]
    shade = (off[:, 0] < -5) & (np.abs(off[:, 1:]).max(axis=1) < 8)
    return steps[0] - steps[len(steps) // 2], shade.mean()

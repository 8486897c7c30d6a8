"""What distinguishes a part from a shadow, a ruler or a scrap: numbers measured on one candidate region.

A candidate is reduced to a few hundred scattered pixels: inside, on its rim, deep inside, and on the ground near by and
farther off. All features are ranks, means and spreads of these.
"""

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

from dyebook.photo.part.candidates import Candidate, PhotoView

__all__ = ["FEATURES", "features_of"]

# Features of outright form (round, square, long) and of texture are left out on purpose: trees that saw them learned
# one set of parts and one camera's noise, and found fewer parts of other kinds.
# fmt: off
FEATURES = (
    # how sharply the region ends
    "edge_median", "edge_low", "edge_least_side",
    # its form
    "solidity", "half_turn", "log_share", "frame_contact", "hole_share",
    # its colour, and the colour around it
    "chroma", "lightness", "chroma_step", "light_step",
    "ground_chroma", "ground_lightness", "ground_spread", "ground_alike",
    # how light and colour run over it
    "light_spread", "chroma_spread", "lobe", "dark_tail", "across_along", "along_spread",
    "rim_step", "rim_spread", "lobe_chroma", "like_ground", "rim_wave", "chroma_end",
    # print, ticks and grooves on it, and its finest grain
    "inner_middle", "inner_high", "grain",
    # the shadow it throws
    "shadow_side", "shadow_share",
)
# fmt: on

# distances from a region's outline, px of the view: inside and deep inside it, its rim, the ground near by and farther
# off; with fewer pixels than the counts the wider zone serves instead
_CORE_PX, _DEEP_PX, _RIM_PX, _NEAR_PX, _FAR_PX = 2.5, 4.5, 2.9, (1.9, 7), (10, 15)
_FEWEST_CORE, _FEWEST_DEEP, _FEWEST_GROUND = 30, 20, 15
_SAMPLE = 400
_EVENLY = np.arange(_SAMPLE)
_SECTORS, _SLICES, _RIM_PIXELS = 8, 10, 200
# pixels that a slice or a sector needs
_FEWEST_IN_SLICE, _FEWEST_IN_SECTOR = 3, 2
_PERCENTILES = np.array([0.02, 0.1, 0.5, 0.75, 0.9, 0.98])
_LOW, _LOW_MIDDLE, _MIDDLE, _UPPER, _HIGH, _TOP = range(6)
# what lies this near to the ground's L* and chroma is like it; darker by so much, and of a hue this near, is shade
_LIKE_GROUND, _SHADE = (8, 7), (5, 8)
# percentile of edges well inside that marks reach, and the grain below which none is seen
_MARKS_PERCENT, _GRAIN_FLOOR = 85, 0.05


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


def features_of(view: PhotoView, one: Candidate) -> np.ndarray:
    """Return the features of a candidate.

    They are in the order of `FEATURES`; all are finite.
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
    (x0, y0, x1, y1), mask = one.padded(_FAR_PX[1] + 1, view)
    colour = view.colour[y0:y1, x0:x1].reshape(-1, 3)
    depth = cv2.distanceTransform(mask, cv2.DIST_L2, 3)
    away = cv2.distanceTransform(1 - mask, cv2.DIST_L2, 3)
    away[view.card[y0:y1, x0:x1] > 0] = 0  # neither near nor far
    middle = one.middle[0] + one.box[0] - x0, one.middle[1] + one.box[1] - y0
    core = _some(depth > _CORE_PX)
    core = core if len(core) > _FEWEST_CORE else _some(mask > 0)
    near = _some((away > _NEAR_PX[0]) & (away < _NEAR_PX[1]))
    near = near if len(near) > _FEWEST_GROUND else _some((away > 0) & (away < _FAR_PX[1]))
    near = near if len(near) > _FEWEST_GROUND else core
    far = _some((away > _FAR_PX[0]) & (away < _FAR_PX[1]))
    far = far if len(far) > _FEWEST_GROUND else near
    rim = _some((depth > 0) & (depth < _RIM_PX))
    deep = _some(depth > _DEEP_PX)
    deep = deep if len(deep) > _FEWEST_DEEP else core
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
    """The percentiles of each channel, (6, 3), lowest first."""
    ranked = np.sort(colours, axis=0)
    return ranked[(_PERCENTILES * (len(ranked) - 1)).round().astype(int)]


def _boundary(view, one):
    rim = one.contour[:: len(one.contour) // _RIM_PIXELS + 1, 0]
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
    middle, around = inside[_MIDDLE], ground[_MIDDLE]
    step = middle - around
    off = scene.near - around
    spread = np.abs(ground[_UPPER] - ground[_LOW_MIDDLE])
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
    light, middle = scene.inside[:, 0], inside[_MIDDLE]
    across, along = _profile_spreads(scene)
    rim = np.sort(scene.rim[:, 0]) if len(scene.rim) else np.array([middle[0]])
    high = scene.inside[light >= inside[_HIGH, 0]]
    off = scene.inside - ground[_MIDDLE]
    alike = (np.abs(off[:, 0]) < _LIKE_GROUND[0]) & (np.abs(off[:, 1:]).max(axis=1) < _LIKE_GROUND[1])
    return (
        inside[_HIGH, 0] - inside[_LOW_MIDDLE, 0],
        np.hypot(*(inside[_HIGH, 1:] - inside[_LOW_MIDDLE, 1:])),
        inside[_TOP, 0] - middle[0],
        middle[0] - inside[_LOW, 0],
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
    used = count > _FEWEST_IN_SLICE
    runs = np.stack([np.bincount(slices, scene.inside[:, k], _SLICES)[used] / count[used] for k in (1, 2)], axis=1)
    change = np.linalg.norm(runs - np.median(runs, axis=0), axis=1).max() if used.any() else 0.0
    return swing, change


def _marks(scene):
    """Strength of edges well inside, middling and high, and the grain there."""
    ranked, grain = np.sort(scene.edges), np.sort(scene.grain)
    return (
        np.log1p(ranked[len(ranked) // 2]),
        np.log1p(ranked[len(ranked) * _MARKS_PERCENT // 100]),
        np.log(grain[len(grain) // 2] + _GRAIN_FLOOR),
    )


def _profile_spreads(scene):
    """Spread of the mean light of slices, across the region's axis and along it."""
    return [_slice_spread(along, scene.inside[:, 0]) for along in scene.along]


def _slice_spread(along, values):
    slices = _slices(along)
    count = np.bincount(slices, minlength=_SLICES)
    used = count > _FEWEST_IN_SLICE
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
    seen = (np.bincount(scene.near_sector, minlength=_SECTORS) > _FEWEST_IN_SECTOR) & (near > 0) & (far > 0)
    steps = np.sort((near - far)[seen]) if seen.any() else np.zeros(1)
    off = scene.near - ground[_MIDDLE]
    shade = (off[:, 0] < -_SHADE[0]) & (np.abs(off[:, 1:]).max(axis=1) < _SHADE[1])
    return steps[0] - steps[len(steps) // 2], shade.mean()

"""What tells a part from a shadow, a ruler or a scrap: numbers measured on one candidate region."""

import cv2
import numpy as np

__all__ = ["CUES", "cues_of"]

CUES = (
    "edge_median",
    "edge_low",
    "chroma_step",
    "light_step",
    "chroma",
    "lightness",
    "light_spread",
    "chroma_spread",
    "inner_edge",
    "solidity",
    "box_fill",
    "roundness",
    "elongation",
    "symmetry",
    "log_share",
    "frame_contact",
    "ring_spread",
    "ring_alike",
    "ring_shadow",
    "rim_step",
    "across_along",
    "lobe",
    "hole_share",
    "card_step",
    "ring_chroma",
    "ring_lightness",
    "corner_distance",
)
_RING = 7


def cues_of(view, one):
    """Return the cues of a candidate.

    Parameters
    ----------
    view : PartView
    one : Candidate

    Returns
    -------
    ndarray of float, shape (len(CUES),)
        In the order of `CUES`; all finite.
    """
    scene = _Surround(view, one)
    return np.array(
        [*_boundary(view, one), *_colours(scene), *_shape(view, one), *_ring(scene), *_relief(scene)], dtype=float
    )


class _Surround:
    """The candidate with the ground around it, cut out of the view."""

    def __init__(self, view, one):
        height, width = view.edge.shape
        x0, y0, x1, y1 = one.box
        pad = _RING + 3
        self.box = max(x0 - pad, 0), max(y0 - pad, 0), min(x1 + pad, width), min(y1 + pad, height)
        left, top = self.box[:2]
        rows, columns = slice(top, self.box[3]), slice(left, self.box[2])
        self.colour, self.edge = view.colour[rows, columns], view.edge[rows, columns]
        self.mask = np.zeros(self.edge.shape, np.uint8)
        self.mask[y0 - top : y1 - top, x0 - left : x1 - left] = one.mask
        self.core = cv2.erode(self.mask, np.ones((5, 5), np.uint8)).astype(bool)
        if np.count_nonzero(self.core) < 20:
            self.core = self.mask.astype(bool)
        near = cv2.dilate(self.mask, np.ones((5, 5), np.uint8))
        far = cv2.dilate(self.mask, np.ones((2 * _RING + 1, 2 * _RING + 1), np.uint8))
        self.around = (far & ~near & 1 & ~view.card[rows, columns]).astype(bool)
        if np.count_nonzero(self.around) < 10:
            self.around = ~self.mask.astype(bool)
        self.inside = self.colour[self.core]
        self.outside = self.colour[self.around]


def _boundary(view, one):
    rim = one.contour[:, 0]
    crest = cv2.dilate(
        view.edge[max(one.box[1] - 2, 0) : one.box[3] + 2, max(one.box[0] - 2, 0) : one.box[2] + 2],
        np.ones((3, 3), np.uint8),
    )
    strength = crest[rim[:, 1] - max(one.box[1] - 2, 0), rim[:, 0] - max(one.box[0] - 2, 0)]
    return np.log(np.quantile(strength, 0.5) + 1), np.log(np.quantile(strength, 0.1) + 1)


def _colours(scene):
    middle = np.median(scene.inside, axis=0)
    ground = np.median(scene.outside, axis=0)
    step = middle - ground
    spread = np.quantile(scene.inside, (0.1, 0.9), axis=0)
    return (
        np.hypot(step[1], step[2]),
        step[0],
        np.hypot(middle[1], middle[2]),
        middle[0],
        spread[1, 0] - spread[0, 0],
        np.hypot(*(spread[1, 1:] - spread[0, 1:])),
        np.log(scene.edge[scene.core].mean() + 1),
    )


def _shape(view, one):
    contour = one.contour
    area = max(one.area, 1)
    hull = max(cv2.contourArea(cv2.convexHull(contour)), 1.0)
    _, (w, h), _ = cv2.minAreaRect(contour)
    perimeter = max(cv2.arcLength(cv2.approxPolyDP(contour, 1.0, True), True), 1.0)
    height, width = view.edge.shape
    rim = contour[:, 0]
    at_frame = (rim[:, 0] < 3) | (rim[:, 1] < 3) | (rim[:, 0] > width - 4) | (rim[:, 1] > height - 4)
    return (
        area / hull,
        area / max(w * h, 1.0),
        4 * np.pi * area / perimeter**2,
        np.log(max(w, h, 1.0) / max(min(w, h), 1.0)),
        _symmetry(one),
        np.log(area / view.edge.size),
        at_frame.mean(),
    )


def _symmetry(one):
    """Overlap of the mask with itself turned half round."""
    moments = cv2.moments(one.mask, True)
    cx, cy = moments["m10"] / moments["m00"], moments["m01"] / moments["m00"]
    turned = cv2.warpAffine(one.mask, np.array([[-1, 0, 2 * cx], [0, -1, 2 * cy]]), one.mask.shape[::-1])
    both = np.count_nonzero(turned & one.mask)
    return both / max(np.count_nonzero(turned | one.mask), 1)


def _ring(scene):
    ground = np.median(scene.outside, axis=0)
    off = scene.outside - ground
    spread = np.quantile(np.abs(off), 0.75, axis=0)
    middle = np.median(scene.inside, axis=0)
    step = middle - ground
    along = off @ step / max(step @ step, 1.0)
    shadow = (off[:, 0] < -6) & (np.hypot(off[:, 1], off[:, 2]) < 8)
    return np.log(np.linalg.norm(spread) + 1), np.mean(along > 0.5), shadow.mean()


def _relief(scene):
    """How light runs over the region: rim against middle, along and across its axis, a lobe of metal."""
    light = scene.colour[..., 0]
    rim = scene.mask.astype(bool) & ~scene.core
    inside = light[scene.core]
    middle = np.median(inside)
    rim_step = (np.median(light[rim]) if rim.any() else middle) - middle
    rows, columns = np.nonzero(scene.core)
    places = np.column_stack([columns - columns.mean(), rows - rows.mean()])
    _, axes = np.linalg.eigh(places.T @ places)
    spots = places @ axes
    across, along = (_profile_spread(spots[:, k], inside) for k in (0, 1))
    lobe = np.quantile(inside, 0.98) - middle
    hue = scene.colour[..., 1:][scene.core]
    ground = np.median(scene.outside, axis=0)
    like_ground = (np.abs(inside - ground[0]) < 8) & (np.hypot(*(hue - ground[1:]).T) < 8)
    ground_chroma = np.hypot(*ground[1:])
    corner = _corner_distance(scene.mask)
    return (
        rim_step,
        np.log((across + 1) / (along + 1)),
        lobe,
        like_ground.mean(),
        abs(middle - 49.5) + np.hypot(*np.median(hue, axis=0)),
        ground_chroma,
        ground[0],
        corner,
    )


def _profile_spread(spots, values):
    """Spread of the mean light of slices along one axis."""
    slices = np.clip(((spots - spots.min()) / max(np.ptp(spots), 1) * 12).astype(int), 0, 11)
    count = np.maximum(np.bincount(slices, minlength=12), 1)
    return float((np.bincount(slices, values, minlength=12) / count)[count > 3].std()) if len(values) > 40 else 0.0


def _corner_distance(mask):
    """How far the corners of the tightest rectangle are from the region, over the root of its area."""
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    contour = max(contours, key=cv2.contourArea)
    corners = cv2.boxPoints(cv2.minAreaRect(contour))
    away = [-cv2.pointPolygonTest(contour, tuple(map(float, corner)), True) for corner in corners]
    return float(np.mean(away) / np.sqrt(max(np.count_nonzero(mask), 1)))

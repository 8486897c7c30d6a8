"""The photo mat: a printed sheet with marks at the page corners that gives scale, perspective and a light check.

The marks are searched with care only where a hasty look has seen one; their corners are refined on the full photo.
"""

from dataclasses import dataclass, replace
from functools import cache

import cv2
import numpy as np

from dyebook.photo.file.linear import SMALL_SIDE, LinearPhoto

__all__ = ["LINE_MM", "PAPERS", "Mat", "find_mat", "mark_fields", "mat_marks", "paper_of"]

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
LINE_MM = 100.0
MARK_MM, MARGIN_MM = 24.0, 12.0
# which marks belong to which paper: top left, top right, bottom right, bottom left
_NUMBERS = {"a4": (0, 1, 2, 3), "letter": (4, 5, 6, 7)}

_FEWEST_MARKS = 2
# light on the paper beside one mark against another's, log light: the limit for the fall-off over an ordinary bench
_UNEVEN = 0.35
# a mark's corners must lie this near to where the others put them, in mm: more is a bent sheet
_BENT_MM = 3.0
# a part this near to a mark, and at most so large, in marks, is the mark
_AT_MARK, _MARK_SIZE = 0.5, 1.5
# a hasty look: window px and depth in codes of the threshold that parts a mark from its paper
_HASTY_WINDOW, _HASTY_DEPTH = 13, 14
# a corner is looked for this far around, in sides of the mark, and at most so many small pixels; steps and px at which
# the search ends
_REACH, _MOST_REACH, _REFINED_STEPS, _REFINED_PX = 1 / 12, 4, 30, 0.01
# places on the paper beside a mark's outer corner, mm towards the page's edge
_BESIDE_MM = np.array([(4, -8), (4, -4), (4, 2), (-4, 4), (-8, 4)])


@dataclass(frozen=True)
class Mat:
    """A mat as seen in one photo."""

    paper: str  # a4 or letter
    # (3, 3): perspective from pixels of the upright photo to mm on the sheet, from its top left corner
    to_mm: np.ndarray
    marks: tuple[int, ...]  # numbers of the marks that were seen
    residual_mm: float  # root mean square distance of the marks' corners from where they should be
    scale: float = 1.0  # printed length over drawn length
    flags: tuple[str, ...] = ()

    def places_mm(self, points):
        """Return places on the sheet in mm of points (n, 2) in pixels."""
        return cv2.perspectiveTransform(np.asarray(points, dtype=float)[None], self.to_mm)[0]

    def area_mm2(self, outline):
        """Return the area of a polygon given in pixels, as it lies on the sheet.

        Notes
        -----
        What stands up from the sheet is nearer to the camera and looks larger: by twice its height over the
        distance of the camera.
        """
        x, y = self.places_mm(outline).T
        return float(abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2)

    def is_mark(self, outline):
        """Return whether a polygon is one of the sheet's own marks: about as large, and in its place."""
        marks = self.scale * np.array(list(mat_marks(self.paper).values()))
        places = self.places_mm(outline)
        middle = (places.min(axis=0) + places.max(axis=0)) / 2
        near = np.abs(marks.mean(axis=1) - middle).max(axis=1).min() < _AT_MARK * MARK_MM
        return bool(near and np.ptp(places, axis=0).max() < _MARK_SIZE * MARK_MM)

    def rings(self):
        """Return outlines (4, 2) in pixels of the photo: the sheet's, then those of the marks that were seen."""
        marks = mat_marks(self.paper)
        sheet = np.array([(0, 0), (1, 0), (1, 1), (0, 1)]) * PAPERS[self.paper]
        rings = [self.scale * np.asarray(ring, float) for ring in (sheet, *(marks[number] for number in self.marks))]
        back = np.linalg.inv(self.to_mm)
        return [cv2.perspectiveTransform(ring[None], back)[0] for ring in rings]


def mat_marks(paper: str) -> dict[int, np.ndarray]:
    """Return the marks of a mat: {number: corners (4, 2) in mm, clockwise from the top left}."""
    if paper not in PAPERS:
        raise ValueError(f"paper is {paper!r}; known: {', '.join(PAPERS)}")
    width, height = PAPERS[paper]
    far = np.array([width, height]) - MARGIN_MM - MARK_MM
    starts = [(MARGIN_MM, MARGIN_MM), (far[0], MARGIN_MM), (far[0], far[1]), (MARGIN_MM, far[1])]
    square = np.array([(0, 0), (1, 0), (1, 1), (0, 1)]) * MARK_MM
    return {number: square + start for number, start in zip(_NUMBERS[paper], starts, strict=True)}


def paper_of(number: int) -> str | None:
    """Return the paper that a mark belongs to, or None."""
    return next((paper for paper, numbers in _NUMBERS.items() if number in numbers), None)


@cache
def mark_dictionary():
    """Return the dictionary the marks are drawn from: 4 × 4 fields, the easiest to read when small."""
    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)


def mark_fields(number: int) -> list[list[bool]]:
    """Return the fields of a mark as rows of bool, True where it is black; its black rim included."""
    dictionary = mark_dictionary()
    side = dictionary.markerSize + 2
    return (cv2.aruco.generateImageMarker(dictionary, number, side) == 0).tolist()


def find_mat(photo: LinearPhoto, line_mm: float | None = None) -> Mat | None:
    """Return the mat in a photo.

    None where fewer than two marks of one mat are seen. `line_mm`: length of the printed ruler line by calipers; 100 if
    the printer kept to scale.

    References
    ----------
    Garrido-Jurado et al., Pattern Recognition 47 (2014) 2280, as in OpenCV's aruco module.
    """
    seen = _seen_marks(photo)
    papers = [paper_of(number) for number in seen]
    paper = max(PAPERS, key=papers.count)
    seen = {number: corners for number, corners in seen.items() if paper_of(number) == paper}
    if len(seen) < _FEWEST_MARKS:
        return None
    scale = 1.0 if line_mm is None else line_mm / LINE_MM
    return _fit(photo, paper, seen, scale)


def _seen_marks(photo):
    """Corners (4, 2) in pixels of the upright photo of each mark seen once, by number."""
    small = photo.reduced(SMALL_SIDE)
    grey = _codes(small.pixels)
    if _detector(hasty=True).detectMarkers(grey)[1] is None:
        return {}
    corners, numbers, _ = _detector().detectMarkers(grey)
    if numbers is None:
        return {}
    numbers = numbers.ravel().tolist()
    return {
        number: _refine(photo, (quad.reshape(4, 2) + 0.5) * small.scale, small.scale)
        for number, quad in zip(numbers, corners, strict=True)
        if numbers.count(number) == 1
    }


@cache
def _detector(hasty=False):
    """Finder of marks; a hasty one passes over faint edges, and seldom misses all marks of a mat."""
    settings = cv2.aruco.DetectorParameters()
    if hasty:
        settings.adaptiveThreshWinSizeMin, settings.adaptiveThreshConstant = _HASTY_WINDOW, _HASTY_DEPTH
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    return cv2.aruco.ArucoDetector(mark_dictionary(), settings)


def _codes(pixels):
    """Luminance as 8-bit codes."""
    grey = cv2.cvtColor(np.ascontiguousarray(pixels), cv2.COLOR_RGB2GRAY)
    return cv2.convertScaleAbs(cv2.sqrt(np.maximum(grey, 0, out=grey)), alpha=255)


def _refine(photo, quad, scale):
    """Corners of a mark to a fraction of a full pixel."""
    if scale == photo.unit(scale):
        return quad
    side = np.linalg.norm(quad[1] - quad[0])
    unit = photo.unit(scale)
    reach = int(np.clip(_REACH * side, scale, _MOST_REACH * scale)) + unit
    box = np.array([*(quad.min(axis=0) - 2 * reach), *(quad.max(axis=0) + 2 * reach)])
    box, step = photo.fitted(np.clip(np.round(box), 0, [*photo.size, *photo.size]), unit)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, _REFINED_STEPS, _REFINED_PX)
    start = ((quad - box[:2]) / step - 0.5).astype(np.float32).reshape(-1, 1, 2)
    found = cv2.cornerSubPix(_codes(photo.crop(box, step)), start, (reach // step,) * 2, (-1, -1), stop)
    return (found.reshape(4, 2) + 0.5) * step + box[:2]


def _fit(photo, paper, seen, scale):
    """Mat whose marks were seen."""
    marks = mat_marks(paper)
    places = np.concatenate([marks[number] * scale for number in seen])
    pixels = np.concatenate(list(seen.values()))
    to_mm, _ = cv2.findHomography(pixels, places, 0)
    if to_mm is None:
        return None
    mat = Mat(paper, to_mm, tuple(sorted(seen)), 0.0, scale)
    residual = float(np.sqrt(((mat.places_mm(pixels) - places) ** 2).sum(axis=1).mean()))
    flags = ("mat_bent",) if residual > _BENT_MM else ()
    light = _paper_light(photo, mat)
    uneven = len(light) > 1 and np.ptp(np.log(np.maximum(light, 1e-3))) > _UNEVEN
    return replace(mat, residual_mm=residual, flags=(*flags, "uneven_light") if uneven else flags)


def _paper_light(photo, mat):
    """Light of the bare paper beside each mark that was seen, on the side of the page's edge."""
    to_px = np.linalg.inv(mat.to_mm)
    middle = np.array(PAPERS[mat.paper]) * mat.scale / 2
    small = photo.reduced(SMALL_SIDE)
    levels = []
    for number in mat.marks:
        corners = mat_marks(mat.paper)[number] * mat.scale
        outer = corners[np.linalg.norm(corners - middle, axis=1).argmax()]
        spots = outer + np.sign(outer - middle) * _BESIDE_MM
        x, y = np.floor(cv2.perspectiveTransform(spots[None], to_px)[0] / small.scale).astype(int).T
        inside = (x >= 0) & (y >= 0) & (x < small.pixels.shape[1]) & (y < small.pixels.shape[0])
        if inside.any():
            levels.append(float(np.median(small.pixels[y[inside], x[inside]].mean(axis=1))))
    return levels

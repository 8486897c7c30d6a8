"""Find grids of small even squares in a picture: what a colour chart looks like before its colours are read."""

from dataclasses import dataclass

import cv2
import numpy as np

__all__ = ["Grid", "find_grids"]

# steps of an 8-bit gradient that part one square from the next: dark patches on a dark frame need the lowest
_EDGES = (6, 12, 24, 48)
_SMALLEST_PX, _LARGEST_SHARE = 4, 0.16
_FULLEST, _LONGEST = 0.78, 1.9
_FEWEST = 9
# from one square's middle to the next, in sides of the even area: gaps, and edges that blur, lie between
_NEAREST, _FURTHEST = 1.02, 2.3


@dataclass(frozen=True)
class Grid:
    """Squares that stand in rows and columns.

    Attributes
    ----------
    cells : ndarray of int, shape (n, 2)
        Column and row of each, counted from any square.
    centres : ndarray, shape (n, 2)
        Their middles in pixels.
    to_picture : ndarray, shape (3, 3)
        Perspective from (column, row) to pixels; never mirrored.
    """

    cells: np.ndarray
    centres: np.ndarray
    to_picture: np.ndarray


def find_grids(picture):
    """Return the grids of even squares in a picture, largest first.

    Parameters
    ----------
    picture : ndarray of uint8, shape (H, W, 3)
        Codes as for a screen.

    Returns
    -------
    list of Grid
        Each of at least 9 squares.
    """
    centres, sides = _even_squares(picture)
    grids, left = [], np.ones(len(centres), dtype=bool)
    for seed in np.argsort(-sides):
        if not left[seed]:
            continue
        cells = _grow(seed, centres, sides, left)
        if len(cells) < _FEWEST:
            continue
        grid = _fit(np.array(list(cells.values())), centres[list(cells)])
        if grid is not None:
            left[list(cells)] = False
            grids.append(grid)
    return sorted(grids, key=lambda grid: -len(grid.cells))


def _even_squares(picture):
    """Middles and sides of even, squarish areas, each once."""
    smooth = cv2.GaussianBlur(picture, (3, 3), 0.6)
    kernel = np.ones((3, 3), np.uint8)
    # range over the neighbourhood in the worst channel: no direction is preferred, and nothing overshoots
    steps = cv2.subtract(cv2.dilate(smooth, kernel), cv2.erode(smooth, kernel)).max(axis=2)
    found = [_squares_of(steps < edge) for edge in _EDGES]
    rows = np.concatenate(found)
    return _distinct(rows[:, :2], rows[:, 2])


def _squares_of(even):
    """Rows (x, y, side) of the squarish connected areas of a mask."""
    _, labels, stats, centroids = cv2.connectedComponentsWithStats(even.astype(np.uint8), connectivity=4)
    width, height, area = stats[:, 2], stats[:, 3], stats[:, 4]
    largest = _LARGEST_SHARE * max(even.shape)
    fit = (np.minimum(width, height) >= _SMALLEST_PX) & (np.maximum(width, height) <= 1.5 * largest)
    # a square turned by 45 degrees fills half its box
    fit &= (area > 0.38 * width * height) & (np.maximum(width, height) < 2.2 * np.minimum(width, height))
    fit[0] = False
    rows = [_squarish(labels, stats[k], k, centroids[k]) for k in np.flatnonzero(fit)]
    return np.array([row for row in rows if row is not None]).reshape(-1, 3)


def _squarish(labels, stat, label, centroid):
    """(x, y, side) of one area if it fills a turned rectangle, else None."""
    x, y, w, h, area = stat
    mask = (labels[y : y + h, x : x + w] == label).astype(np.uint8)
    outline = max(cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0], key=len)
    sides = np.array(cv2.minAreaRect(outline)[1]) + 1.0
    hull = cv2.contourArea(cv2.convexHull(outline)) + len(outline) * 0.5
    if sides.max() > _LONGEST * sides.min() or area < _FULLEST * hull or hull < 0.72 * sides.prod():
        return None
    return (centroid[0] + 0.5, centroid[1] + 0.5, np.sqrt(hull))


def _distinct(centres, sides):
    """Squares found at several edge steps, each once: the largest that is still one square."""
    order = np.argsort(-sides)
    centres, sides = centres[order], sides[order]
    keep = []
    from scipy.spatial import cKDTree

    tree = cKDTree(centres) if len(centres) else None
    gone = np.zeros(len(centres), dtype=bool)
    for k in range(len(centres)):
        if gone[k]:
            continue
        keep.append(k)
        near = np.array(tree.query_ball_point(centres[k], 0.45 * sides[k]))
        gone[near[sides[near] > 0.45 * sides[k]]] = True
    return centres[keep], sides[keep]


def _grow(seed, centres, sides, left):
    """Squares that stand in rows and columns with a seed: {index: (column, row)}."""
    alike = left & (sides > 0.55 * sides[seed]) & (sides < 1.8 * sides[seed])
    basis = _first_basis(seed, centres, sides, alike)
    if basis is None:
        return {}
    cells, taken, queue = {seed: (0, 0)}, {(0, 0)}, [(seed, basis)]
    while queue:
        here, (across, down) = queue.pop(0)
        for step, (column, row) in ((across, (1, 0)), (-across, (-1, 0)), (down, (0, 1)), (-down, (0, -1))):
            cell = (cells[here][0] + column, cells[here][1] + row)
            if cell in taken:
                continue
            there = _nearest(centres, alike, centres[here] + step, 0.28 * np.linalg.norm(step))
            if there is None or there in cells:
                continue
            cells[there] = cell
            taken.add(cell)
            moved = (centres[there] - centres[here]) * (column + row)
            queue.append((there, (moved, down) if column else (across, moved)))
    return cells


def _first_basis(seed, centres, sides, alike):
    """Steps to the next square across and down, or None where a square stands alone."""
    offset = centres - centres[seed]
    distance = np.linalg.norm(offset, axis=1)
    near = np.flatnonzero(alike & (distance > _NEAREST * sides[seed]) & (distance < _FURTHEST * sides[seed]))
    if len(near) < 2:
        return None
    near = near[np.argsort(distance[near])]
    across = offset[near[0]]
    for other in near[1:]:
        down = offset[other]
        sine = (across[0] * down[1] - across[1] * down[0]) / (distance[near[0]] * distance[other])
        if abs(sine) > 0.8 and distance[other] < 1.7 * distance[near[0]]:
            return across, down if sine > 0 else -down
    return None


def _nearest(centres, alike, place, reach):
    """Index of the square nearest to a place, or None beyond reach."""
    distance = np.where(alike, np.hypot(*(centres - place).T), np.inf)
    best = int(distance.argmin())
    return best if distance[best] < reach else None


def _fit(cells, centres):
    """Grid with its perspective, squares that do not obey it dropped; None where too few do."""
    pitch = np.median(np.linalg.norm(np.diff(centres, axis=0), axis=1))
    to_picture, inside = cv2.findHomography(cells.astype(float), centres, cv2.RANSAC, max(0.12 * pitch, 1.0))
    if to_picture is None or inside.sum() < _FEWEST:
        return None
    inside = inside.ravel().astype(bool)
    return Grid(cells[inside], centres[inside], to_picture)

"""Find the 24-patch chart in a photo, and refuse what only looks like one.

Even, squarish areas are linked to grids by their nearest neighbours; over each grid a chart is laid in every position,
and the colours that the patches would have there are compared with the chart's own. The photo is searched coarsely
first. Refusals say what was seen: too few squares, colours of another layout, a covered patch.

Cloth, tiles and perforated sheet hold tens of thousands of squares, so the work has bounds that hold for any picture:
the largest squares, so many steps while grids grow, and the largest of the grids that could be a chart.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from dyebook.errors import PhotoError
from dyebook.lab import lab_to_linear_rgb, linear_rgb_to_lab
from dyebook.photo.camera.chart import COLOURS, COLUMNS, CORNERS, COUNT, GREYS, PATCHES, PLACES, ROWS, chart_lab
from dyebook.photo.file.linear import LinearPhoto

__all__ = ["Grid", "find_chart", "find_grids"]

# long sides at which the photo is searched; a chart is recognised from about 8 px pitch on
_LONG_SIDES = (700, 1400, 2800, 5600)
_CODE_GAMMA = 2.2
_STRIP_ROWS = 64

# -- Squares --
# steps of an 8-bit gradient that part one square from the next: dark patches on a dark frame need the lowest
_EDGES = (6, 12, 24, 48)
_SMOOTHED_PX = 0.6
# side of a square: least px, most as a share of the picture; its box may be larger by so much, and so much longer than
# wide
_SMALLEST_PX, _LARGEST_SHARE, _LARGER_BOX, _LONGER_BOX = 4, 0.16, 1.5, 2.2
# share of its box that a square turned by 45 degrees fills, and of its hull; share of its turned rectangle that the
# hull fills; most length over width
_BOX_FILL, _HULL_FILL, _RECTANGLE_FILL, _LONGEST = 0.38, 0.78, 0.72, 1.9
# squares nearer than this, in sides, are one
_SAME_SQUARE = 0.45
# squares that are looked at, largest first: 24 are a chart, and the busiest of 56 charts drawn on scenes holds 367
_MOST_SQUARES = 2000

# -- Grids --
_FEWEST = 9
# sides of a grid's squares against the first one's
_SIDES = (0.55, 1.8)
# from one square's middle to the next, in sides of the even area: gaps, and edges that blur, lie between
_NEAREST, _FURTHEST = 1.02, 2.3
# sine of the angle between the two steps of a grid, and how much longer one may be
_SQUARE_SINE, _LONGER_STEP = 0.8, 1.7
# how far off its place a square may lie, in steps: while the grid grows, and in its perspective
_OFF_STEP, _OFF_GRID = 0.28, 0.12
# steps from square to square in one picture: twice what one grid of all the squares takes
_MOST_STEPS = 8 * _MOST_SQUARES

# -- Charts --
# squares of a grid that a chart's 6 x 4 must hold, in number and as a share, and the most it may leave outside; rows
# and columns of the chart that may lie beyond the grid
_FEWEST_INSIDE, _INSIDE_SHARE, _MOST_OUTSIDE, _BEYOND = 8, 0.7, 2, 3
# grids on which a chart is laid, largest first, of those small enough to be one
_MOST_GRIDS = 30
# middle share of a patch that is sampled, and places across it
_SAMPLED, _SAMPLES = 0.45, 5
# agreement of colours: a chart is at 0.95 and above on every photograph tried, shuffled patches below 0.7
_SURE = 0.88
_HINT = 0.6
_FEWEST_GREYS = 4
# log light between neighbouring greys: the table's over the photo's; a veil makes the last step steep
_FLATTEST, _STEEPEST, _STEEPEST_DARK = 0.2, 8.0, 1.5
# factors of chroma within which cameras differ, and weight of chroma in what is left of strong colours
_STRENGTHS, _CHROMA_WEIGHT = (0.4, 2.5), 0.02
# residual chroma and lightness beyond which a single patch is not what it should be
_WORST_PATCH = 28.0
# the same for a place of the grid where no even square was seen; and how uneven light within it may be, as the middle
# half of its log brightness, where a cover's edge may cross it
_WORST_UNSEEN, _MOST_UNEVEN, _LEAST_LIGHT = 18.0, 0.25, 0.02
_LIMIT = 0.97
# with more squares at the limit than that, too few sound ones are left to learn from
_MOST_BLOWN = 8


@dataclass(frozen=True)
class Grid:
    """Squares that stand in rows and columns."""

    cells: np.ndarray  # int (n, 2): column and row of each, counted from any square
    centres: np.ndarray  # (n, 2): their middles in pixels
    to_picture: np.ndarray  # (3, 3): perspective from (column, row) to pixels; never mirrored


@dataclass(frozen=True)
class _Guess:
    """One way a chart could lie on a grid."""

    score: float
    to_picture: np.ndarray
    residual: np.ndarray
    brightest: np.ndarray
    outside: int
    inside: int
    seen: np.ndarray
    uneven: np.ndarray


def find_chart(photo: LinearPhoto, leave_out=(), finest: int = _LONG_SIDES[-1]) -> np.ndarray:
    """Return where the four patches at the corners of a 24-patch chart are, which may be turned by any angle.

    The centres of dark skin, bluish green, black and white, shape (4, 2), in pixels of the upright photo. Patches of
    `leave_out`, from 0 in reading order, are known to be spoiled. The photo is searched up to a long side of `finest`
    pixels; small charts need more, which takes longer. PhotoError if no chart is found, or what is found is cut off,
    covered or of another layout.
    """
    best, squares, scales = None, (0, 0), set()
    for long_side in (side for side in _LONG_SIDES if side <= finest):
        reduced = photo.reduced(long_side)
        if reduced.scale in scales:
            continue
        scales.add(reduced.scale)
        guess, largest = _best_guess(reduced.pixels, leave_out)
        squares = max(squares, largest)
        if guess is not None and _complaint(guess, leave_out) is None:
            return _corners(guess) * reduced.scale
        if guess is not None and (best is None or guess.score > best.score):
            best = guess
    raise PhotoError(_refusal(photo, best, squares, leave_out))


def _best_guess(pixels, leave_out):
    """The most chart-like placement on any grid of a picture (or None); the largest grid's squares, and blown ones."""
    grids = find_grids(_screen_codes(pixels))
    small = [grid for grid in grids if _INSIDE_SHARE * len(grid.cells) <= COUNT][:_MOST_GRIDS]
    guesses = [guess for grid in small for guess in _guesses(pixels, grid, leave_out)]
    squares = max(((len(grid.cells), _blown(pixels, grid)) for grid in grids), default=(0, 0))
    return max(guesses, key=lambda guess: guess.score, default=None), squares


def _screen_codes(pixels):
    """A picture's light as 8-bit codes, made strip by strip so that no second picture of floats is held."""
    codes = np.empty(pixels.shape, np.uint8)
    for top in range(0, len(pixels), _STRIP_ROWS):
        strip = np.clip(pixels[top : top + _STRIP_ROWS], 0, 1)
        codes[top : top + _STRIP_ROWS] = np.round(255 * strip ** (1 / _CODE_GAMMA))
    return codes


def _blown(pixels, grid):
    """How many squares of a grid stand at a channel's limit."""
    columns, rows = np.clip(grid.centres.astype(int), 0, np.array(pixels.shape[1::-1]) - 1).T
    return int((pixels[rows, columns].max(axis=1) >= _LIMIT).sum())


def _guesses(pixels, grid, leave_out):
    """Yield the placements of a chart on one grid that hold most of its squares."""
    low, high = grid.cells.min(axis=0), grid.cells.max(axis=0)
    for quarter in range(4):
        size = np.array((COLUMNS, ROWS) if quarter % 2 == 0 else (ROWS, COLUMNS))
        for column in range(low[0] - _BEYOND, high[0] - size[0] + _BEYOND + 2):
            for row in range(low[1] - _BEYOND, high[1] - size[1] + _BEYOND + 2):
                start = np.array((column, row))
                held = np.all((grid.cells >= start) & (grid.cells < start + size), axis=1).sum()
                if held < max(_FEWEST_INSIDE, _INSIDE_SHARE * len(grid.cells)):
                    continue
                guess = _judge(pixels, grid, _placement(start, size, quarter), held, leave_out)
                if guess is not None:
                    yield guess


def _placement(start, size, quarter):
    """Matrix from the chart's (column, row) to the grid's, for a chart turned by quarters."""
    corner = np.array([(0, 0), (size[0] - 1, 0), (size[0] - 1, size[1] - 1), (0, size[1] - 1)])[quarter]
    turn = np.linalg.matrix_power(np.array([(0, -1), (1, 0)]), quarter)
    matrix = np.eye(3)
    matrix[:2, :2], matrix[:2, 2] = turn, start + corner
    return matrix


def _judge(pixels, grid, placement, held, leave_out):
    """Score one placement by the colours it would give the patches; None where it leaves the picture."""
    to_picture = grid.to_picture @ placement
    light, uneven = _sample(pixels, to_picture)
    if light is None:
        return None
    score, residual = _likeness(light, [k for k in range(COUNT) if k not in leave_out])
    places = np.rint(PLACES @ placement[:2, :2].T + placement[:2, 2]).astype(int)
    seen = (places[:, None] == grid.cells[None]).all(axis=2).any(axis=1)
    outside = len(grid.cells) - int(held)
    return _Guess(score, to_picture, residual, light.max(axis=1), outside, int(held), seen, uneven)


def _sample(pixels, to_picture):
    """Light (24, 3) of the patches, and the spread of log brightness in each; None, None where one lies outside."""
    ticks = (np.arange(_SAMPLES) / (_SAMPLES - 1) - 0.5) * _SAMPLED
    places = PLACES[:, None] + np.stack(np.meshgrid(ticks, ticks), axis=-1).reshape(1, -1, 2)
    spots = cv2.perspectiveTransform(places.reshape(1, -1, 2).astype(float), to_picture).reshape(-1, 2)
    columns, rows = np.floor(spots).astype(int).T
    if columns.min() < 0 or rows.min() < 0 or columns.max() >= pixels.shape[1] or rows.max() >= pixels.shape[0]:
        return None, None
    seen = pixels[rows, columns].reshape(COUNT, -1, 3)
    spread = np.quantile(np.log(seen.mean(axis=2) + _LEAST_LIGHT), (0.25, 0.75), axis=1)
    return np.median(seen, axis=1), spread[1] - spread[0]


def _likeness(light, use):
    """How much 24 lights look like the chart (up to 1), and what is left of each patch in Lab.

    The greys give gains and a tone curve; what these make of the other patches is compared with the chart's table,
    free of the overall strength of colour, since cameras differ most in that.
    """
    lab = chart_lab()
    greys = [k for k in GREYS if k in use]
    log_light = np.log(np.maximum(light, 1e-4))
    log_wanted = np.log(np.maximum(lab_to_linear_rgb(lab), 1e-4))
    if len(greys) < _FEWEST_GREYS:
        return 0.0, np.full(COUNT, np.inf)
    luminance, wanted = log_light[greys].mean(axis=1), log_wanted[greys].mean(axis=1)
    slopes = np.diff(wanted) / np.minimum(np.diff(luminance), -1e-6)
    if np.diff(luminance).max() >= 0 or slopes.min() < _FLATTEST or slopes.max() > _STEEPEST:
        return 0.0, np.full(COUNT, np.inf)
    toned = _through(log_light, luminance[::-1], wanted[::-1])
    balance = np.median(log_wanted[greys] - toned[greys], axis=0)
    return _compare(linear_rgb_to_lab(np.exp(toned + balance)), lab, use)


def _through(values, knots, heights):
    """Straight lines through rising knots, the outer ones extended."""
    inner = np.interp(values, knots, heights)
    first, last = ((heights[k + 1] - heights[k]) / (knots[k + 1] - knots[k]) for k in (0, len(knots) - 2))
    return (
        inner + np.minimum(values - knots[0], 0) * min(first, _STEEPEST_DARK) + np.maximum(values - knots[-1], 0) * last
    )


def _compare(seen, lab, use):
    """Agreement of hues and lightness over the patches in use, and the residual of each patch."""
    colours = [k for k in COLOURS if k in use]
    a, b = seen[:, 1:], lab[:, 1:]
    strength = np.clip((a[colours] * b[colours]).sum() / max((a[colours] ** 2).sum(), 1e-6), *_STRENGTHS)
    hues = (a[colours] * b[colours]).sum() / (np.linalg.norm(a[colours]) * np.linalg.norm(b[colours]) + 1e-6)
    lightness = np.corrcoef(seen[use, 0], lab[use, 0])[0, 1]
    left = np.column_stack(
        [seen[:, 0] - lab[:, 0], (a * strength - b) / (1 + _CHROMA_WEIGHT * np.linalg.norm(b, axis=1))[:, None]]
    )
    return float(min(hues, lightness)), np.linalg.norm(left, axis=1)


def _complaint(guess, leave_out):
    """Why a placement is not taken for a chart, or None where it is."""
    use = [k for k in range(COUNT) if k not in leave_out]
    if guess.score < _SURE:
        return f"24 squares agree with the chart's colours only to {guess.score:.2f} where {_SURE} is needed"
    # what stands at a channel's limit has lost its hue, and says nothing about covers
    worst = max(use, key=lambda k: guess.residual[k] * (guess.brightest[k] < _LIMIT))
    if guess.residual[worst] > _WORST_PATCH and guess.brightest[worst] < _LIMIT:
        return (
            f"the patch {PATCHES[worst]} (number {worst}) is ΔE {guess.residual[worst]:.0f} from its colour: "
            "covered, in shadow, or another layout"
        )
    spoiled = [k for k in use if _is_spoiled(guess, k)]
    if len(spoiled) > 1:  # one may be a finger's shadow, and can be left out
        names = " and ".join(PATCHES[k] for k in spoiled[:2])
        return f"where the patches {names} should be no even squares are seen, and their colours are off: covered"
    if guess.outside > _MOST_OUTSIDE:
        return f"the grid has {guess.outside} more squares in line: another layout"
    return None


def _is_spoiled(guess, patch):
    """Whether no even square was seen in a patch's place, and what is there is not the patch."""
    off = guess.residual[patch] * (guess.brightest[patch] < _LIMIT)
    return not guess.seen[patch] and (off > _WORST_UNSEEN or guess.uneven[patch] > _MOST_UNEVEN)


def _refusal(photo, best, squares, leave_out):
    """The message where no chart can be trusted."""
    advice = (
        "lay the whole chart flat and uncovered, patches at least 30 pixels apart, or point out "
        "its four corner patches (in the shell with --chart-at)"
    )
    count, blown = squares
    if blown > _MOST_BLOWN and (best is None or best.score < _SURE):
        return (
            f"no 24-patch chart can be read in {photo.name}: {blown} of the {count} squares that were seen stand at a "
            "channel's limit, where colour is lost; at least 14 sound patches, four of them grey, are needed. Expose "
            "darker"
        )
    if count and (best is None or best.score < _HINT):
        return (
            f"no 24-patch chart found in {photo.name}: a grid of {count} squares was seen, but its colours are not "
            f"the chart's in any position, so it is cut off, covered, mirrored or another layout; {advice}"
        )
    if best is None:
        return f"no 24-patch chart found in {photo.name}; {advice}"
    return f"no trustworthy 24-patch chart in {photo.name}: {_complaint(best, leave_out)}; {advice}"


def _corners(guess):
    """Centres of the corner patches in pixels of the picture."""
    return cv2.perspectiveTransform(CORNERS[None].astype(float), guess.to_picture)[0]


def find_grids(picture: np.ndarray) -> list[Grid]:
    """Return the grids of even squares in a picture, largest first.

    Each has at least 9 squares. `picture` uint8 (H, W, 3): codes as for a screen.
    """
    centres, sides = _even_squares(picture)
    grids, left = [], np.ones(len(centres), dtype=bool)
    steps = 0
    for seed in np.argsort(-sides):
        if not left[seed] or steps > _MOST_STEPS:
            continue
        cells = _grow(seed, centres, sides, left)
        steps += 4 * len(cells)
        if len(cells) < _FEWEST:
            continue
        grid = _fit(np.array(list(cells.values())), centres[list(cells)])
        if grid is not None:
            left[list(cells)] = False
            grids.append(grid)
    return sorted(grids, key=lambda grid: -len(grid.cells))


def _even_squares(picture):
    """Middles and sides of even, squarish areas, each once."""
    smooth = cv2.GaussianBlur(picture, (3, 3), _SMOOTHED_PX)
    kernel = np.ones((3, 3), np.uint8)
    # range over the neighbourhood in the worst channel: no direction is preferred, and nothing overshoots
    steps = cv2.subtract(cv2.dilate(smooth, kernel), cv2.erode(smooth, kernel)).max(axis=2)
    found = [_squares_of(steps < edge) for edge in _EDGES]
    rows = np.concatenate(found)
    centres, sides = _distinct(rows[:, :2], rows[:, 2])
    return centres[:_MOST_SQUARES], sides[:_MOST_SQUARES]


def _squares_of(even):
    """Rows (x, y, side) of the squarish connected areas of a mask."""
    _, labels, stats, centroids = cv2.connectedComponentsWithStats(even.astype(np.uint8), connectivity=4)
    width, height, area = stats[:, 2], stats[:, 3], stats[:, 4]
    largest = _LARGEST_SHARE * max(even.shape)
    fit = (np.minimum(width, height) >= _SMALLEST_PX) & (np.maximum(width, height) <= _LARGER_BOX * largest)
    fit &= (area > _BOX_FILL * width * height) & (np.maximum(width, height) < _LONGER_BOX * np.minimum(width, height))
    fit[0] = False
    largest = np.flatnonzero(fit)
    largest = largest[np.argsort(-area[largest], kind="stable")][:_MOST_SQUARES]
    rows = [_squarish(labels, stats[k], k, centroids[k]) for k in np.sort(largest)]
    return np.array([row for row in rows if row is not None]).reshape(-1, 3)


def _squarish(labels, stat, label, centroid):
    """(x, y, side) of one area if it fills a turned rectangle, else None."""
    x, y, w, h, area = stat
    mask = (labels[y : y + h, x : x + w] == label).astype(np.uint8)
    outline = max(cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0], key=len)
    sides = np.array(cv2.minAreaRect(outline)[1]) + 1.0
    hull = cv2.contourArea(cv2.convexHull(outline)) + len(outline) * 0.5
    if sides.max() > _LONGEST * sides.min() or area < _HULL_FILL * hull or hull < _RECTANGLE_FILL * sides.prod():
        return None
    return (centroid[0] + 0.5, centroid[1] + 0.5, np.sqrt(hull))


def _distinct(centres, sides):
    """Squares found at several edge steps, each once: the largest that is still one square."""
    order = np.argsort(-sides)
    centres, sides = centres[order], sides[order]
    from scipy.spatial import cKDTree

    keep = []
    tree = cKDTree(centres) if len(centres) else None
    gone = np.zeros(len(centres), dtype=bool)
    for k in range(len(centres)):
        if gone[k]:
            continue
        keep.append(k)
        near = np.array(tree.query_ball_point(centres[k], _SAME_SQUARE * sides[k]))
        gone[near[sides[near] > _SAME_SQUARE * sides[k]]] = True
    return centres[keep], sides[keep]


def _grow(seed, centres, sides, left):
    """Squares that stand in rows and columns with a seed: {index: (column, row)}."""
    alike = left & (sides > _SIDES[0] * sides[seed]) & (sides < _SIDES[1] * sides[seed])
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
            there = _nearest(centres, alike, centres[here] + step, _OFF_STEP * np.linalg.norm(step))
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
        if abs(sine) > _SQUARE_SINE and distance[other] < _LONGER_STEP * distance[near[0]]:
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
    to_picture, inside = cv2.findHomography(cells.astype(float), centres, cv2.RANSAC, max(_OFF_GRID * pitch, 1.0))
    if to_picture is None or inside.sum() < _FEWEST:
        return None
    inside = inside.ravel().astype(bool)
    return Grid(cells[inside], centres[inside], to_picture)

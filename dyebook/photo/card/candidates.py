"""Even four-sided patches of a photo: everything that could be a plain card, good or bad.

Places without steps of tone, at several strengths of step, are opened, outlined and held against four straight lines.
The sides of what is left are then refined to a fraction of a pixel: along each side, profiles from inside outwards show
where tone steps first, and a robust line goes through those places.
"""

from dataclasses import dataclass

import cv2
import numpy as np

__all__ = ["AHEAD", "Sides", "bright_end", "even_patches", "even_tones", "refine_sides", "tones_at"]

# the corner that follows each, and the one before: indexing is ten times as fast as np.roll
AHEAD, _BEHIND = np.array([1, 2, 3, 0]), np.array([3, 0, 1, 2])
# every way to number the corners
_TURNS = (np.arange(4)[:, None] + np.arange(4)) % 4

# -- Tones --
# pixels along a side that give the bright end, and its percentile; tones are clipped at so many times the bright end
_BRIGHT_PIXELS, _BRIGHT_PERCENTILE, _MOST_TONE = 150, 99, 4
# tone past the frame, which no photo has
_BEYOND = 1e3

# -- Rough patches --
# long side of the picture in which patches are looked for, and how much it is smoothed
_SIDE, _SMOOTHED_PX = 460, 0.9
# steps of tone per pixel that count as an edge; the noise of a dark phone photo lies at the upper ones
_STEPS = tuple(0.0035 * 1.95**i for i in range(6))
# share of the frame a patch may cover; rough outlines may be half as large at first; share its box may cover; length of
# an outline against its side
_LEAST, _MOST, _ROUGH, _LARGEST_BOX, _SHORTEST_OUTLINE = 0.008, 0.30, 0.5, 0.7, 2.5
_SQUARE = np.ones((5, 5), np.uint8)
# outlines whose boxes differ by less than this on all sides are one, px
_SAME_BOX_PX = 3
# share of its hull, and of its quadrilateral, that an outline fills
_FILL, _OVERFILL = 0.88, 1.12
# tolerances, as shares of an outline's length, at which it is drawn with fewer and fewer corners until four are left
_TOLERANCES = (0.015, 0.02, 0.03, 0.04, 0.055, 0.075, 0.1)
_POINTS = 160  # of each outline, from which those farthest out on each stretch of a side are taken
_STRETCHES = 14
# share of a side left out at each end, and distance from it in sides and px within which an outline's points count
_ENDS, _NEAR_SIDE, _NEAR_PX = 0.08, 0.08, 2
# best filled outlines that are refined: no photo of a bench has so many, squared grounds have
_MOST_OUTLINES = 150
# mean square distance of corners, in areas, from which two quads are two
_APART = 0.0016

# -- Refined sides --
# part of a side that is looked at: near the corners the neighbouring side disturbs
_ALONG = (0.06, 0.94)
# profiles reach so much farther than edges may lie, and have a value every so many px
_PAST_REACH_PX, _SPACING_PX = 3, 0.5
# an edge is the first step of at least this share of the strongest; so many times the noise, and at least this much
_FIRST_STEP, _OVER_NOISE, _LEAST_STEP = 0.55, 3, 0.004
# values of a profile on either side between which an edge's step is taken
_EDGE_HALF = 3
# edges needed before a side trusts them alone; distance at which an edge lies on its line
_FEWEST_EDGES, _FITS_PX = 6, 1.2
# a camera's sharpening raises the bright side of an edge by up to this share of the step
_HALO = 0.15
_ROBUST_SD = 1.48
# distances, px, at which points lose their weight in the line, round by round; the last round weighs as the one before
_LINE_SCALES = (3.0, 1.2, 0.8, None)
# sine of the angle below which two sides run nearly parallel
_LEAST_SINE = 0.3
_TINY = 1e-6


@dataclass(frozen=True)
class Sides:
    """The four sides of a patch as its edges show them."""

    quad: np.ndarray  # (4, 2): corners where the sides' lines cross, in the order of the rough quad
    support: np.ndarray  # (4,): share of each side along which the edge lies on its line
    step: np.ndarray  # (4, 3): mean step of tone across each side, outside minus inside
    scatter_px: np.ndarray  # (4,): robust spread of the edge about its line
    # (4,): median tone of a bright line along each side, above both what lies inside and outside of it
    ridge: np.ndarray


def even_patches(pixels: np.ndarray, bright: np.ndarray) -> list[np.ndarray]:
    """Return four-sided patches without inner edges.

    Their rough corners (4, 2) are in pixels; each patch comes once. `pixels` float32 (h, w, 3): linear light. `bright`
    (3,): its `bright_end`.
    """
    height, width = pixels.shape[:2]
    factor = max(1, round(max(height, width) / _SIDE))  # whole: several times as fast
    size = (-(-width // factor), -(-height // factor))
    small = even_tones(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), bright)
    steps = _steepness(cv2.GaussianBlur(small, (0, 0), _SMOOTHED_PX))
    scale = np.array([width / size[0], height / size[1]])
    found, seen = [], []
    for level in _STEPS:
        even = (steps < level).astype(np.uint8)
        for margin in (0, 2):
            # opening with the same square as the last step keeps patches apart that a thread joins
            opened = cv2.dilate(cv2.erode(even, _SQUARE, iterations=1 + margin // 2), _SQUARE)
            found += _outlines_of(opened, margin, seen)
    return [quad * scale for quad in _along_outlines(_distinct(found[::-1]))]


def _steepness(tones):
    """Largest step of any channel per pixel."""
    most = None
    for channel in cv2.split(tones):
        across = cv2.Sobel(channel, cv2.CV_32F, 1, 0, scale=1 / 8)
        down = cv2.Sobel(channel, cv2.CV_32F, 0, 1, scale=1 / 8)
        size = cv2.magnitude(across, down)
        most = size if most is None else cv2.max(most, size)
    return most


def _outlines_of(even, margin, seen):
    """Four-sided outlines in a mask, much like no `seen` one: corners, some points, margin, how ill they fill them."""
    found, shortest = [], _SHORTEST_OUTLINE * np.sqrt(_ROUGH * _LEAST * even.size)
    for contour in cv2.findContours(even, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)[0]:
        if len(contour) < shortest:
            continue
        x, y, w, h = cv2.boundingRect(contour)
        area, box = cv2.contourArea(contour), (x - margin, y - margin, x + w + margin, y + h + margin)
        likely = _LEAST * _ROUGH * even.size < area < _MOST * even.size and w * h < _LARGEST_BOX * even.size
        if not likely or _close_to_any(box, seen):
            continue
        corners = _four_sides(contour, area)
        if corners is not None:
            seen.append(box)
            points = contour[np.arange(_POINTS) * len(contour) // _POINTS, 0].astype(float)
            corners = corners if _signed_area(corners) > 0 else corners[::-1]
            found.append((corners, points, margin, abs(np.log(area / _signed_area(corners)))))
    return found


def _close_to_any(box, others):
    """Whether a box lies near an earlier one on all four sides."""
    x0, y0, x1, y1 = box
    near = _SAME_BOX_PX
    return any(
        abs(x0 - a) < near and abs(y0 - b) < near and abs(x1 - c) < near and abs(y1 - d) < near for a, b, c, d in others
    )


def _four_sides(contour, area):
    """Rough corners of the quadrilateral an outline fills, or None."""
    hull = cv2.convexHull(contour)
    if area < _FILL * cv2.contourArea(hull):
        return None
    corners = _four_corners(hull)
    if corners is None or not _FILL < area / max(cv2.contourArea(corners.astype(np.float32)), 1) < _OVERFILL:
        return None
    return corners


def _four_corners(hull):
    """Four corners of a convex outline: the coarsest outline that still has four."""
    length = cv2.arcLength(hull, True)
    for share in _TOLERANCES:
        corners = cv2.approxPolyDP(hull, share * length, True)[:, 0]
        if len(corners) == 4:
            return corners.astype(float)
        if len(corners) < 4:
            return None
    return None


def _along_outlines(found):
    """Quads of outlines, with corners where lines along the outlines' sides cross, grown by their margins."""
    if not found:
        return []
    corners, outlines, margins = (np.array(column) for column in list(zip(*found, strict=True))[:3])
    ahead = corners[:, AHEAD] - corners
    length = np.maximum(np.linalg.norm(ahead, axis=2), _TINY)[..., None]
    along = ahead / length
    offset = outlines[:, None] - corners[:, :, None]
    way = np.einsum("qsnk,qsk->qsn", offset, along) / length
    out = offset[..., 0] * along[..., None, 1] - offset[..., 1] * along[..., None, 0]
    near = (
        (way > _ENDS) & (way < 1 - _ENDS) & (np.abs(out) < _NEAR_SIDE * length.mean(axis=1, keepdims=True) + _NEAR_PX)
    )
    stretch = np.where(near, (way - _ENDS) / (1 - 2 * _ENDS) * _STRETCHES, -1).astype(int)
    points, there = _outermost(outlines, stretch, out)
    centres, along = (part.reshape(-1, 4, 2) for part in _robust_lines(points, there))
    few = there.reshape(-1, 4, _STRETCHES).sum(axis=2).min(axis=1) < _STRETCHES // 2
    quads = []
    for k, quad in enumerate(corners):
        crossed = None if few[k] else _cross_lines(centres[k], along[k])
        quads.append(_grown((quad if crossed is None else crossed) + 0.5, margins[k] + 1.0))
    return quads


def _outermost(outlines, stretch, out):
    """Points (sides, stretches, 2) farthest out on each stretch of the sides, as noise eats into an even patch."""
    best = [np.where(stretch == one, out, -np.inf) for one in range(_STRETCHES)]
    best = np.stack(best, axis=2).reshape(-1, _STRETCHES, outlines.shape[1])
    at = best.argmax(axis=2)
    points = np.take_along_axis(np.repeat(outlines, 4, axis=0), at[..., None], axis=1)
    return points, np.isfinite(np.take_along_axis(best, at[..., None], axis=2)[..., 0])


def _grown(quad, by):
    """Move each side of a convex quad outwards."""
    quad = quad if _signed_area(quad) > 0 else quad[::-1]
    ahead = quad[AHEAD] - quad
    along = ahead / np.maximum(np.linalg.norm(ahead, axis=1), _TINY)[:, None]
    corners = _cross_lines(quad + by * np.stack([along[:, 1], -along[:, 0]], axis=1), along)
    return quad if corners is None else corners


def _signed_area(quad):
    x, y = quad.T
    return 0.5 * float(x @ y[AHEAD] - x[AHEAD] @ y)


def _distinct(found):
    """Drop quads whose corners lie close to those of one that is filled better, or as well and came earlier."""
    kept, turned = [], np.empty((4 * len(found), 4, 2))
    for one in sorted(found, key=lambda one: round(one[3], 2)):
        if len(kept) == _MOST_OUTLINES:
            break
        corners, _, margin, _ = one
        away = corners - corners.mean(axis=0)
        corners = corners + (margin + 1.0) * np.sqrt(2) * away / np.linalg.norm(away, axis=1)[:, None]
        # corners may be numbered from any of the four
        off = turned[: 4 * len(kept)] - corners
        apart = np.einsum("nsk,nsk->ns", off, off).max(axis=1)
        if not len(kept) or apart.min() > _APART * _signed_area(corners):
            turned[4 * len(kept) : 4 * len(kept) + 4] = corners[_TURNS]
            kept.append(one)
    return kept


def refine_sides(light_at, quads, reach: float, count: int = 40) -> list[Sides | None]:
    """Return the sides of patches fitted to the edges of a picture.

    One a quad; None where the sides do not close to a quadrilateral.

    Parameters
    ----------
    light_at : callable
        Gives tones at about even noise, float32 (m, n, 3), at places (m, n, 2) in pixels.
    quads : ndarray of shape (N, 4, 2)
        Rough corners, clockwise.
    reach : float
        How far from the rough side the edge may lie, in pixels.
    count : int
        Places looked at on each side.
    """
    quads = np.asarray(quads, dtype=float).reshape(-1, 4, 2)
    if not len(quads):
        return []
    here, ahead = quads.reshape(-1, 2), (quads[:, AHEAD] - quads).reshape(-1, 2)
    along = ahead / np.maximum(np.linalg.norm(ahead, axis=1), _TINY)[:, None]
    normals = np.stack([along[:, 1], -along[:, 0]], axis=1)
    places = here[:, None] + np.linspace(*_ALONG, count)[:, None] * ahead[:, None]
    offsets = np.arange(-reach - _PAST_REACH_PX, reach + _PAST_REACH_PX + 0.01, _SPACING_PX)
    spots = places[:, :, None] + offsets[:, None] * normals[:, None, None]
    profiles = light_at(spots.reshape(-1, len(offsets), 2)).reshape(*spots.shape[:-1], -1)
    edge, found, steps, ridges = _edges(profiles, offsets, reach)
    points = places + edge[..., None] * normals[:, None]
    sides = (slice(i, i + 4) for i in range(0, len(points), 4))
    lines = _robust_lines(points, np.where(found.sum(axis=1, keepdims=True) >= _FEWEST_EDGES, found, True))
    return [_closed(*(x[four] for x in (points, *lines, found, steps, ridges))) for four in sides]


def _edges(profiles, offsets, reach):
    """Offset of the first strong step outwards on every profile, whether there is one, the step, and its ridge."""
    # a profile shares its edge with its neighbours: averaging them beats the noise
    smooth = 0.5 * profiles
    smooth[:, 1:] += 0.25 * profiles[:, :-1]
    smooth[:, :-1] += 0.25 * profiles[:, 1:]
    smooth[:, 0] += 0.25 * profiles[:, 0]
    smooth[:, -1] += 0.25 * profiles[:, -1]
    size = np.zeros(smooth.shape[:3], np.float32)
    slope = smooth[:, :, 4:] - smooth[:, :, :-4]
    size[:, :, 2:-2] = np.sqrt(np.einsum("snoc,snoc->sno", slope, slope)) / 2
    size[..., np.abs(offsets) > reach] = 0
    top = size.max(axis=2, keepdims=True)
    peak = (size >= _FIRST_STEP * top) & (top > 0)
    peak[:, :, 1:-1] &= (size[:, :, 1:-1] >= size[:, :, :-2]) & (size[:, :, 1:-1] >= size[:, :, 2:])
    first = peak.argmax(axis=2)
    first = np.clip(first, _EDGE_HALF, len(offsets) - 1 - _EDGE_HALF)
    rows = np.indices(first.shape)
    before, at, after = (size[rows[0], rows[1], first + d] for d in (-1, 0, 1))
    bend = before - 2 * at + after
    shift = np.where(bend < -1e-9, 0.5 * (before - after) / np.where(bend < -1e-9, bend, 1), 0)
    spacing = offsets[1] - offsets[0]
    noise = np.median(size[..., : max(3, len(offsets) // 4)], axis=(1, 2))[:, None]
    around = np.stack([smooth[rows[0], rows[1], first + d] for d in range(-_EDGE_HALF, _EDGE_HALF + 1)])
    steps = around[-1] - around[0]
    light = around.mean(axis=-1)
    ridges = light.max(axis=0) - np.maximum(light[0], light[-1]) - _HALO * np.abs(light[-1] - light[0])
    found = (at > _OVER_NOISE * noise) & (at > _LEAST_STEP)
    return offsets[first] + np.clip(shift, -1, 1) * spacing, found, steps, ridges


def _closed(points, centres, along, found, steps, ridges):
    """Cross the lines of one patch's sides."""
    across = np.stack([along[:, 1], -along[:, 0]], axis=1)
    rest = np.abs(np.einsum("snk,sk->sn", points - centres[:, None], across))
    on_line = found & (rest < _FITS_PX)
    corners = _cross_lines(centres, along)
    if corners is None:
        return None
    # the middle of those found: the rest sort behind
    wobble = np.sort(np.where(found, rest, np.inf), axis=1)[np.arange(4), found.sum(axis=1) // 2]
    step = (steps * on_line[..., None]).sum(axis=1) / np.maximum(on_line.sum(axis=1), 1)[:, None]
    ridge = np.sort(ridges, axis=1)[:, ridges.shape[1] // 2]
    return Sides(corners, on_line.mean(axis=1), step, _ROBUST_SD * wobble, ridge)


def _cross_lines(centres, along):
    """Corners (4, 2) where each side's line meets the one before it; None where two run nearly parallel."""
    p, u, r, v = centres[_BEHIND], along[_BEHIND], centres, along
    sine = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    if np.abs(sine).min() < _LEAST_SINE:
        return None
    way = ((r - p)[:, 0] * v[:, 1] - (r - p)[:, 1] * v[:, 0]) / sine
    return p + way[:, None] * u


def _robust_lines(points, weight):
    """Centres and directions (4, 2) of the lines that most points (4, n, 2) of each side lie on."""
    given = weight.astype(float)
    weight = given
    for scale in _LINE_SCALES:
        total = weight.sum(axis=1, keepdims=True) + 1e-9
        centre = (weight[..., None] * points).sum(axis=1) / total
        offset = points - centre[:, None]
        x, y = offset[..., 0], offset[..., 1]
        xx, yy, xy = ((weight * one * two).sum(axis=1) for one, two in ((x, x), (y, y), (x, y)))
        angle = 0.5 * np.arctan2(2 * xy, xx - yy)
        along = np.stack([np.cos(angle), np.sin(angle)], axis=1)
        if scale is not None:
            rest = x * along[:, None, 1] - y * along[:, None, 0]
            weight = given / (1 + (rest / scale) ** 2) ** 2
    return centre, along


def tones_at(pixels: np.ndarray, bright: np.ndarray):
    """Return a function that gives the tones of a picture in linear light at fractional places.

    `bright` is its `bright_end`. Past the frame lies a tone that no photo has: a card cut off by the frame has a side
    there.
    """

    def sampled(places):
        flat = (places - 0.5).astype(np.float32)
        light = cv2.remap(pixels, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR, borderValue=(_BEYOND,) * 3)
        return even_tones(light, bright)

    return sampled


def bright_end(pixels: np.ndarray) -> np.ndarray:
    """Return the bright end of each channel (3,) of linear light (h, w, 3)."""
    few = pixels[:: 1 + pixels.shape[0] // _BRIGHT_PIXELS, :: 1 + pixels.shape[1] // _BRIGHT_PIXELS].reshape(-1, 3)
    return np.maximum(np.percentile(np.ascontiguousarray(few.T), _BRIGHT_PERCENTILE, axis=1), 1e-4)


def even_tones(pixels: np.ndarray, bright: np.ndarray | None = None) -> np.ndarray:
    """Return the tones of linear light, in which noise and steps look much alike from dark to bright.

    That is the cube root of light, float32, each channel scaled by the bright end of the picture. `pixels` float32 (h,
    w, 3): linear light. `bright` (3,): the bright end of the picture that the light is of; its own if left out.
    """
    bright = bright_end(pixels) if bright is None else bright
    # OpenCV scales channels several times as fast as a broadcast over the short axis
    scaled = cv2.transform(np.ascontiguousarray(pixels), np.diag(1 / bright).astype(np.float32))
    return np.cbrt(np.clip(scaled, 0, _MOST_TONE, out=scaled), out=scaled)

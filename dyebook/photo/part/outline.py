"""From a rough region to the outline of a part: sharpened on finer pixels, holes cut in by slits.

Colours decide what is part and what is ground, with a loss of light counting little, as ground may lie in the part's
shadow. A region's outline is sharpened by a graph cut on a finer crop and then placed within its edge pixels by how
much of each the part covers. Holes too small for that are looked for on a crop of their own: round, sharp all around,
and of the ground's colour.
"""

from dataclasses import replace

import cv2
import numpy as np

from dyebook.photo.card.card import fill_polygon
from dyebook.photo.file.linear import SMALL_SIDE, LinearPhoto
from dyebook.photo.light import Light
from dyebook.photo.part.candidates import Candidate, PhotoView, shade_free
from dyebook.photo.part.part import Part, polygon_of, traced, with_slits

__all__ = ["holes_cut", "outline_of", "see_through", "small_holes", "trimmed"]

_CROSS = cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))
_DISC = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (3, 3))
_SQUARE = np.ones((3, 3), np.uint8)

# -- Part or ground --
# how much a loss of light counts beside a change of colour
_SHADE = 0.25
# the body is looked at from so far inside the rim, px or share of the depth, down to so far, px or share: the middle
# may be a hole
_BODY_FROM, _BODY_TO = (1.5, 0.2), (4.0, 0.18)
_FEWEST, _SAMPLE = 20, 600
# how much nearer to the ground than to the body a pixel of the ground is
_NEARER_GROUND = 0.7

# -- Shadows cleared --
_PAD = 8
# least share of a region that must be left, and shortest rim of a gap that counts
_LEAST_LEFT, _SHORTEST_RIM = 0.45, 8
# a gap is a hole: least share of the part and pixels, share of its hull, width over length, nearness to the ground
_GAP_SHARE, _GAP_PIXELS, _GAP_SOLID, _GAP_ROUND, _GAP_NEARER = 0.004, 6, 0.8, 0.4, 0.8
_BESIDE_GAP = np.ones((7, 7), np.uint8)

# -- Sharpening --
# a crop has at most this many pixels: graph cuts grow faster than their pixels
_CROP_PIXELS = 6_500
_MARGIN, _MARGIN_PX = 0.12, 4
# the outline may move by this share of the depth, within these pixels; the ground is looked at up to so many times that
_REACH, _REACH_PX, _GROUND_REACH = 0.3, (2, 8), 3
# least share of the rough region that is sure to be part before the cut; shares of it left after
_LEAST_SURE, _LEFT = 0.15, (0.45, 1.5)
# L* and chroma as 8-bit codes for the graph cut, and the length of its two colour models
_CODE_SCALE, _CODE_ZERO, _COLOUR_MODEL = (2.2, 2.0, 2.0), (10, 128, 128), (1, 65)
# an edge pixel's own sides are looked at this near, and fainter steps (squared CIELAB) do not count
_NEARBY, _FAINT_EDGE = (9, 9), 16.0

# -- Small holes --
# pixels of the crop in which they are looked for, and its margin
_HOLE_CROP_PIXELS, _HOLE_MARGIN = 16_000, 0.06
# the ground is looked at this far around the part, in pixels
_NEAR, _FAR = 2, 9
# no hole is nearer to the rim, or smaller: a pit is; a patch it grows from may be smaller by a share
_RIM, _SMALLEST, _SEED_SHARE, _LEAST_SHARE, _MOST_SHARE = 2.5, 14, 0.4, 0.002, 0.2
_FEWEST_BESIDE = 12
# largest patches of the ground's colour that are looked at; a weave has many hundreds
_MOST_SEEDS = 40
# width over length of a round hole seen at a slant, and how much of the ellipse of its size it fills
_ROUND, _FILLED = 0.5, 0.88
# the part is looked at this far from a hole; the step across the edge in units of L*, the share of it that lies within
# two pixels nearly all the way round, and the most spread of the part beside it against the step
_BESIDE, _LEAST_STEP, _SHARP, _AROUND, _UNEVEN = 3, 10.0, 0.65, 0.85, 0.45
# how much nearer to the ground than to the part beside it, and how much lighter than the ground
_NEARER, _LIGHTER = 0.5, 4.0
_NEAR_BY = np.ones((5, 5), np.uint8)
_BESIDE_DISC, _WIDER_DISC = (cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * k * _BESIDE + 1,) * 2) for k in (1, 2))


def trimmed(view: PhotoView, one: Candidate) -> Candidate:
    """Return a candidate without the shadow that clings to it, its holes counted; itself where that fails."""
    (x0, y0, x1, y1), mask = one.padded(_PAD, view)
    depth = cv2.distanceTransform(mask, cv2.DIST_L2, 3)
    away = cv2.distanceTransform(1 - mask, cv2.DIST_L2, 3)
    colour = view.colour[y0:y1, x0:x1]
    around = (away > 2) & (away < _PAD) & (view.card[y0:y1, x0:x1] == 0)
    alike, ground = _ground_like(colour, depth, around)
    if alike is None:
        return one
    kept = cv2.morphologyEx(mask & ~alike.astype(np.uint8) & 1, cv2.MORPH_OPEN, _SQUARE)
    contours, tree = cv2.findContours(kept, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return one
    outer = max(np.flatnonzero(tree[0, :, 3] < 0), key=lambda k: cv2.contourArea(contours[k]))
    whole = cv2.drawContours(np.zeros_like(mask), [contours[outer]], -1, 1, -1)
    area = cv2.countNonZero(whole)
    if area < _LEAST_LEFT * one.area:
        return one
    gaps = [contours[k] for k in np.flatnonzero(tree[0, :, 3] == outer) if len(contours[k]) > _SHORTEST_RIM]
    holes = sum(cv2.contourArea(gap) for gap in gaps if _is_hole(gap, area, colour, whole, ground))
    rim = contours[outer] + np.array([x0, y0], np.int32)
    return replace(one, box=(x0, y0, x1, y1), mask=whole, contour=rim, hole_share=holes / area)


def outline_of(photo: LinearPhoto, light: Light, one: Candidate, view: PhotoView) -> np.ndarray:
    """Return the outline of a candidate in pixels of the photo.

    It has at most about 200 corners (N, 2); holes are cut in by slits.
    """
    pixels, box, step = _seen_around(photo, one, view)
    colour = shade_free(light.correct(pixels, box, step))
    rough = _laid_over(one, view.step, box, step, colour.shape[:2])
    outer, holes = _rings(_covered(colour, _sharpened(colour, rough)))
    outline = with_slits(outer, holes) * step + box[:2]
    return np.clip(with_slits(outline, small_holes(photo, light, outline)), 0, photo.size)


def _seen_around(photo, one, view):
    """Light around the candidate, its box in pixels of the photo, and the step that keeps it small."""
    x0, y0, x1, y1 = one.box
    margin = _MARGIN * max(x1 - x0, y1 - y0) + _MARGIN_PX
    step = np.sqrt((x1 - x0 + 2 * margin) * (y1 - y0 + 2 * margin) / _CROP_PIXELS) * view.step
    small = photo.reduced(SMALL_SIDE)
    # where the small picture is fine enough, the photo need not be averaged anew
    unit = small.scale if step > small.scale else photo.unit(step)
    step = max(1, round(step / unit))
    step += step % 2 if unit == 1 and step > 2 else 0  # even steps are averaged quickest
    size = small.pixels.shape[1::-1] if unit == small.scale else [length // unit for length in photo.size]
    left, top = (int(max(v - margin, 0) * view.step / unit) for v in (x0, y0))
    wide, high = (
        min(int((v + margin) * view.step / unit) + 1, most) - first
        for v, most, first in zip((x1, y1), size, (left, top), strict=True)
    )
    # whole blocks, but for what is smaller than one
    right, bottom = left + max(wide // step * step, min(wide, step)), top + max(high // step * step, min(high, step))
    box = tuple(unit * v for v in (left, top, right, bottom))
    if unit < small.scale:
        return photo.crop(box, unit * step), box, unit * step
    pixels = small.pixels[top:bottom, left:right]
    size = max(1, (right - left) // step), max(1, (bottom - top) // step)
    return cv2.resize(pixels, size, interpolation=cv2.INTER_AREA) if step > 1 else pixels, box, unit * step


def _laid_over(one, view_step, box, step, shape):
    """The candidate's mask on the crop's pixels."""
    scale = view_step / step
    shift_x = (one.box[0] * view_step - box[0]) / step + 0.5 * scale - 0.5
    shift_y = (one.box[1] * view_step - box[1]) / step + 0.5 * scale - 0.5
    place = np.array([[scale, 0, shift_x], [0, scale, shift_y]])
    return (cv2.warpAffine(one.mask * 255, place, shape[::-1], flags=cv2.INTER_LINEAR) > 127).astype(np.uint8)


def _sharpened(colour, rough):
    """The region again, by the colours inside it and around it; true holes are left open."""
    depth = cv2.distanceTransform(np.pad(rough, 1), cv2.DIST_L2, 5)[1:-1, 1:-1]
    away = cv2.distanceTransform(1 - rough, cv2.DIST_L2, 5)
    reach = float(np.clip(_REACH * depth.max(), *_REACH_PX))
    alike, ground = _ground_like(colour, depth, (away > 2) & (away < _GROUND_REACH * reach))
    if alike is None:
        return rough
    trimap = np.full(rough.shape, cv2.GC_BGD, np.uint8)
    trimap[away < reach] = cv2.GC_PR_BGD
    trimap[rough > 0] = np.where(alike[rough > 0], cv2.GC_PR_BGD, cv2.GC_PR_FGD)
    trimap[(depth > reach) & ~alike] = cv2.GC_FGD
    if np.count_nonzero(trimap & 1) < _LEAST_SURE * np.count_nonzero(rough):
        return rough
    codes = np.clip(colour * _CODE_SCALE + _CODE_ZERO, 0, 255).astype(np.uint8)
    cv2.setRNGSeed(1)
    models = np.zeros(_COLOUR_MODEL), np.zeros(_COLOUR_MODEL)
    cv2.grabCut(codes, trimap, None, *models, 1, cv2.GC_INIT_WITH_MASK)
    return _with_true_holes((trimap & 1).astype(np.uint8), rough, colour, ground)


def _with_true_holes(sharp, rough, colour, ground):
    """The largest piece, filled except for its true holes; the rough region if too little or too much is left."""
    opened = cv2.morphologyEx(sharp, cv2.MORPH_OPEN, _DISC)
    contours, tree = cv2.findContours(opened, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return rough
    outer = max((i for i in range(len(contours)) if tree[0][i][3] < 0), key=lambda i: cv2.contourArea(contours[i]))
    whole = cv2.drawContours(np.zeros_like(rough), [contours[outer]], -1, 1, -1)
    area, before = cv2.countNonZero(whole), cv2.countNonZero(rough)
    if not _LEFT[0] * before < area < _LEFT[1] * before:
        return rough
    inner = [contours[i] for i in range(len(contours)) if tree[0][i][3] == outer]
    for hole in inner:
        if _is_hole(hole, area, colour, whole, ground):
            cv2.drawContours(whole, [hole], -1, 0, -1)
            cv2.drawContours(whole, [hole], -1, 1, 1)
    return whole


def _covered(colour, mask):
    """How much of each pixel the part covers, 0 to 1: along the edge by its colour between those on either side."""
    edge = cv2.dilate(mask, _CROSS) != cv2.erode(mask, _CROSS, borderType=cv2.BORDER_REPLICATE)
    colour = colour.astype(np.float32)
    inside, outside = (_nearby(colour, (mask == side) & ~edge) for side in (1, 0))
    way = inside - outside
    share = ((colour - outside) * way).sum(axis=2) / np.maximum((way * way).sum(axis=2), _FAINT_EDGE)
    return np.where(edge, np.clip(share, 0, 1), mask).astype(np.float32)


def _nearby(colour, where):
    """Mean colour of the pixels `where` around each pixel."""
    weight = where.astype(np.float32)
    total = cv2.blur(colour * weight[..., None], _NEARBY)
    return total / np.maximum(cv2.blur(weight, _NEARBY), 1e-6)[..., None]


def _rings(covered):
    """Outer ring and hole rings of what a part covers, corners in pixels from the crop's outer corner."""
    contours, tree = traced(covered)
    outer = max((i for i in range(len(contours)) if tree[0][i][3] < 0), key=lambda i: cv2.contourArea(contours[i]))
    holes = [contours[i] for i in range(len(contours)) if tree[0][i][3] == outer and len(contours[i]) > _SHORTEST_RIM]
    return polygon_of(contours[outer]), [polygon_of(hole) for hole in holes]


def holes_cut(photo: LinearPhoto, light: Light, part: Part) -> Part:
    """Return a part with the small holes through it cut out of its outline, which may have been drawn across them."""
    found = small_holes(photo, light, np.asarray(part.outline))
    return replace(part, outline=with_slits(part.outline, found)) if found else part


def small_holes(photo: LinearPhoto, light: Light, outline: np.ndarray) -> list[np.ndarray]:
    """Return the rings of holes through a part that its outline does not cut out.

    Each ring (M, 2) is in pixels of the photo.
    """
    low, high = outline.min(axis=0), outline.max(axis=0)
    margin = _HOLE_MARGIN * (high - low).max() + _MARGIN_PX
    (x0, y0), (x1, y1) = np.maximum(low - margin, 0).astype(int), np.minimum(high + margin, photo.size).astype(int)
    step = float(np.sqrt((x1 - x0) * (y1 - y0) / _HOLE_CROP_PIXELS))
    unit = photo.unit(step)
    step, x0, y0 = max(1, round(step / unit)) * unit, x0 // unit * unit, y0 // unit * unit
    box = int(x0), int(y0), int(x0 + (x1 - x0) // step * step), int(y0 + (y1 - y0) // step * step)
    mask = fill_polygon(outline, box, step).astype(np.uint8)
    found = see_through(shade_free(light.correct(photo.crop(box, step), box, step)), mask)
    if not found.any():
        return []
    contours, tree = traced(found.astype(np.float32))
    return [polygon_of(c) * step + box[:2] for c, own in zip(contours, tree[0], strict=True) if own[3] < 0]


def see_through(colour: np.ndarray, mask: np.ndarray) -> np.ndarray:
    """Return where a part is seen through.

    The answer is uint8 (h, w), 1 in holes. `colour` float32 (h, w, 3): L* and chroma over lightness, as `shade_free`
    gives them. `mask` uint8 (h, w): 1 on the part.

    Notes
    -----
    A hole shows the ground, often in the part's own shadow, so less light counts little against it, and more light
    than the ground's is mirror light. A spot of dye fades out, a pit is smaller, a groove is long, texture repeats
    beside: none of them passes all the tests.
    """
    out = np.zeros_like(mask)
    depth = cv2.distanceTransform(mask, cv2.DIST_L2, 3)
    away = cv2.distanceTransform(1 - mask, cv2.DIST_L2, 3)
    alike, ground = _ground_like(colour, depth, (away > _NEAR) & (away < _FAR))
    if alike is None:
        return out
    alike = cv2.morphologyEx((alike & (depth > _RIM)).astype(np.uint8), cv2.MORPH_OPEN, _CROSS)
    area = cv2.countNonZero(mask)
    _, labels, stats, _ = cv2.connectedComponentsWithStats(alike, connectivity=4, ltype=cv2.CV_16U)
    sizes = stats[1:, cv2.CC_STAT_AREA]
    likely = np.flatnonzero((sizes >= _SEED_SHARE * _SMALLEST) & (sizes <= _MOST_SHARE * area))
    for k in likely[np.argsort(-sizes[likely], kind="stable")][:_MOST_SEEDS] + 1:
        _add(out, colour, mask, ground, labels == k, stats[k], area)
    return out


def _add(out, colour, mask, ground, seed, stats, area):
    """Mark the hole around a patch of the ground's colour, if it is one."""
    x, y, w, h = stats[:4]
    pad = 3 * _BESIDE + 2
    window = np.s_[max(y - pad, 0) : y + h + pad, max(x - pad, 0) : x + w + pad]
    hole = _edged(colour[window], mask[window], np.ascontiguousarray(seed[window]).view(np.uint8))
    if hole is None or not max(_SMALLEST, _LEAST_SHARE * area) <= cv2.countNonZero(hole) <= _MOST_SHARE * area:
        return
    if _is_round(hole) and _shows(colour[window], mask[window], hole, ground):
        out[window] |= hole


def _edged(colour, mask, seed):
    """The patch out to where its colour is half way to the part's; None where the part is not all around it."""
    ring = (cv2.dilate(seed, _BESIDE_DISC) & ~cv2.dilate(seed, _CROSS, iterations=2) & mask) > 0
    if ring.sum() < _FEWEST_BESIDE:
        return None
    inside, wall = np.median(colour[seed > 0], axis=0), np.median(colour[ring], axis=0)
    way = inside - wall
    share = (colour - wall) @ way / max(float(way @ way), 1e-6)
    near = cv2.dilate(seed, _CROSS, iterations=_BESIDE)
    half = ((share > 0.5) | (seed > 0)).view(np.uint8) & near & mask
    half = cv2.morphologyEx(half, cv2.MORPH_CLOSE, _CROSS)
    lines, _ = cv2.findContours(half, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    out = np.zeros_like(seed)
    cv2.drawContours(out, [max(lines, key=cv2.contourArea)], -1, 1, -1)
    return out


def _is_round(hole):
    """Whether a patch is an ellipse and not too slender."""
    y, x = np.nonzero(hole)
    xx, yy, xy = x.var() + 1 / 12, y.var() + 1 / 12, ((x - x.mean()) * (y - y.mean())).mean()
    half, root = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    wide, long = 4 * np.sqrt(max(half - root, 1e-6)), 4 * np.sqrt(half + root)
    return wide > _ROUND * long and len(x) > _FILLED * np.pi / 4 * wide * long


def _shows(colour, mask, hole, ground):
    """Whether the ground shows in a patch, and the part evenly beside it, with a sharp step all the way round."""
    core = cv2.erode(hole, _CROSS)
    core = core if core.any() else hole
    # further off than a hole's edge is wide: a spot that fades out does not reach the part's own colour there
    beside = colour[(cv2.dilate(hole, _WIDER_DISC) & ~cv2.dilate(hole, _BESIDE_DISC) & mask) > 0]
    if not len(beside):
        return False
    seen, wall = np.median(colour[core > 0], axis=0), np.median(beside, axis=0)
    step = float(np.linalg.norm(seen - wall))
    if step < _LEAST_STEP or _from_ground(seen, ground) > _NEARER * step or seen[0] > ground[0] + _LIGHTER:
        return False
    way = (seen - wall) / step
    if ((beside - wall) @ way).std() > _UNEVEN * step:
        return False
    along = (colour - wall) @ way
    rise = cv2.dilate(along, _NEAR_BY) - cv2.erode(along, _NEAR_BY)
    rim = (hole & ~cv2.erode(hole, _CROSS)) > 0
    return bool((rise[rim] > _SHARP * step).mean() > _AROUND)


def _from_ground(colour, ground):
    """Distance of colours (..., 3) to the ground's, small where the ground only lies in shadow."""
    light = colour[..., 0] - ground[0]
    light = np.maximum(light, -_SHADE * light)
    return np.sqrt(light**2 + (colour[..., 1] - ground[1]) ** 2 + (colour[..., 2] - ground[2]) ** 2)


def _ground_like(colour, depth, around):
    """Where colours (h, w, 3) are nearer to the ground than to a region's body, and the ground's; None if unseen."""
    deepest = depth.max()
    start, end = min(_BODY_FROM[0], _BODY_FROM[1] * deepest), max(_BODY_TO[0], _BODY_TO[1] * deepest)
    body = (depth > start) & (depth < end)
    around, body, flat = np.flatnonzero(around), np.flatnonzero(body), colour.reshape(-1, 3)
    if min(len(around), len(body)) < _FEWEST:
        return None, None
    ground = _middle(_some(flat, around))
    sample = _some(flat, body)
    ranked = sample[np.argsort(sample[:, 0])]
    # its dark, middling and bright pixels; the nearest of them counts
    shades = np.array([_middle(third) for third in np.array_split(ranked, 3)])
    inside = np.flatnonzero(depth > 0)
    pixels = np.take(flat, inside, axis=0)
    # |p - s|^2 without an array of differences for each shade, and shade by shade: numpy is slow along short axes
    nearest = np.maximum.reduce([pixels @ shade - shade @ shade / 2 for shade in shades])
    apart = (pixels * pixels) @ np.ones(3, np.float32) - 2 * nearest
    alike = np.zeros(depth.shape, bool)
    alike.reshape(-1)[inside] = _from_ground(pixels, ground) < _NEARER_GROUND * np.sqrt(np.maximum(apart, 0))
    return alike, ground


def _middle(colours):
    """Median of each channel to the nearest value, (3,): a partition alone is several times as fast."""
    return np.partition(colours, len(colours) // 2, axis=0)[len(colours) // 2]


def _some(pixels, places):
    return np.take(pixels, places[:: len(places) // _SAMPLE + 1], axis=0)


def _is_hole(contour, part_area, colour, whole, ground):
    """Whether a gap is a hole: round, not tiny, and showing the ground, as no stripe or groove does."""
    area = cv2.contourArea(contour)
    if area < max(_GAP_SHARE * part_area, _GAP_PIXELS) or area < _GAP_SOLID * cv2.contourArea(cv2.convexHull(contour)):
        return False
    wide = cv2.minAreaRect(contour)[1]
    if min(wide) < _GAP_ROUND * max(wide):
        return False
    inside = cv2.drawContours(np.zeros_like(whole), [contour], -1, 1, -1)
    around = cv2.dilate(inside, _BESIDE_GAP) & ~inside & whole
    if not around.any():
        return False
    seen, wall = (np.median(colour[spots > 0], axis=0) for spots in (inside, around))
    return bool(_from_ground(seen, ground) < _GAP_NEARER * np.linalg.norm(seen - wall))

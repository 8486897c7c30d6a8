"""A stepped coupon in a photo: one strip drawn out of the dye in steps, cut into its bands.

The strip is followed beyond what the search found, as its pale end may have been taken for ground. Colours along its
middle are cut by dynamic programming into bands of least scatter, with a small cost of unequal lengths that decides
alone where no step is seen. The bands' order is that of the nearest falling row of depths, from either end.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from dyebook.errors import PhotoError
from dyebook.lab import linear_rgb_to_lab
from dyebook.photo.file.linear import LinearPhoto
from dyebook.photo.light import Light
from dyebook.photo.part.part import Part

__all__ = ["MOST_STEPS", "Strip", "band_parts", "order_bands", "profile_of", "split_profile", "whole_strip"]

MOST_STEPS = 20

# -- The strip --
# parts that fill their common rectangle by this share, this much longer than wide, are one strip
_FILLED, _LONGER = 0.8, 1.5
# middle share of the strip's width that gives its colour: no rims, no drips
_MIDDLE = 0.6
_LONG, _ACROSS = 400, 25
# share of a place across the strip that must lie on it, and how many such places give its colour
_COVERED, _FEWEST_ACROSS = 0.9, 2
# a pale end may have been taken for the ground: look on so many lengths of what was found, on so many px of the photo,
# at this share of the width and so many places
_REACH, _LOOK_PX, _LOOK_MIDDLE, _LOOK_ACROSS = 4.0, 1500, 0.2, 7
# the strip goes on while it differs by this from the ground on both its sides (CIELAB)
_CONTRAST = 5.0
# and for so many widths: knots and stains beside an end are shorter than a band is likely to be; of a new end, so many
# widths may be half shadow
_LEAST, _HALF_SHADOW = 0.45, 0.1
# where the ground is looked at, in widths from the middle line
_FLANKS = np.array([0.75, 0.85, 0.95])

# -- Its bands --
# shading changes lightness along a strip more than it changes the two chroma axes
_LAB_WEIGHTS = np.array([0.7, 1.0, 1.0])
# cost of a band longer or shorter than the others by this share of their length, in squared CIELAB units over one
# band's length: where no step of colour is seen the bands come out equal, and a step of two units outweighs any likely
# length
_LENGTH_COST, _LENGTH_SD = 1.0, 0.5
# shortest band, as a share of an equal one
_SHORTEST = 0.25
# a border is seen when the colours beside it differ by this, and by so many times their scatter along the strip
_SEEN_DELTA, _SEEN_TIMES = 1.0, 2.5
# share of the strip at each end that is not read
_RIM = 0.02
# left out at each end of a band: the line of the liquid is neither sharp nor straight
_MARGIN = 0.15
_FEWEST_PX = 8
# depths, log light summed over three channels, may break the order by so much: shading does
_DISORDER_LOG = 0.2


@dataclass(frozen=True)
class Strip:
    """A strip's frame: one corner, unit vectors along and across, length and width in pixels of the photo."""

    corner: np.ndarray
    along: np.ndarray
    across: np.ndarray
    length: float
    width: float

    @classmethod
    def around(cls, outline):
        """Return the smallest rectangle around an outline (n, 2)."""
        box = cv2.boxPoints(cv2.minAreaRect(np.asarray(outline, dtype=np.float32))).astype(float)
        one, two = box[1] - box[0], box[3] - box[0]
        if np.linalg.norm(one) < np.linalg.norm(two):
            one, two = two, one
        length, width = np.linalg.norm(one), np.linalg.norm(two)
        return cls(box[0], one / max(length, 1e-9), two / max(width, 1e-9), float(length), float(width))

    def places(self, along, across):
        """Return points (n, m, 2) of the photo at distances (n,) along and (m,) across, in pixels from the corner."""
        return self.corner + along[:, None, None] * self.along + across[None, :, None] * self.across

    def stretched(self, start, stop):
        """Return the strip that reaches from one place along this one to another."""
        return Strip(self.corner + start * self.along, self.along, self.across, float(stop - start), self.width)

    @property
    def outline(self):
        """Corners (4, 2)."""
        corners = self.places(np.array([0.0, self.length]), np.array([0.0, self.width]))
        return np.array([corners[0, 0], corners[1, 0], corners[1, 1], corners[0, 1]])

    def between(self, outline, start, stop):
        """Return the part of an outline that lies between two places along the strip."""
        inside = _clipped(outline, (outline - self.corner) @ self.along - start)
        return _clipped(inside, stop - (inside - self.corner) @ self.along)


def _clipped(outline, height):
    """The polygon where `height` (n,), given at its corners, is not below 0 (Sutherland and Hodgman, 1974)."""
    out = []
    for k, (point, here) in enumerate(zip(outline, height, strict=True)):
        after, there = outline[(k + 1) % len(outline)], height[(k + 1) % len(outline)]
        if here >= 0:
            out.append(point)
        if (here >= 0) != (there >= 0):
            out.append(point + here / (here - there) * (after - point))
    return np.array(out).reshape(-1, 2)


def band_parts(photo: LinearPhoto, light: Light, parts: list[Part], count: int) -> list[Part]:
    """Return the bands of a stepped coupon as parts, from the longest dwell on.

    PhotoError if the bands would be too short to be read; ValueError if `count` is no whole number from 2 to 20.

    Parameters
    ----------
    parts : sequence of Part
        What was found or drawn; the strip is all of them that lie in one line with the longest.
    count : int
        How many bands, 2 to 20.

    Returns
    -------
    list of Part
        Empty where there are no parts. Flagged ``steps_unseen`` where a band's border is a guess at equal lengths,
        ``step_odd`` where the band breaks the order from deep to pale.
    """
    if count not in range(2, MOST_STEPS + 1):
        raise ValueError(f"steps is {count}; a whole number from 2 to {MOST_STEPS} is needed")
    if not parts:
        return []
    outline, flags = whole_strip(photo, light, parts)
    strip = Strip.around(outline)
    if strip.length < _FEWEST_PX * count:
        raise PhotoError(
            f"the strip in {photo.name} is {strip.length:.0f} pixels long, too short for {count} bands of at least "
            f"{_FEWEST_PX}; move closer, or outline the strip with --part-at"
        )
    profile = _without_rims(profile_of(photo, light, strip, outline))
    borders, seen = split_profile(linear_rgb_to_lab(profile), count)
    depths = _depths(profile, borders)
    order, out_of_order = order_bands(depths)
    ends = np.concatenate([[0.0], borders, [len(profile)]]) / len(profile) * strip.length
    sure = np.concatenate([[True], seen, [True]])
    unseen = ~(sure[:-1] & sure[1:])
    return [
        Part(
            _inner_part(strip, outline, ends[place], ends[place + 1]),
            flags=(*flags, *_doubts(unseen[place], out_of_order[place])),
        )
        for place in order
    ]


def _without_rims(profile):
    """The profile with its two ends, bevelled and half ground, made like what lies next to them."""
    rim = max(1, round(_RIM * len(profile)))
    places = np.clip(np.arange(len(profile)), rim, len(profile) - 1 - rim)
    return profile[places]


def _inner_part(strip, outline, start, stop):
    margin = _MARGIN * (stop - start)
    return strip.between(outline, start + margin, stop - margin)


def _doubts(unseen, out_of_order):
    return ("steps_unseen",) * bool(unseen) + ("step_odd",) * bool(out_of_order)


def whole_strip(photo: LinearPhoto, light: Light, parts: list[Part]) -> tuple[np.ndarray, tuple]:
    """Return the outline of the strip that parts belong to, and their doubts.

    `parts` (sequence of Part): one at least. The strip is the longest, with those that lie in its line, and with what
    goes on from there unless it was drawn by hand.
    """
    parts = sorted(parts, key=lambda part: -Strip.around(part.outline).length)
    members = _in_line(parts)
    flags = tuple(dict.fromkeys(flag for part in members for flag in part.flags))
    outline = members[0].outline
    if len(members) > 1:
        outline = Strip.around(np.concatenate([part.outline for part in members])).outline
    return outline if parts[0].confidence == 1 else _grown(photo, light, outline), flags


def _in_line(parts):
    """The first part, with the others that fill one long rectangle together with it."""
    members, rest = [parts[0]], list(parts[1:])
    while True:
        more = next((part for part in rest if _fill_a_strip([*members, part])), None)
        if more is None:
            return members
        members.append(more)
        rest.remove(more)


def _fill_a_strip(parts):
    frame = Strip.around(np.concatenate([part.outline for part in parts]))
    covered = sum(abs(cv2.contourArea(part.outline.astype(np.float32))) for part in parts)
    return covered > _FILLED * frame.length * frame.width and frame.length > _LONGER * frame.width


def _grown(photo, light, outline):
    """The outline, stretched over pale or dark bands beyond its ends that the search had left to the ground."""
    found = Strip.around(outline)
    count = int(min(_LONG, found.length))
    along = np.arange(-_REACH * count, (1 + _REACH) * count) / count * found.length
    middle = (0.5 + np.linspace(-_LOOK_MIDDLE, _LOOK_MIDDLE, _LOOK_ACROSS)) * found.width
    sides = [(0.5 + way * _FLANKS) * found.width for way in (-1, 1)]
    strip, *grounds = (_colours_at(photo, light, found.places(along, across)) for across in (middle, *sides))
    differs = np.min([np.linalg.norm(strip - ground, axis=1) for ground in grounds], axis=0) > _CONTRAST
    start, stop = _run(differs, int(_REACH * count), int((1 + _REACH) * count) - 1)
    start, stop = along[start], along[stop]
    # an end that was found is trusted, but where a whole band lies beyond
    start = start + _HALF_SHADOW * found.width if start < -_LEAST * found.width else 0.0
    stop = stop - _HALF_SHADOW * found.width if stop > found.length + _LEAST * found.width else found.length
    grew = start < 0 or stop > found.length
    return found.stretched(start, stop).outline if grew else outline


def _run(true, first, last):
    """How far a row of true places reaches beyond both ends of a stretch, which counts as true itself."""
    while first > 0 and true[first - 1]:
        first -= 1
    while last < len(true) - 1 and true[last + 1]:
        last += 1
    return first, last


def _colours_at(photo, light, places):
    """Median Lab (n, 3) across points (n, m, 2); nan outside the photo."""
    low = np.clip(np.floor(places.min(axis=(0, 1))).astype(int), 0, np.array(photo.size) - 2)
    high = np.clip(np.ceil(places.max(axis=(0, 1))).astype(int) + 1, low + 2, photo.size)
    box = (*map(int, low), *map(int, high))
    box, step = photo.fitted(box, np.max(high - low) / _LOOK_PX)
    pixels = light.correct(photo.crop(box, step), box, step)
    seen = _looked_up(pixels, places, box, step, np.nan)
    with np.errstate(invalid="ignore"):
        return linear_rgb_to_lab(np.median(seen, axis=1))


def _looked_up(pixels, places, box, step, outside):
    """Values of pixels of a box at points (n, m, 2) of the photo."""
    at = ((places - box[:2]) / step - 0.5).astype(np.float32)
    maps = np.ascontiguousarray(at[..., 0]), np.ascontiguousarray(at[..., 1])
    edge = {"borderMode": cv2.BORDER_CONSTANT, "borderValue": (outside,) * 4}
    return cv2.remap(np.ascontiguousarray(pixels, dtype=np.float32), *maps, cv2.INTER_LINEAR, **edge)


def profile_of(photo: LinearPhoto, light: Light, strip: Strip, outline: np.ndarray) -> np.ndarray:
    """Return the corrected light along a strip.

    Parameters
    ----------
    outline : ndarray, shape (n, 2)
        Holes in it do not count.

    Returns
    -------
    ndarray, shape (k, 3)
        Median across the middle of the strip, evenly along it; k at most 400.
    """
    box = Part(outline).box
    box = (max(box[0], 0), max(box[1], 0), min(box[2], photo.size[0]), min(box[3], photo.size[1]))
    box, step = photo.fitted(box, strip.length / _LONG / 2)
    pixels = light.correct(photo.crop(box, step), box, step)
    inside = Part(outline).mask(box, step)[: pixels.shape[0], : pixels.shape[1]].astype(np.float32)
    count = int(min(_LONG, strip.length))
    along = (np.arange(count) + 0.5) / count * strip.length
    across = (0.5 + np.linspace(-_MIDDLE / 2, _MIDDLE / 2, _ACROSS)) * strip.width
    places = strip.places(along, across)
    covered = _looked_up(inside, places, box, step, 0.0) > _COVERED
    return _filled(np.where(covered[..., None], _looked_up(pixels, places, box, step, 0.0), np.nan))


def _filled(seen):
    """Median across each place along the strip; a hole takes the colour beside it."""
    known = np.isfinite(seen[..., 0]).sum(axis=1) > _FEWEST_ACROSS
    out = np.zeros((len(seen), 3))
    out[known] = np.nanmedian(seen[known], axis=1)
    places = np.arange(len(seen))
    for channel in range(3):
        out[~known, channel] = np.interp(places[~known], places[known], out[known, channel])
    return np.maximum(out, 1e-4)


def split_profile(lab: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Return where a profile changes from band to band.

    Parameters
    ----------
    lab : ndarray, shape (n, 3)
        Colours along the strip.
    count : int
        How many bands.

    Returns
    -------
    borders : ndarray, shape (count - 1,)
        Rising places between 0 and n.
    seen : ndarray of bool, shape (count - 1,)
        Whether a step of colour is seen there.

    Notes
    -----
    The bands are those of least scatter about their own mean, found exactly by dynamic programming, with a small cost
    of unequal lengths. Where there is no step to see that cost decides alone.
    """
    weighted = np.asarray(lab) * _LAB_WEIGHTS
    size = len(weighted)
    cost = _band_costs(weighted, count)
    best, came = np.full((count + 1, size + 1), np.inf), np.zeros((count + 1, size + 1), dtype=int)
    best[0, 0] = 0
    for band in range(1, count + 1):
        total = best[band - 1][:, None] + cost
        came[band] = total.argmin(axis=0)
        best[band] = total.min(axis=0)
    borders = [size]
    for band in range(count, 1, -1):
        borders.append(came[band][borders[-1]])
    borders = np.array(borders[:0:-1])
    return borders, _are_seen(weighted, np.concatenate([[0], borders, [size]]))


def _band_costs(values, count):
    """Cost (n + 1, n + 1) of a band from one place to another; infinite where it would be too short."""
    size = len(values)
    usual = size / count
    sums = np.vstack([np.zeros(3), np.cumsum(values, axis=0)])
    squares = np.concatenate([[0], np.cumsum(np.sum(values**2, axis=1))])
    start, stop = np.meshgrid(np.arange(size + 1), np.arange(size + 1), indexing="ij")
    length = (stop - start).astype(float)
    safe = np.maximum(length, 1)
    scatter = squares[stop] - squares[start] - np.sum((sums[stop] - sums[start]) ** 2, axis=2) / safe
    cost = scatter / usual + _LENGTH_COST * ((length / usual - 1) / _LENGTH_SD) ** 2
    return np.where(length >= max(_SHORTEST * usual, 2), cost, np.inf)


def _are_seen(values, ends):
    """Whether the colours on both sides of each border differ by more than they scatter."""
    seen = []
    for left, border, right in zip(ends[:-2], ends[1:-1], ends[2:], strict=True):
        before, after = _inner(values[left:border]), _inner(values[border:right])
        gap = np.median(after, axis=0) - np.median(before, axis=0)
        size = np.linalg.norm(gap)
        way = gap / max(size, 1e-9)
        scatter = np.sqrt((np.var(before @ way) + np.var(after @ way)) / 2)
        seen.append(size > max(_SEEN_DELTA, _SEEN_TIMES * scatter))
    return np.array(seen)


def _inner(band):
    margin = int(_MARGIN * len(band))
    return band[margin : len(band) - margin] if len(band) > 2 * margin + 1 else band


def _depths(profile, borders):
    """How deep each band is dyed: what its film takes of the light, in logarithms summed over the channels."""
    return np.array([-np.median(np.log(_inner(band)), axis=0).sum() for band in np.split(profile, borders)])


def order_bands(depths: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the bands in the order of their dwells, and which of them break the order of their depths.

    Parameters
    ----------
    depths : ndarray, shape (n,)
        Along the strip.

    Returns
    -------
    order : ndarray of int, shape (n,)
        Along the strip from the end that is deeper on the whole; a single band out of order stays in its place.
    out_of_order : ndarray of bool, shape (n,)
        Along the strip as given.
    """
    depths = np.asarray(depths, dtype=float)
    falling = _disorder(depths) <= _disorder(depths[::-1])
    order = np.arange(len(depths)) if falling else np.arange(len(depths))[::-1]
    out_of_order = np.zeros(len(depths), dtype=bool)
    if _disorder(depths[order]) > _DISORDER_LOG:
        without = np.array([_disorder(np.delete(depths[order], k)) for k in range(len(depths))])
        out_of_order[order] = without <= max(_DISORDER_LOG, without.min())
    return order, out_of_order


def _disorder(depths):
    """How far depths stand off the nearest falling row, in all."""
    from scipy.optimize import isotonic_regression

    return float(np.abs(depths - isotonic_regression(depths, increasing=False).x).sum())

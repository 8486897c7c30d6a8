"""A stepped coupon in a photo: one strip drawn out of the dye in steps, cut into its bands."""

import numpy as np

from dyebook.errors import PhotoError
from dyebook.lab import linear_rgb_to_lab
from dyebook.photo.part import Part
from dyebook.photo.strip import Strip, profile_of, whole_strip

__all__ = ["MOST_STEPS", "band_parts", "order_bands", "split_profile"]

MOST_STEPS = 20
# shading changes lightness along a strip more than it changes the two chroma axes
_LAB_WEIGHTS = np.array([0.7, 1.0, 1.0])
# cost of a band half as long again as the others, in squared CIELAB units over one band's length: where no step of
# colour is seen the bands come out equal, and a step of two units outweighs any likely length
_LENGTH_COST = 1.0
# shortest band, as a share of an equal one
_SHORTEST = 0.25
# a border is seen when the colours beside it differ by this, and by so many times their scatter along the strip
_SEEN_DELTA, _SEEN_TIMES = 1.0, 2.5
# share of the strip at each end that tells nothing
_RIM = 0.02
# left out at each end of a band: the line of the liquid is neither sharp nor straight
_MARGIN = 0.15
_FEWEST_PX = 8
# depths, log light summed over three channels, may break the order by so much: shading does
_ODD_LOG = 0.2


def band_parts(photo, light, parts, count):
    """Return the bands of a stepped coupon as parts, from the longest dwell on.

    Parameters
    ----------
    photo : LinearPhoto
    light : Light
    parts : sequence of Part
        What was found or drawn; the strip is all of them that lie in one line with the longest.
    count : int
        How many bands, 2 to 20.

    Returns
    -------
    list of Part
        Empty where there are no parts. Flagged ``steps_unseen`` where a band's border is a guess at equal lengths,
        ``step_odd`` where the band breaks the order from deep to pale.

    Raises
    ------
    PhotoError
        If the bands would be too short to be read.
    ValueError
        If `count` is no whole number from 2 to 20.
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
    order, odd = order_bands(depths)
    ends = np.concatenate([[0.0], borders, [len(profile)]]) / len(profile) * strip.length
    sure = np.concatenate([[True], seen, [True]])
    unseen = ~(sure[:-1] & sure[1:])
    return [
        Part(
            _inner_part(strip, outline, ends[place], ends[place + 1]),
            flags=(*flags, *_doubts(unseen[place], odd[place])),
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


def _doubts(unseen, odd):
    return ("steps_unseen",) * bool(unseen) + ("step_odd",) * bool(odd)


def split_profile(lab, count):
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
    cost = scatter / usual + _LENGTH_COST * ((length / usual - 1) / 0.5) ** 2
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


def order_bands(depths):
    """Return the bands in the order of their dwells, and which of them break the order of their depths.

    Parameters
    ----------
    depths : ndarray, shape (n,)
        Along the strip.

    Returns
    -------
    order : ndarray of int, shape (n,)
        Along the strip from the end that is deeper on the whole; a single odd band stays in its place.
    odd : ndarray of bool, shape (n,)
        Along the strip as given.
    """
    depths = np.asarray(depths, dtype=float)
    falling = _disorder(depths) <= _disorder(depths[::-1])
    order = np.arange(len(depths)) if falling else np.arange(len(depths))[::-1]
    odd = np.zeros(len(depths), dtype=bool)
    if _disorder(depths[order]) > _ODD_LOG:
        without = np.array([_disorder(np.delete(depths[order], k)) for k in range(len(depths))])
        odd[order] = without <= max(_ODD_LOG, without.min())
    return order, odd


def _disorder(depths):
    """How far depths stand off the nearest falling row, in all."""
    from scipy.optimize import isotonic_regression

    return float(np.abs(depths - isotonic_regression(depths, increasing=False).x).sum())

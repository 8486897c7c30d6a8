"""The sides of a patch, to a fraction of a pixel: where tone steps, looking outwards from inside."""

from dataclasses import dataclass

import cv2
import numpy as np

__all__ = ["AHEAD", "Sides", "bright_end", "cross_lines", "even_tones", "refine_sides", "robust_lines", "tones_at"]

# the corner that follows each, and the one before: indexing is ten times as fast as np.roll
AHEAD, _BEHIND = np.array([1, 2, 3, 0]), np.array([3, 0, 1, 2])
# part of a side that is looked at: near the corners the neighbouring side disturbs
_ALONG = (0.06, 0.94)
_FITS_PX = 1.2
# a camera's sharpening raises the bright side of an edge by up to this share of the step
_HALO = 0.15
_BEYOND = 1e3


@dataclass(frozen=True)
class Sides:
    """The four sides of a patch as its edges show them.

    Attributes
    ----------
    quad : ndarray of shape (4, 2)
        Corners where the sides' lines cross, in the order of the rough quad.
    support : ndarray of shape (4,)
        Share of each side along which the edge lies on its line.
    step : ndarray of shape (4, 3)
        Mean step of tone across each side, outside minus inside.
    scatter_px : ndarray of shape (4,)
        Robust spread of the edge about its line.
    ridge : ndarray of shape (4,)
        Median tone of a bright line along each side, above both what lies inside and outside of it.
    """

    quad: np.ndarray
    support: np.ndarray
    step: np.ndarray
    scatter_px: np.ndarray
    ridge: np.ndarray


def refine_sides(light_at, quads, reach, count=40):
    """Return the sides of patches fitted to the edges of a picture.

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

    Returns
    -------
    list of Sides or None
        One a quad; None where the sides do not close to a quadrilateral.
    """
    quads = np.asarray(quads, dtype=float).reshape(-1, 4, 2)
    if not len(quads):
        return []
    here, ahead = quads.reshape(-1, 2), (quads[:, AHEAD] - quads).reshape(-1, 2)
    along = ahead / np.maximum(np.linalg.norm(ahead, axis=1), 1e-6)[:, None]
    normals = np.stack([along[:, 1], -along[:, 0]], axis=1)
    places = here[:, None] + np.linspace(*_ALONG, count)[:, None] * ahead[:, None]
    offsets = np.arange(-reach - 3, reach + 3.01, 0.5)
    spots = places[:, :, None] + offsets[:, None] * normals[:, None, None]
    profiles = light_at(spots.reshape(-1, len(offsets), 2)).reshape(*spots.shape[:-1], -1)
    edge, found, steps, ridges = _edges(profiles, offsets, reach)
    points = places + edge[..., None] * normals[:, None]
    sides = (slice(i, i + 4) for i in range(0, len(points), 4))
    lines = robust_lines(points, np.where(found.sum(axis=1, keepdims=True) >= 6, found, True))
    return [_closed(*(x[four] for x in (points, *lines, found, steps, ridges))) for four in sides]


def tones_at(pixels, bright):
    """Return a function that gives the tones of a picture in linear light at fractional places.

    `bright` is its `bright_end`. Past the frame lies a tone that no photo has: a card cut off by the frame has a side
    there.
    """

    def sampled(places):
        flat = (places - 0.5).astype(np.float32)
        light = cv2.remap(pixels, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR, borderValue=(_BEYOND,) * 3)
        return even_tones(light, bright)

    return sampled


def bright_end(pixels):
    """Return the bright end of each channel (3,) of linear light (h, w, 3)."""
    few = pixels[:: 1 + pixels.shape[0] // 150, :: 1 + pixels.shape[1] // 150].reshape(-1, 3)
    return np.maximum(np.percentile(np.ascontiguousarray(few.T), 99, axis=1), 1e-4)


def even_tones(pixels, bright=None):
    """Return the tones of linear light, in which noise and steps look much alike from dark to bright.

    Parameters
    ----------
    pixels : ndarray of float32, shape (h, w, 3)
        Linear light.
    bright : ndarray of shape (3,), optional
        The bright end of the picture that the light is of; its own if left out.

    Returns
    -------
    ndarray of float32, shape (h, w, 3)
        Cube root of light, each channel scaled by the bright end of the picture.
    """
    bright = bright_end(pixels) if bright is None else bright
    # OpenCV scales channels several times as fast as a broadcast over the short axis
    scaled = cv2.transform(np.ascontiguousarray(pixels), np.diag(1 / bright).astype(np.float32))
    return np.cbrt(np.clip(scaled, 0, 4, out=scaled), out=scaled)


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
    peak = (size >= 0.55 * top) & (top > 0)
    peak[:, :, 1:-1] &= (size[:, :, 1:-1] >= size[:, :, :-2]) & (size[:, :, 1:-1] >= size[:, :, 2:])
    first = peak.argmax(axis=2)
    first = np.clip(first, 3, len(offsets) - 4)
    rows = np.indices(first.shape)
    before, at, after = (size[rows[0], rows[1], first + d] for d in (-1, 0, 1))
    bend = before - 2 * at + after
    shift = np.where(bend < -1e-9, 0.5 * (before - after) / np.where(bend < -1e-9, bend, 1), 0)
    spacing = offsets[1] - offsets[0]
    noise = np.median(size[..., : max(3, len(offsets) // 4)], axis=(1, 2))[:, None]
    around = np.stack([smooth[rows[0], rows[1], first + d] for d in range(-3, 4)])
    steps = around[-1] - around[0]
    light = around.mean(axis=-1)
    ridges = light.max(axis=0) - np.maximum(light[0], light[-1]) - _HALO * np.abs(light[-1] - light[0])
    found = (at > 3 * noise) & (at > 0.004)
    return offsets[first] + np.clip(shift, -1, 1) * spacing, found, steps, ridges


def _closed(points, centres, along, found, steps, ridges):
    """Cross the lines of one patch's sides."""
    across = np.stack([along[:, 1], -along[:, 0]], axis=1)
    rest = np.abs(np.einsum("snk,sk->sn", points - centres[:, None], across))
    on_line = found & (rest < _FITS_PX)
    corners = cross_lines(centres, along)
    if corners is None:
        return None
    # the middle of those found: the rest sort behind
    wobble = np.sort(np.where(found, rest, np.inf), axis=1)[np.arange(4), found.sum(axis=1) // 2]
    step = (steps * on_line[..., None]).sum(axis=1) / np.maximum(on_line.sum(axis=1), 1)[:, None]
    return Sides(corners, on_line.mean(axis=1), step, 1.48 * wobble, np.sort(ridges, axis=1)[:, ridges.shape[1] // 2])


def cross_lines(centres, along):
    """Return the corners (4, 2) where each side's line meets the one before it; None where two run nearly parallel."""
    p, u, r, v = centres[_BEHIND], along[_BEHIND], centres, along
    sine = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    if np.abs(sine).min() < 0.3:
        return None
    way = ((r - p)[:, 0] * v[:, 1] - (r - p)[:, 1] * v[:, 0]) / sine
    return p + way[:, None] * u


def robust_lines(points, weight):
    """Return centres and directions (4, 2) of the lines that most points (4, n, 2) of each side lie on."""
    given = weight.astype(float)
    weight = given
    for scale in (3.0, 1.2, 0.8, None):
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

"""Means over the pixels of many places, their rings and their rims at once."""

from dataclasses import dataclass

import cv2
import numpy as np

__all__ = ["Gathered", "gather"]

_COLUMNS = ("x", "y", "xx", "yy", "xy", "height", "lean", "square", "grain")
_FEWEST_AROUND = 8
_ENOUGH = 3000
_PAIRS = ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))
_BESIDE = np.ones((3, 3), np.uint8)


@dataclass(frozen=True)
class Gathered:
    """What the pixels of N places say.

    Attributes
    ----------
    count, step, top, open_rim, slope, slope_sd : ndarray of shape (N,)
        Pixels of the field inside; pixels of the view per pixel of the field; largest height; share of the rim that
        is the part's own; steepness of the height there, per window, and its spread.
    means : dict of ndarray
        Of x, y and their products in pixels of the view, height, lean, squared length of the rest of light, square
        of the fine texture; of the rest of light, and of log light itself (N, 3).
    ring_mean, ring_squares : ndarray of shape (N, 3), (N, 3, 3)
        Means of the rest of light, and of its products, in the ring around each place.
    ring_grain : ndarray of shape (N,)
        Mean square of the fine texture in the ring.
    few : ndarray of bool, shape (N,)
        Whether the ring is too short to say anything.
    usual_spread : ndarray of shape (N, 3, 3)
        Covariance of the whole field.
    """

    count: np.ndarray
    step: np.ndarray
    top: np.ndarray
    open_rim: np.ndarray
    slope: np.ndarray
    slope_sd: np.ndarray
    means: dict
    ring_mean: np.ndarray
    ring_squares: np.ndarray
    ring_grain: np.ndarray
    few: np.ndarray
    usual_spread: np.ndarray


def gather(found, view):
    """Return what the pixels of all regions say, in their order.

    Parameters
    ----------
    found : list of Regions
    view : PartView

    Returns
    -------
    Gathered
    """
    slopes, sizes, inside, ring, rim, start = {}, [], [], [], [], 0
    grain = _grain(view)
    for regions in found:
        field = regions.field
        if id(field) not in slopes:
            slopes[id(field)] = _slope(field)
        size, *zones = _zones(regions)
        sizes.append(size)
        inside.append(_inside(regions, view, grain, zones[0], start))
        ring.append(_ring(regions, grain, *zones[1], start))
        rim.append(_rim(regions, slopes[id(field)], *zones[2], start))
        start += regions.count
    return _summed(found, np.concatenate(sizes), *(_joined(pieces) for pieces in (inside, ring, rim)))


def _joined(pieces):
    """Labels (N,) and table (C, N) of many pieces as one."""
    labels, tables = zip(*pieces, strict=True)
    return np.concatenate(labels), np.concatenate(tables, axis=1)


def _summed(found, sizes, inside, ring, rim):
    total, (label, table) = len(sizes), inside
    means = _means(label, table, total, np.bincount(label, minlength=total))
    top = np.zeros(total)
    np.maximum.at(top, label, table[_COLUMNS.index("height")])
    around = np.bincount(ring[0], minlength=total)
    squares = np.stack([ring[1][i] * ring[1][j] for i, j in _PAIRS])
    ring_means = _means(ring[0], ring[1], total, around)
    packed = _means(ring[0], squares, total, around)
    full = np.empty((total, 3, 3))
    for k, (i, j) in enumerate(_PAIRS):
        full[:, i, j] = full[:, j, i] = packed[:, k]
    closed = rim[1][0] > 0
    steep = _means(rim[0][closed], rim[1][1:, closed], total, np.bincount(rim[0][closed], minlength=total))
    repeats = [regions.count for regions in found]
    return Gathered(
        count=sizes,
        step=np.repeat([float(regions.field.step) for regions in found], repeats),
        top=top,
        open_rim=1 - _means(rim[0], rim[1][:1], total, np.bincount(rim[0], minlength=total))[:, 0],
        slope=steep[:, 0],
        slope_sd=np.sqrt(np.maximum(steep[:, 1] - steep[:, 0] ** 2, 0)),
        means={**dict(zip(_COLUMNS, means.T, strict=False)), "rest": means[:, -6:-3], "light": means[:, -3:]},
        ring_mean=ring_means[:, :3],
        ring_grain=ring_means[:, 3],
        ring_squares=full,
        few=around < _FEWEST_AROUND,
        usual_spread=np.repeat(np.array([regions.field.covariance for regions in found]), repeats, axis=0),
    )


def _means(label, table, total, count):
    """Means (total, C) of a table (C, N) by label."""
    sums = [np.bincount(label, row, total) for row in table]
    return np.stack(sums, axis=1) / np.maximum(count, 1)[:, None]


def _slope(field):
    """How steeply the height of a field falls, per window."""
    fall = cv2.GaussianBlur(np.abs(field.height), (0, 0), 0.8)
    across, down = cv2.Sobel(fall, cv2.CV_32F, 1, 0, scale=0.125), cv2.Sobel(fall, cv2.CV_32F, 0, 1, scale=0.125)
    return cv2.magnitude(across, down) * np.float32(field.sigma / field.step)


def _zones(regions):
    """Pixels of each label; indices of labelled pixels; of those around and their labels; of the rim, likewise."""
    field, labels = regions.field, regions.labels
    window = field.sigma / field.step
    gap = max(1, round(0.8 * window))
    pad = gap + max(2, round(2.2 * window))
    beside = cv2.dilate(labels, _BESIDE)
    near = cv2.dilate(labels, np.ones((2 * gap + 1,) * 2, np.uint8))
    far = cv2.dilate(labels, np.ones((2 * pad + 1,) * 2, np.uint8))
    ring = _some(np.flatnonzero((far > 0) & (near == 0) & field.inner))
    rim = np.flatnonzero(beside != labels)
    rim = rim[labels.ravel()[rim] == 0]
    inside = np.flatnonzero(labels)
    size = np.bincount(labels.ravel()[inside], minlength=regions.count + 1)[1:]
    return size, _some(inside), (ring, far.ravel()[ring]), (rim, beside.ravel()[rim])


def _some(where):
    """At most a few thousand of the pixels: means do not need more."""
    return where[:: 1 + len(where) // _ENOUGH]


def _grain(view):
    """Square of what a pixel's log brightness differs by from its neighbours': texture, which dye leaves as it is."""
    bright = cv2.transform(view.log_light, np.full((1, 3), 1 / 3))
    return (bright - cv2.GaussianBlur(bright, (0, 0), 1.0)) ** 2


def _in_view(where, regions, width):
    """Indices of a field's pixels in the view."""
    step = regions.field.step
    if step == 1:
        return where
    y, x = np.divmod(where, regions.labels.shape[1])
    return y * step * width + x * step


def _inside(regions, view, grain, where, start):
    field, step = regions.field, regions.field.step
    y, x = np.divmod(where, regions.labels.shape[1])
    x, y = x * np.float32(step), y * np.float32(step)
    there = _in_view(where, regions, view.mask.shape[1])
    height, lean = np.abs(field.height.ravel()[where]), view.lean.ravel()[there]
    rest, light = (
        np.take(values.reshape(-1, 3), at, axis=0) for values, at in ((field.rest, where), (view.log_light, there))
    )
    square = np.einsum("ij,ij->i", rest, rest)
    # double numbers in rows: sums by label take no others
    table = np.empty((len(_COLUMNS) + 6, len(where)))
    for row, values in zip(
        table, (x, y, x * x, y * y, x * y, height, lean, square, grain.ravel()[there]), strict=False
    ):
        row[:] = values
    table[-6:-3], table[-3:] = rest.T, light.T
    return regions.labels.ravel()[where].astype(int) + (start - 1), table


def _ring(regions, grain, where, label, start):
    table = np.empty((4, len(where)))
    table[:3] = np.take(regions.field.rest.reshape(-1, 3), where, axis=0).T
    table[3] = grain.ravel()[_in_view(where, regions, grain.shape[1])]
    return label.astype(int) + (start - 1), table


def _rim(regions, slope, where, label, start):
    steep = slope.ravel()[where]
    table = np.stack([regions.field.inner.ravel()[where], steep, steep**2]).astype(float)
    return label.astype(int) + (start - 1), table

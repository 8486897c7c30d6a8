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
    slopes, inside, ring, rim, start = {}, [], [], [], 0
    grain = _grain(view)
    for regions in found:
        field = regions.field
        if id(field) not in slopes:
            slopes[id(field)] = _slope(field)
        zones = _zones(regions)
        inside.append(_inside(regions, view, grain, zones[0], start))
        ring.append(_ring(regions, grain, *zones[1], start))
        rim.append(_rim(regions, slopes[id(field)], *zones[2], start))
        start += regions.count
    return _summed(found, start, *(tuple(map(np.concatenate, zip(*part, strict=True))) for part in (inside, ring, rim)))


def _summed(found, total, inside, ring, rim):
    label, table = inside
    means = _means(label, table, total, np.bincount(label, minlength=total))
    top = np.zeros(total, np.float32)
    np.maximum.at(top, label, table[:, _COLUMNS.index("height")])
    around = np.bincount(ring[0], minlength=total)
    squares = np.stack([ring[1][:, i] * ring[1][:, j] for i, j in _PAIRS], axis=1)
    ring_means = _means(ring[0], ring[1], total, around)
    packed = _means(ring[0], squares, total, around)
    full = np.empty((total, 3, 3))
    for k, (i, j) in enumerate(_PAIRS):
        full[:, i, j] = full[:, j, i] = packed[:, k]
    closed = rim[1][:, 0] > 0
    steep = _means(rim[0][closed], rim[1][closed, 1:], total, np.bincount(rim[0][closed], minlength=total))
    repeats = [regions.count for regions in found]
    return Gathered(
        count=np.concatenate([np.bincount(r.labels.ravel(), minlength=r.count + 1)[1:] for r in found]),
        step=np.repeat([float(regions.field.step) for regions in found], repeats),
        top=top,
        open_rim=1 - _means(rim[0], rim[1][:, :1], total, np.bincount(rim[0], minlength=total))[:, 0],
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
    """Means (total, C) of a table (N, C) by label."""
    sums = [np.bincount(label, column, total) for column in table.T]
    return np.stack(sums, axis=1) / np.maximum(count, 1)[:, None]


def _slope(field):
    """How steeply the height of a field falls, per window."""
    fall = cv2.GaussianBlur(np.abs(field.height), (0, 0), 0.8)
    across, down = cv2.Sobel(fall, cv2.CV_32F, 1, 0, scale=0.125), cv2.Sobel(fall, cv2.CV_32F, 0, 1, scale=0.125)
    return cv2.magnitude(across, down) * np.float32(field.sigma / field.step)


def _zones(regions):
    """Indices of labelled pixels; of pixels around with the label they belong to; of the rim, likewise."""
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
    return _some(np.flatnonzero(labels)), (ring, far.ravel()[ring]), (rim, beside.ravel()[rim])


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
    rest, light = field.rest.reshape(-1, 3)[where], view.log_light.reshape(-1, 3)[there]
    square = (rest**2).sum(axis=1)
    columns = [x, y, x * x, y * y, x * y, height, lean, square, grain.ravel()[there]]
    table = np.concatenate([np.stack(columns, axis=1), rest, light], axis=1)
    return regions.labels.ravel()[where].astype(int) + (start - 1), table


def _ring(regions, grain, where, label, start):
    fine = grain.ravel()[_in_view(where, regions, grain.shape[1])][:, None]
    return label.astype(int) + (start - 1), np.concatenate([regions.field.rest.reshape(-1, 3)[where], fine], axis=1)


def _rim(regions, slope, where, label, start):
    steep = slope.ravel()[where]
    table = np.stack([regions.field.inner.ravel()[where], steep, steep**2], axis=1)
    return label.astype(int) + (start - 1), table

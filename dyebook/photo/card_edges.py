"""The sides of a patch, to a fraction of a pixel: where tone steps, looking outwards from inside."""

from dataclasses import dataclass

import cv2
import numpy as np

__all__ = ["Sides", "refine_sides"]

# part of a side that is looked at: near the corners the neighbouring side disturbs
_ALONG = (0.06, 0.94)
_FITS_PX = 1.2


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
        Median step of tone across each side, outside minus inside.
    scatter_px : ndarray of shape (4,)
        Robust spread of the edge about its line.
    """

    quad: np.ndarray
    support: np.ndarray
    step: np.ndarray
    scatter_px: np.ndarray


def refine_sides(tones, quad, reach, count=40):
    """Return the sides of a patch fitted to the edges of an image.

    Parameters
    ----------
    tones : ndarray of float32, shape (h, w, 3)
        Tones at about even noise.
    quad : ndarray of shape (4, 2)
        Rough corners, clockwise.
    reach : float
        How far from the rough side the edge may lie, in pixels.
    count : int
        Places looked at on each side.

    Returns
    -------
    Sides or None
        None where the sides do not close to a quadrilateral.
    """
    at = np.linspace(*_ALONG, count)
    places, normals = [], []
    for here, there in zip(quad, np.roll(quad, -1, axis=0), strict=True):
        along = (there - here) / max(np.linalg.norm(there - here), 1e-6)
        places.append(here + at[:, None] * (there - here))
        normals.append((along[1], -along[0]))
    normals = np.array(normals)
    offsets = np.arange(-reach - 3, reach + 3.01, 0.5)
    spots = np.array(places)[:, :, None] + offsets[None, None, :, None] * normals[:, None, None]
    profiles = _sampled(tones, spots)
    edge, found, steps = _edges(profiles, offsets, reach)
    return _lines(quad, np.array(places) + edge[..., None] * normals[:, None], normals, found, steps)


def _sampled(tones, spots):
    """Tones at fractional places (..., 2), pixel centres at +0.5."""
    flat = spots.reshape(4, -1, 2).astype(np.float32) - 0.5
    values = cv2.remap(tones, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return values.reshape(*spots.shape[:-1], tones.shape[2])


def _edges(profiles, offsets, reach):
    """Offset of the first strong step outwards on every profile, whether there is one, and the step itself."""
    # a profile shares its edge with its neighbours: averaging them beats the noise
    kernel = np.array([0.25, 0.5, 0.25])
    padded = np.concatenate([profiles[:, :1], profiles, profiles[:, -1:]], axis=1)
    smooth = sum(k * padded[:, i : i + profiles.shape[1]] for i, k in enumerate(kernel))
    slope = np.zeros_like(smooth)
    slope[:, :, 2:-2] = (smooth[:, :, 4:] - smooth[:, :, :-4]) / 2
    size = np.linalg.norm(slope, axis=-1)
    size[..., np.abs(offsets) > reach] = 0
    top = size.max(axis=2, keepdims=True)
    peak = (size >= np.roll(size, 1, axis=2)) & (size >= np.roll(size, -1, axis=2)) & (size >= 0.55 * top) & (top > 0)
    first = peak.argmax(axis=2)
    first = np.clip(first, 3, len(offsets) - 4)
    rows = np.indices(first.shape)
    before, at, after = (size[rows[0], rows[1], first + d] for d in (-1, 0, 1))
    bend = before - 2 * at + after
    shift = np.where(bend < -1e-9, 0.5 * (before - after) / np.where(bend < -1e-9, bend, 1), 0)
    spacing = offsets[1] - offsets[0]
    noise = np.median(size[..., : max(3, len(offsets) // 4)], axis=(1, 2))[:, None]
    steps = smooth[rows[0], rows[1], first + 3] - smooth[rows[0], rows[1], first - 3]
    found = (at > 3 * noise) & (at > 0.004)
    return offsets[first] + np.clip(shift, -1, 1) * spacing, found, steps


def _lines(quad, points, normals, found, steps):
    """Fit a line to each side's edge points and cross them."""
    lines, support, scatter, step = [], [], [], []
    for i in range(4):
        chosen = points[i][found[i]] if found[i].sum() >= 6 else points[i]
        centre, along = _robust_line(chosen)
        rest = np.abs((points[i] - centre) @ np.array([along[1], -along[0]]))
        on_line = found[i] & (rest < _FITS_PX)
        lines.append((centre, along))
        support.append(on_line.mean())
        scatter.append(1.48 * np.median(rest[found[i]]) if found[i].any() else np.inf)
        step.append(np.median(steps[i][on_line], axis=0) if on_line.any() else np.zeros(steps.shape[-1]))
    corners = []
    for i in range(4):
        (p, u), (r, v) = lines[i - 1], lines[i]
        matrix = np.column_stack([u, -v])
        if abs(np.linalg.det(matrix)) < 0.2:
            return None
        corners.append(p + np.linalg.solve(matrix, r - p)[0] * u)
    return Sides(np.array(corners), np.array(support), np.array(step), np.array(scatter))


def _robust_line(points):
    """Centre and direction of the line most points lie on."""
    weight = np.ones(len(points))
    for scale in (None, 3.0, 1.5, 0.8, 0.8):
        if scale is not None:
            rest = (points - centre) @ np.array([along[1], -along[0]])  # noqa: F821
            weight = 1 / (1 + (rest / scale) ** 2) ** 2
        centre = np.average(points, axis=0, weights=weight)
        offset = points - centre
        values, vectors = np.linalg.eigh((offset * weight[:, None]).T @ offset)
        along = vectors[:, np.argmax(values)]
    return centre, along

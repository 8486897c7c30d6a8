"""Places on a part that stand out from its own texture: candidates for spots, streaks, pale zones and pits."""

from dataclasses import dataclass

import cv2
import numpy as np

from dyebook.photo.flaw_shading import smooth_inside
from dyebook.photo.flaw_view import DARK

__all__ = ["Field", "Place", "depth_direction", "fields_of", "strongest_places"]

# windows as pixels of the view; the widest must fit several times into the part
_SIGMAS = (1.3, 2.6, 5.2, 10.4)
_WIDEST_SHARE = 0.2
_LEVELS = (3.0, 5.0, 9.0)
_KEPT = 4
_MOST = 36
_SMALLEST = 6
_COVERAGE = 0.35
# light of bare metal under a film without dye
_METAL = 0.85
_SAMPLES = 3000


@dataclass(frozen=True)
class Field:
    """One smoothed view of the rest, in units of its own spread.

    Attributes
    ----------
    sigma : float
        Window in pixels.
    rest : ndarray of shape (H, W, 3)
    height : ndarray of shape (H, W)
        Signed, in standard deviations: along the direction of more or less dye, or (`plain`) in any direction.
    plain : bool
    inverse : ndarray of shape (3, 3)
        Inverse covariance of the rest.
    """

    sigma: float
    rest: np.ndarray
    height: np.ndarray
    plain: bool
    inverse: np.ndarray


@dataclass(frozen=True)
class Place:
    """A connected region that stands out in a field: its corner (x, y) in the view, and its pixels."""

    field: Field
    level: float
    corner: tuple
    pixels: np.ndarray
    rivals: int


def depth_direction(film):
    """Return the unit vector in log light along which a film grows paler.

    Parameters
    ----------
    film : ndarray of shape (3,)
        Linear light of the film.
    """
    film = np.clip(film, 0.002, _METAL - 0.03)
    paler = np.log(_METAL / film) * film / (film + DARK)
    return paler / np.linalg.norm(paler)


def fields_of(rest, inner, film):
    """Return the fields of a part in which to look for places that stand out."""
    narrow = 4 * inner.sum() / max(1, _rim_length(inner))
    paler = depth_direction(film)
    out = []
    for sigma in _SIGMAS:
        if sigma > max(_SIGMAS[0], _WIDEST_SHARE * narrow):
            break
        smooth = smooth_inside(rest, inner, sigma)
        where = inner & (cv2.GaussianBlur(inner.astype(np.float32), (0, 0), sigma) > _COVERAGE)
        if where.sum() < 60:
            break
        inverse = np.linalg.inv(_robust_covariance(smooth[where]))
        matched = (inverse @ paler) / np.sqrt(paler @ inverse @ paler)
        out.append(Field(sigma, smooth, np.where(where, smooth @ matched, 0), False, inverse))
        if sigma < 4:
            length = np.sqrt(np.maximum(np.einsum("hwi,ij,hwj->hw", smooth, inverse, smooth), 0))
            out.append(Field(sigma, smooth, np.where(where, np.copysign(length, smooth.sum(axis=2)), 0), True, inverse))
    return out


def strongest_places(fields, inner):
    """Return the places of all fields that stand out most from their field, at most a few dozen."""
    ranked = []
    for field in fields:
        common = max(float(np.quantile(np.abs(field.height[inner][::7]), 0.97)), 0.5)
        for place in _places_in(field):
            (x, y), (h, w) = place.corner, place.pixels.shape
            height = np.abs(field.height[y : y + h, x : x + w][place.pixels].mean())
            ranked.append((height / common * place.pixels.sum() ** 0.25, len(ranked), place))
    ranked.sort(reverse=True)
    return [place for _, _, place in ranked[:_MOST]]


def _places_in(field):
    """Return the strongest connected regions of a field above several levels, paler and deeper apart."""
    out = []
    for level in _LEVELS:
        for sign in (1, -1):
            above = (sign * field.height > level).astype(np.uint8)
            count, labels, stats, _ = cv2.connectedComponentsWithStats(above, connectivity=8)
            if count < 2:
                continue
            area = stats[1:, cv2.CC_STAT_AREA]
            strong = np.flatnonzero(area >= _SMALLEST)
            order = strong[np.argsort(-area[strong])][: 2 * _KEPT if field.sigma < 4 else _KEPT]
            for k in order + 1:
                x, y, w, h = stats[k, :4]
                pixels = labels[y : y + h, x : x + w] == k
                out.append(Place(field, level, (int(x), int(y)), pixels, len(strong)))
    return out


def _rim_length(inner):
    lines, _ = cv2.findContours(inner.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return sum(len(line) for line in lines)


def _robust_covariance(values):
    """Covariance (3, 3) with the weights of Cauchy, so that what stands out widens it little."""
    some = values[:: max(1, len(values) // _SAMPLES)].astype(float)
    weights = np.ones(len(some))
    tiny = 1e-5 * np.eye(3)
    for _ in range(4):
        covariance = (some * weights[:, None]).T @ some / weights.sum() + tiny
        away = np.einsum("ni,ij,nj->n", some, np.linalg.inv(covariance), some)
        away *= 2.366 / max(np.median(away), 1e-6)  # median of chi-square with three degrees of freedom
        weights = 1 / (1 + away / 6)
    covariance = (some * weights[:, None]).T @ some / weights.sum() + tiny
    away = np.einsum("ni,ij,nj->n", some, np.linalg.inv(covariance), some)
    return covariance * max(np.median(away), 1e-6) / 2.366

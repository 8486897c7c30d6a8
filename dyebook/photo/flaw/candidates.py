"""Places on a part that stand out from its own texture: candidates for spots, streaks, pale zones and pits.

What is left of a part's light without its shading is smoothed at four widths. At each width it is measured against its
own spread twice: along the direction in which the dye changes, and in any direction. Connected regions beyond three
levels are the candidates.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from dyebook.photo.flaw.view import CHROMA, DARK

__all__ = ["BARE_METAL", "Field", "Regions", "depth_direction", "fields_of", "regions_of", "smooth_inside"]

# window of the finest field in pixels of the view; each coarser one is twice as wide
_SIGMA, _COARSER = 1.3, 1.25
_FIELDS = 4
_WIDEST_SHARE = 0.2
_COVERAGE = 0.35
# below this, squared, the dye hardly moves the hue: brightness separates paler from deeper
_LEAST_HUE = 0.02
_LEVELS = (2.5, 4.5, 8.0)
# strongest regions kept of each sign and level
_KEPT_FINE, _KEPT = 8, 4
_SMALLEST = 5
# light of bare metal under a film without dye, and the range in which a film is held below it
BARE_METAL, _DARKEST_FILM, _BELOW_METAL = 0.85, 0.002, 0.03
# pixels that give a field's spread, and the fewest that do
_SAMPLES, _FEWEST = 800, 30
# ridge of a covariance, and squared distance, in medians, at which a pixel's weight is halved
_RIDGE, _HALF_WEIGHT = 1e-5, 6
_MEDIAN_CHI2_3 = 2.366  # median of chi-square with three degrees of freedom


@dataclass(frozen=True)
class Field:
    """One smoothed view of the rest, in units of its own spread."""

    sigma: float  # window in pixels of the view
    step: int  # pixels of the view per pixel of the field
    rest: np.ndarray  # (h, w, 3)
    # (h, w): signed, in standard deviations: along the direction of more or less dye, or (`plain`) in any direction
    height: np.ndarray
    inner: np.ndarray  # bool (h, w)
    plain: bool
    covariance: np.ndarray  # (3, 3): of the rest, flaws counting little


@dataclass(frozen=True)
class Regions:
    """Connected regions of a field above one level, paler and deeper ones, numbered from 1."""

    field: Field
    level: float
    labels: np.ndarray  # uint8 (h, w)
    count: int
    rivals: int  # how many there were before the strongest were chosen


def depth_direction(film: np.ndarray) -> np.ndarray:
    """Return the unit vector in log light along which a film grows paler.

    `film` (3,): linear light of the film.
    """
    film = np.clip(film, _DARKEST_FILM, BARE_METAL - _BELOW_METAL)
    paler = np.log(BARE_METAL / film) * film / (film + DARK)
    return paler / np.linalg.norm(paler)


def smooth_inside(values: np.ndarray, inner: np.ndarray, sigma: float) -> np.ndarray:
    """Return values (H, W, 3) averaged over inner pixels with a Gaussian window."""
    weight = cv2.GaussianBlur(inner.astype(np.float32), (0, 0), sigma)
    total = cv2.GaussianBlur(np.where(inner[..., None], values, 0), (0, 0), sigma)
    return total / np.maximum(weight, 1e-3)[..., None]


def fields_of(rest: np.ndarray, inner: np.ndarray, film: np.ndarray) -> list[Field]:
    """Return the fields of a part in which to look for places that stand out."""
    narrow = 4 * inner.sum() / max(1, _rim_length(inner))
    paler = depth_direction(film)
    weight = inner.astype(np.float32)
    total = rest * weight[..., None]
    out, window, sigma, step = [], _SIGMA, _SIGMA, 1
    for k in range(_FIELDS):
        if k:
            total, weight = _halved(total), _halved(weight)
            window, sigma, step = _COARSER, sigma * 2, step * 2
        if sigma > max(_SIGMA, _WIDEST_SHARE * narrow) or min(weight.shape) < 4:
            break
        share = cv2.GaussianBlur(weight, (0, 0), window)
        smooth = cv2.GaussianBlur(total, (0, 0), window) / np.maximum(share, 1e-3)[..., None]
        out += _pair(smooth, share > _COVERAGE, sigma, step, paler, inner.shape)
    return out


def _halved(values):
    """Averages of blocks of 2 × 2, the last row and column doubled where their number is odd."""
    height, width = values.shape[:2]
    padded = cv2.copyMakeBorder(values, 0, height % 2, 0, width % 2, cv2.BORDER_REPLICATE)
    return cv2.resize(padded, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)


def _pair(smooth, where, sigma, step, paler, shape):
    """The field along the direction of dye, and the one in any direction."""
    seen = np.flatnonzero(where)
    if len(seen) < _FEWEST:
        return []
    seen = seen[:: max(1, len(seen) // _SAMPLES)]
    covariance = _robust_covariance(np.take(smooth.reshape(-1, 3), seen, axis=0).astype(float))
    if step > 2:  # outlines need finer pixels than the values themselves
        size = (-(-shape[1] // 2), -(-shape[0] // 2))
        smooth = _enlarged(smooth, size, step // 2)
        where = _enlarged(where.astype(np.float32), size, step // 2) > 0.5
        step = 2
    inverse = np.linalg.inv(covariance)
    matched = (inverse @ paler) / np.sqrt(paler @ inverse @ paler)
    along = np.where(where, cv2.transform(smooth, matched[None]), 0)
    white = cv2.transform(smooth, np.ascontiguousarray(np.linalg.cholesky(inverse).T))
    length = np.sqrt(cv2.transform(white * white, np.ones((1, 3))))
    hue = CHROMA @ paler
    way = cv2.transform(smooth, (np.ones(3) if hue @ hue < _LEAST_HUE else CHROMA.T @ hue)[None])
    plain = np.where(where, np.copysign(length, way), 0).astype(np.float32)
    return [
        Field(sigma, step, smooth, along, where, False, covariance),
        Field(sigma, step, smooth, plain, where, True, covariance),
    ]


def _enlarged(values, size, times):
    """Values with each pixel made times × times, edges of a last half pixel cut off."""
    large = cv2.resize(values, None, fx=times, fy=times, interpolation=cv2.INTER_LINEAR)
    return np.ascontiguousarray(large[: size[1], : size[0]])


def regions_of(fields: list[Field]) -> list[Regions]:
    """Return the regions of all fields that stand out, as a list of `Regions`."""
    return [found for field in fields for level in _LEVELS if (found := _regions(field, level)) is not None]


def _regions(field, level):
    """The strongest connected regions of a field above a level, paler and deeper; None where there are none."""
    labels = np.zeros(field.height.shape, np.uint8)
    kept = _KEPT_FINE if field.step == 1 else _KEPT
    count = rivals = 0
    low, high, _, _ = cv2.minMaxLoc(field.height)
    sides = [side for side, seen in ((1, high > level), (-1, low < -level)) if seen]
    for above in (field.height > level if side > 0 else field.height < -level for side in sides):
        _, found, stats, _ = cv2.connectedComponentsWithStats(above.view(np.uint8), connectivity=8, ltype=cv2.CV_16U)
        area = stats[1:, cv2.CC_STAT_AREA]
        large = np.flatnonzero(area >= _SMALLEST)
        rivals += len(large)
        strongest = large[np.argsort(-area[large])][:kept]
        numbers = np.zeros(len(stats), np.uint8)
        numbers[strongest + 1] = np.arange(count + 1, count + 1 + len(strongest))
        labels |= np.take(numbers, found)
        count += len(strongest)
    return Regions(field, level, labels, count, rivals) if count else None


def _rim_length(inner):
    lines, _ = cv2.findContours(inner.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return sum(len(line) for line in lines)


def _robust_covariance(some):
    """Covariance (3, 3) with Cauchy's weights, so that what stands out widens it little."""
    weights = np.ones(len(some))
    ridge = _RIDGE * np.eye(3)
    rows = np.ascontiguousarray(some.T)
    for k in range(4):
        covariance = (rows * weights) @ some / weights.sum() + ridge
        away = np.einsum("ij,ij->j", np.linalg.inv(covariance) @ rows, rows)
        middle = max(float(np.median(away)), 1e-6) / _MEDIAN_CHI2_3
        if k < 3:
            weights = 1 / (1 + away / (_HALF_WEIGHT * middle))
    return covariance * middle

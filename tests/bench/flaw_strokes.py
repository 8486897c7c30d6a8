"""Flaws painted over the seen light of sound parts: shapes of neither world, as further examples to learn from.

Sizes, softness and shares are the bench's own guesses at what a shop sees; no source. What shows is another depth of
the same film by Beer-Lambert, at times soiled or of another hue; mirror light keeps a share of what is seen, and the
change is blurred as a camera and a JPEG's chroma would.
"""

from dataclasses import replace

import cv2
import numpy as np

from dyebook.lab import delta_e_00, linear_rgb_to_lab
from tests.render.patterns import FLAWS as KINDS

__all__ = ["painted"]

_METAL = 0.85
_FAINTEST_DELTA_E, _LEAST_SEEN, _TRIES = 1.5, 8, 6


def rise(height):
    """0 below -0.5, 1 above 0.5, without a corner in between."""
    t = np.clip(height + 0.5, 0, 1)
    return t * t * (3 - 2 * t)


def painted(rng, seen):
    """Return a sound part as seen with one flaw painted over it, or None where none would show.

    Parameters
    ----------
    rng : numpy.random.Generator
    seen : Seen

    Returns
    -------
    Seen or None
    """
    view = seen.view
    for _ in range(_TRIES):
        kind = str(rng.choice(KINDS))
        film, other = _films(rng, kind, np.asarray(seen.film, float))
        if delta_e_00(linear_rgb_to_lab(film), linear_rgb_to_lab(other)) < _FAINTEST_DELTA_E:
            continue
        cover = (_SHAPES[kind](rng, _Sheet(rng, view.mask)) * view.mask).astype(np.float32)
        inside = (cover >= 0.5) & view.mask
        if inside.sum() < _LEAST_SEEN:
            continue
        change = _blurred(rng, cover, _change(rng, film, other))
        whole = kind in ("gradient", "two_tone")
        shift = np.median(change[view.inner], axis=0) if whole else 0.0
        light = (view.log_light + change).astype(np.float32)
        return replace(
            seen, view=replace(view, log_light=light), film=seen.film * np.exp(shift), flaws=((kind, inside),)
        )
    return None


def _films(rng, kind, film):
    """Light of the film, and of what shows where it is flawed."""
    film = np.clip(film, 0.002, _METAL - 0.02)
    if kind == "pit":
        hole = rng.random() < 0.6
        return film, film * rng.uniform(0.03, 0.3) if hole else film + rng.uniform(0.4, 1) * (0.8 * _METAL - film)
    paler = kind == "pale_zone" or rng.random() < 0.55
    step = rng.uniform(0.15, 1.0)
    other = _METAL * (film / _METAL) ** np.exp(-step if paler else 0.8 * step)
    odd = rng.random()
    if odd < 0.15:
        other = other * np.exp(-rng.uniform(0.05, 0.4))
    elif odd < 0.28:
        other = _METAL * (other / _METAL) ** rng.uniform(0.8, 1.25, 3)
    return film, other


def _change(rng, film, other):
    """Change of log light where the flaw covers the film; mirror light above both takes no part."""
    body = rng.uniform(0.5, 1.0)
    return np.log(np.maximum(body * other / film + 1 - body, 0.02)).astype(np.float32)


def _blurred(rng, cover, change):
    """The change over the view; its hue is blurred more than its brightness."""
    sharp, soft = (cv2.GaussianBlur(cover, (0, 0), rng.uniform(*span))[..., None] for span in ((0.4, 0.8), (0.6, 1.6)))
    bright = change.mean()
    return sharp * bright + soft * (change - bright)


class _Sheet:
    """The pixels of a view: x, y, a place on the part, and its sizes."""

    def __init__(self, rng, mask):
        rows, columns = np.nonzero(mask)
        k = int(rng.integers(len(rows)))
        self.mask, self.at = mask, (columns[k], rows[k])
        self.y, self.x = np.mgrid[: mask.shape[0], : mask.shape[1]].astype(np.float32)
        spans = np.ptp(columns) + 1, np.ptp(rows) + 1
        self.narrow, self.long = float(min(spans)), float(max(spans))
        self.along, self.across = (self.x, self.y) if spans[0] >= spans[1] else (self.y, self.x)

    def away(self, stretch=1.0):
        """Distance to the place."""
        return np.hypot(self.x - self.at[0], (self.y - self.at[1]) * stretch)

    def clouds(self, rng, scale):
        """Smooth noise of unit spread with hills about `scale` pixels wide."""
        coarse = rng.standard_normal([max(4, int(n / scale) + 4) for n in self.mask.shape]).astype(np.float32)
        return cv2.resize(coarse, self.mask.shape[::-1], interpolation=cv2.INTER_CUBIC)

    def slanted(self, rng):
        """Place along the part, 0 to 1, now and then across it, never quite straight."""
        turn = rng.normal(0, 0.3) + (0 if rng.random() < 0.8 else np.pi / 2)
        place = np.cos(turn) * self.along + np.sin(turn) * self.across
        low, high = np.quantile(place[self.mask], (0.02, 0.98))
        share = np.clip((place - low) / (high - low), 0, 1)
        return (share if rng.random() < 0.5 else 1 - share), high - low


def _spot(rng, sheet):
    """A blot with a ragged or smooth, hard or soft edge."""
    radius = sheet.narrow * np.exp(rng.uniform(np.log(0.05), np.log(0.25)))
    ragged = rng.uniform(0, 0.4) * sheet.clouds(rng, radius * rng.uniform(0.7, 1.5))
    return rise((1 + ragged - sheet.away(rng.uniform(0.6, 1.6)) / radius) / rng.uniform(0.1, 0.9))


def _streak(rng, sheet):
    """A run or scrape along a wandering line, fading towards one end."""
    wide = sheet.narrow * rng.uniform(0.015, 0.07) + 0.6
    long = sheet.narrow * np.exp(rng.uniform(np.log(0.3), np.log(1.8)))
    turn = rng.choice([0.0, np.pi / 2, rng.uniform(0, np.pi)], p=[0.4, 0.25, 0.35])
    t = np.linspace(-0.5, 0.5, 24) * long
    side = np.cumsum(rng.standard_normal(24)) * rng.uniform(0, 0.5) * wide
    x = sheet.at[0] + np.cos(turn) * t - np.sin(turn) * side
    y = sheet.at[1] + np.sin(turn) * t + np.cos(turn) * side
    line = np.full(sheet.mask.shape, 255, np.uint8)
    cv2.polylines(line, [np.stack([x, y], axis=1).round().astype(np.int32)[:, None]], False, 0, 1)
    away = cv2.distanceTransform(line, cv2.DIST_L2, 5)
    gone = np.clip(((sheet.x - x[0]) * np.cos(turn) + (sheet.y - y[0]) * np.sin(turn)) / long, 0, 1)
    return rise((wide - away) / max(rng.uniform(0.3, 1.5) * wide, 0.7)) * (1 - rng.uniform(0, 0.6) * gone)


def _pale_zone(rng, sheet):
    """Less dye at an end, along the rim, around a place or in a patch."""
    way = rng.choice(["end", "rim", "round", "patch"])
    clouds = sheet.clouds(rng, 0.3 * sheet.narrow)
    if way == "end":
        ends = sheet.along[sheet.mask].min(), sheet.along[sheet.mask].max()
        reach = (ends[1] - ends[0]) * rng.uniform(0.07, 0.3)
        away = np.abs(sheet.along - ends[int(rng.integers(2))])
        return rise((1 + rng.uniform(0, 0.3) * clouds - away / reach) / rng.uniform(0.1, 1.0))
    if way == "rim":
        depth = cv2.distanceTransform(sheet.mask.astype(np.uint8), cv2.DIST_L2, 5)
        beside = rise(rng.uniform(0.8, 2.0) - sheet.away() / (0.3 * sheet.narrow)) if rng.random() < 0.8 else 1.0
        reach = sheet.narrow * rng.uniform(0.08, 0.25)
        return rise((1 + 0.2 * clouds - depth / reach) / rng.uniform(0.3, 1.0)) * beside
    radius = sheet.narrow * rng.uniform(0.16, 0.42)
    ragged = (0.4 if way == "patch" else 0.1) * clouds
    return rise((1 + ragged - sheet.away() / radius) / rng.uniform(0.3, 1.2))


def _gradient(rng, sheet):
    """More and more of the other film along the part, evenly, early or late."""
    place, _ = sheet.slanted(rng)
    uneven = rng.uniform(0, 0.06) * sheet.clouds(rng, sheet.narrow)
    return np.clip(place ** np.exp(rng.uniform(-0.5, 0.6)) + uneven, 0, 1)


def _two_tone(rng, sheet):
    """Two films with a wavy line between them, sharp or soft."""
    place, span = sheet.slanted(rng)
    wave = rng.uniform(0, 0.04) * sheet.clouds(rng, 0.4 * sheet.narrow)
    return rise((place - rng.uniform(0.22, 0.78) + wave) * span / np.exp(rng.uniform(np.log(1.2), np.log(16.0))))


def _pit(rng, sheet):
    """Two to a dozen small holes, strewn or in a nest."""
    nest, cover = sheet.narrow * rng.uniform(0.1, 0.5), np.zeros(sheet.mask.shape, np.float32)
    for _ in range(int(rng.integers(2, 13))):
        radius = rng.uniform(0.8, 2.2) * max(1.0, sheet.narrow / 110)
        x, y = sheet.at + rng.uniform(-1, 1, 2) * nest
        cover = np.maximum(cover, np.clip(0.5 + radius - np.hypot(sheet.x - x, sheet.y - y), 0, 1))
    return cover


_SHAPES = {
    "spot": _spot,
    "streak": _streak,
    "pale_zone": _pale_zone,
    "gradient": _gradient,
    "pit": _pit,
    "two_tone": _two_tone,
}

"""Where flaws lie on a part and what shows there, drawn over a picture's pixels; knows nothing of the first renderer.

Sizes and shares are the bench's own guesses at what a shop sees; no source.
"""

import cv2
import numpy as np

__all__ = ["KINDS", "Frame", "draw_cover", "draw_depth"]

KINDS = ("spot", "streak", "pale_zone", "gradient", "pit", "two_tone")


class Frame:
    """A part's pixels in its own frame: u along its long axis, v across, both in pixels of the picture.

    Attributes
    ----------
    u, v : ndarray of float32, shape (H, W)
    low, high : ndarray of shape (2,)
        Where the part begins and ends along u and v.
    seen : ndarray of shape (N, 2)
        Places u, v that belong to the part.
    """

    def __init__(self, mask):
        y, x = np.nonzero(mask)
        middle = np.array([x.mean(), y.mean()])
        axes = np.linalg.eigh(np.cov(np.stack([x, y])))[1][:, ::-1]
        self.seen = (np.stack([x, y], axis=1) - middle) @ axes
        self.low, self.high = np.quantile(self.seen, (0.005, 0.995), axis=0)
        grid = np.stack(np.meshgrid(*map(np.arange, mask.shape[::-1])), axis=-1) - middle
        self.u, self.v = np.moveaxis((grid @ axes).astype(np.float32), -1, 0)
        self.depth = cv2.distanceTransform(np.pad(mask, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
        self.mask = mask

    @property
    def narrow(self):
        """The shorter side in pixels."""
        return float((self.high - self.low).min())

    def place(self, rng):
        """Return one place u, v on the part."""
        return self.seen[int(rng.integers(len(self.seen)))]


def rise(height):
    """0 below -0.5, 1 above 0.5, without a corner in between."""
    t = np.clip(height + 0.5, 0, 1)
    return t * t * (3 - 2 * t)


def _clouds(rng, frame, scale):
    """Smooth noise of unit spread over the picture, its hills about `scale` pixels wide."""
    shape = frame.mask.shape
    coarse = rng.standard_normal([max(4, int(n / scale) + 3) for n in shape]).astype(np.float32)
    return cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_CUBIC)


def _spot(rng, frame):
    """A drop mark or print: a warped ellipse, alone or with lesser ones beside it; at times only its rim."""
    size = frame.narrow * np.exp(rng.uniform(np.log(0.06), np.log(0.24)))
    at = frame.place(rng)
    warp = 1 + rng.uniform(0, 0.3) * _clouds(rng, frame, 1.2 * size)
    soft = rng.uniform(0.08, 0.6)
    cover = np.zeros(frame.mask.shape, np.float32)
    for k in range(int(rng.choice([1, 1, 1, 2, 3]))):
        one = size * (1 if k == 0 else rng.uniform(0.3, 0.8))
        du, dv = (frame.u - at[0], frame.v - at[1])
        turn = rng.uniform(0, np.pi)
        flat = rng.uniform(0.55, 1.0)
        p, q = np.cos(turn) * du + np.sin(turn) * dv, np.cos(turn) * dv - np.sin(turn) * du
        away = np.hypot(p, q / flat) / one * warp
        hollow = rng.uniform(0.2, 0.7) if rng.random() < 0.15 else 0.0
        cover = np.maximum(cover, rise((1 - away) / soft) * (1 - hollow * rise((0.7 - away) / soft)))
        at = at + rng.normal(0, 1.6 * size, 2)
    return cover


def _streak(rng, frame):
    """A run-off mark: along, across or slanted, waving, tapered; from an end or in the middle."""
    wide = frame.narrow * rng.uniform(0.025, 0.11)
    turn = rng.choice([0.0, np.pi / 2, rng.uniform(0, np.pi)], p=[0.45, 0.25, 0.3])
    at = frame.place(rng)
    du, dv = frame.u - at[0], frame.v - at[1]
    p, q = np.cos(turn) * du + np.sin(turn) * dv, np.cos(turn) * dv - np.sin(turn) * du
    length = wide * np.exp(rng.uniform(np.log(4), np.log(16)))
    q = q - rng.uniform(0, 1.0) * wide * np.sin(p / (length * rng.uniform(0.3, 1)) + rng.uniform(0, 6))
    fade = rise((length - np.abs(p)) / (rng.uniform(0.15, 1.0) * length))
    taper = 1 - rng.uniform(0, 0.5) * (p / length + 1) / 2
    return fade * rise((wide * taper - np.abs(q)) / (rng.uniform(0.3, 1.2) * wide))


def _pale_zone(rng, frame):
    """Less dye at an end, at an edge, round a hole or clip, or in an uneven patch."""
    way = rng.choice(["end", "rim", "patch"], p=[0.45, 0.25, 0.3])
    span = frame.high[0] - frame.low[0]
    if way == "end":
        reach = span * rng.uniform(0.08, 0.3)
        end = frame.low[0] if rng.random() < 0.5 else frame.high[0]
        wave = rng.uniform(0, 0.25) * _clouds(rng, frame, 0.3 * frame.narrow)
        return rise((1 + wave - np.abs(frame.u - end) / reach) / rng.uniform(0.1, 0.9))
    size = frame.narrow * rng.uniform(0.18, 0.42)
    at = frame.place(rng)
    if way == "rim":
        near = frame.seen[frame.depth[frame.mask] < 3]
        at = near[int(rng.integers(len(near)))] if len(near) else at
    away = np.hypot(frame.u - at[0], frame.v - at[1]) / size
    wave = (0.35 if way == "patch" else 0.1) * _clouds(rng, frame, 0.7 * size)
    return rise((1 + wave - away) / rng.uniform(0.3, 1.1))


def _gradient(rng, frame):
    """More and more dye along the part, evenly or late; now and then along a slant."""
    turn = rng.normal(0, 0.25)
    place = np.cos(turn) * frame.u + np.sin(turn) * frame.v
    span = frame.high[0] - frame.low[0]
    t = np.clip((place - frame.low[0]) / span, 0, 1)
    t = t if rng.random() < 0.5 else 1 - t
    return (t ** np.exp(rng.uniform(-0.4, 0.5))).astype(np.float32)


def _pit(rng, frame):
    """Small holes, a few or many, strewn or in a nest."""
    nest = frame.narrow * rng.uniform(0.1, 0.4)
    spots = frame.place(rng) + rng.uniform(-1, 1, (int(rng.integers(3, 14)), 2)) * nest
    radii = rng.uniform(0.8, 1.5) * rng.uniform(1.0, 2.4, len(spots)) * max(1.0, frame.narrow / 160)
    cover = np.zeros(frame.mask.shape, np.float32)
    for (u, v), radius in zip(spots, radii, strict=True):
        cover = np.maximum(cover, np.clip(0.5 + radius - np.hypot(frame.u - u, frame.v - v), 0, 1))
    return cover


def _two_tone(rng, frame):
    """Two shades with a line between them, where the bath's level stood or the part was moved."""
    turn = rng.choice([0.0, rng.normal(0, 0.4), np.pi / 2], p=[0.5, 0.35, 0.15])
    place = np.cos(turn) * frame.u + np.sin(turn) * frame.v
    low, high = np.quantile(place[frame.mask], (0.02, 0.98))
    edge = low + (high - low) * rng.uniform(0.25, 0.75)
    wave = rng.uniform(0, 4) * np.sin(frame.v / rng.uniform(8, 40) + rng.uniform(0, 6))
    cover = rise((place - edge + wave) / np.exp(rng.uniform(np.log(1.0), np.log(14.0))))
    return cover if rng.random() < 0.5 else 1 - cover


_COVERS = {
    "spot": _spot,
    "streak": _streak,
    "pale_zone": _pale_zone,
    "gradient": _gradient,
    "pit": _pit,
    "two_tone": _two_tone,
}


def draw_cover(rng, kind, frame):
    """Return the weight 0..1 (H, W) of a flaw of a kind over the picture, 0 outside the part."""
    return (_COVERS[kind](rng, frame) * frame.mask).astype(np.float32)


def draw_depth(rng, kind):
    """Return how much dye the flaw holds against the sound film: below 1 paler, above 1 deeper."""
    if kind == "pit":
        return 0.0 if rng.random() < 0.5 else np.inf
    paler = kind == "pale_zone" or rng.random() < 0.55
    step = rng.uniform(0.2, 1.1)
    return float(np.exp(-step if paler else step * 0.8))

"""Photos of spoiled batches as a measurement tells of them: parts in a row, flaws with their place, form and size."""

from dataclasses import dataclass

import numpy as np

KINDS = ("spot", "streak", "pale_zone", "gradient", "pit", "two_tone")
_MISTAKEN = {"spot": "pit", "pit": "spot", "streak": "spot", "pale_zone": "gradient", "gradient": "pale_zone",
             "two_tone": "gradient"}  # fmt: skip
_LONG, _WIDE = 380.0, 150.0


@dataclass(frozen=True)
class Mark:
    """What a cause leaves on a part: kind of flaw, how often, how many, share of the part, place and form."""

    kind: str
    share: float
    most: int = 1
    area: tuple = (0.005, 0.05)
    place: str = "anywhere"
    form: str = "round"


def make_photo(truth, lab, clean, strong, rng):
    """Measurement, as a dict, of a batch that came out as `lab`, its sound parts as `clean`."""
    count = int(rng.choice([1, 1, 1, 3, 4, 5]))
    spoiled = int(rng.integers(count))
    slope = np.linspace(-1, 1, count) * rng.choice([-1, 1]) if truth.graded else rng.normal(0, 1, count)
    parts = []
    for i in range(count):
        base = clean if truth.one_pale and i != spoiled and count > 1 else lab
        colour = base + rng.normal(0, 0.5, 3) + truth.spread * slope[i] * np.array([0.9, 0.3, 0.3])
        hit = i == spoiled or (truth.all_parts and rng.random() < 0.8)
        outline = _outline(i)
        flaws = _painted(truth.flaws if hit else (), strong, outline, rng, i == spoiled)
        even = np.exp(rng.normal(-0.3, 0.4)) + (truth.uneven * rng.uniform(0.5, 1.3) if hit else 0)
        parts.append({"outline": outline.tolist(), "box": _box(outline), "lab": list(colour), "lab_u": [0.8] * 3,
                      "lab_sd": [1.0] * 3, "uniformity": float(even), "flags": [], "flaws": flaws})  # fmt: skip
    return {"photo": "x.jpg", "parts": parts, "flags": []}


def _outline(i):
    x, y = 40.0, 30.0 + 190 * i
    return np.array([[x, y], [x + _LONG, y], [x + _LONG, y + _WIDE], [x, y + _WIDE]])


def _box(points):
    return [*points.min(axis=0), *points.max(axis=0)]


def _painted(marks, strong, outline, rng, leading):
    """Flaws that a finder reports: some missed, some mistaken, some that are not there; never all missed."""
    seen = [mark for mark in marks if rng.random() < mark.share * (0.93 if strong else 0.8)]
    seen = seen or list(marks[:1] if leading else ())
    flaws = []
    for mark in seen:
        kind = _MISTAKEN[mark.kind] if rng.random() < 0.12 else mark.kind
        for _ in range(int(rng.integers(1, mark.most + 1))):
            flaws.append(_flaw(mark, kind, rng.uniform(5, 15) if strong else rng.uniform(3, 7), outline, rng))
    for _ in range(rng.poisson(0.1)):
        kind = str(rng.choice(KINDS))
        flaws.append(_flaw(Mark(kind, 1, area=(0.001, 0.02)), kind, rng.uniform(1.2, 4), outline, rng))
    return flaws


def _flaw(mark, kind, size, outline, rng):
    low, high = outline.min(axis=0), outline.max(axis=0)
    if kind in ("gradient", "two_tone"):
        return {"kind": kind, "delta_e00": size, "area_fraction": 1.0, "box": _box(outline),
                "outline": outline.tolist()}  # fmt: skip
    area = float(rng.uniform(*mark.area))
    across = np.sqrt(area * _LONG * _WIDE / np.pi)
    reach = np.array([across, across]) * (np.array([2.4, 0.4]) if mark.form == "long" else rng.uniform(0.8, 1.25, 2))
    reach = np.minimum(reach, [0.3 * _LONG, 0.45 * _WIDE])
    at = rng.uniform(low + reach, high - reach)
    if mark.place == "end":
        at[0] = rng.choice([low[0] + 0.6 * reach[0], high[0] - 0.6 * reach[0]])
    elif mark.place == "edge":
        at[1] = rng.choice([low[1] + 0.6 * reach[1], high[1] - 0.6 * reach[1]])
    turn = np.linspace(0, 2 * np.pi, 18, endpoint=False)
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    if mark.form == "crescent":
        ring[:, 1] = np.where(ring[:, 1] > 0, ring[:, 1], -0.2 * ring[:, 1])
        ring[1:9, 1] -= 0.5 * np.sin(turn[1:9])
        ring[10:, 1] = 0.95 * np.abs(np.sin(turn[10:])) - 0.35
    points = np.clip(at + ring * reach, low, high)
    return {"kind": kind, "delta_e00": float(size), "area_fraction": area, "box": _box(points),
            "outline": points.tolist()}  # fmt: skip

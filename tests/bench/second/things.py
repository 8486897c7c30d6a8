"""Random solids: the dyed parts, and the rods, coins and nuts that are not parts."""

import numpy as np

from .shapes import Hex, Knob, Ring, Tag, Turned

KINDS = ("cylinder", "stepped", "grooved", "knurled", "tag", "disc", "ring", "tube", "knob", "hex")


def _steps(rng, half, radius):
    count = rng.integers(2, 4)
    ends = np.sort(rng.uniform(-0.75, 0.75, count - 1)) * half
    radii = radius * rng.uniform(0.5, 0.95, count)
    radii[rng.integers(count)] = radius
    return [(float(e), float(r)) for e, r in zip([*ends, half], radii, strict=True)]


def _turned(kind, rng, f):
    half, radius = rng.uniform(0.06, 0.19) * f, rng.uniform(0.02, 0.05) * f
    extra = {"steps": [(half, radius)]}
    if kind == "stepped":
        extra["steps"] = _steps(rng, half, radius)
    if kind == "grooved" or (kind == "stepped" and rng.random() < 0.3):
        count, width = rng.integers(1, 7), rng.uniform(0.06, 0.2) * radius + 0.4
        first, pitch = rng.uniform(-0.8, 0.0) * half, width * rng.uniform(1.6, 4)
        extra["grooves"] = [(first + k * pitch, width, rng.uniform(0.08, 0.2) * radius) for k in range(count)]
    if kind == "knurled":
        start = rng.uniform(-0.9, -0.1) * half
        pitch = rng.uniform(0.006, 0.013) * f  # finer diamonds than some five pixels would only alias
        extra["knurl"] = (start, start + rng.uniform(0.5, 1.0) * half, pitch, pitch * rng.uniform(0.15, 0.4))
    solid = Turned(half=(half, radius), top=2 * radius, extra=extra)
    solid.kind = "knurled" if kind == "knurled" else "cylinder"
    return solid


def _tag(kind, rng, f):
    a = rng.uniform(0.05, 0.13) * f
    b = a if kind == "disc" else a * rng.uniform(0.35, 0.95)
    corner = b if kind == "disc" else b * rng.choice([0.08, 0.25, 0.6, 1.0])
    hole = rng.uniform(0.08, 0.2) * b
    spots = [(-a + corner * 0.4 + 2.2 * hole, 0.0, hole)] if rng.random() < 0.8 else []
    if spots and rng.random() < 0.35:
        spots.append((-spots[0][0], 0.0, hole))
    if kind == "disc" and rng.random() < 0.3:
        spots = [(0.0, 0.0, rng.uniform(0.15, 0.35) * b)]
    top = rng.uniform(1.0, 5.0)
    return Tag(half=(a, b), top=top, extra={"round": corner, "holes": spots, "edge": min(0.35 * top, 0.8)})


def _ring(kind, rng, f):
    radius = rng.uniform(0.03, 0.085) * f
    wall = radius * rng.uniform(0.14, 0.4)
    top = wall * rng.uniform(0.7, 1.4) if kind == "ring" else radius * rng.uniform(0.5, 1.0)
    return Ring(
        half=(radius, radius), top=top, extra={"wall": wall, "edge": 0.5 * min(wall, top) * rng.uniform(0.15, 0.95)}
    )


def _knob(kind, rng, f):
    radius = rng.uniform(0.03, 0.07) * f
    top = radius * rng.uniform(0.5, 1.1)
    extra = {
        "dome": radius * rng.uniform(1.15, 3.0),
        "flutes": int(rng.integers(12, 40)),
        "depth": rng.uniform(0.1, 0.7),
    }
    return Knob(half=(radius, radius), top=top, extra=extra)


def _hex(kind, rng, f):
    half, top = rng.uniform(0.05, 0.14) * f, rng.uniform(0.03, 0.07) * f
    return Hex(half=(half, top / 2 * 1.1547), top=top)


_MAKERS = {"tag": _tag, "disc": _tag, "ring": _ring, "tube": _ring, "knob": _knob, "hex": _hex}


def draw_part(kind, rng, frame_mm):
    """Return a solid of a kind, sized for a frame of a width, at the origin."""
    solid = _MAKERS.get(kind, _turned)(kind, rng, rng.uniform(1.0, 1.45) * frame_mm)
    if kind in ("disc", "tube"):
        solid.kind = {"disc": "tag", "tube": "ring"}[kind]
    return solid


def draw_clutter(rng, frame_mm):
    """Return (solid, material) of something that is not a part: steel rod, pencil, coin, nut or box."""
    name = rng.choice(["rod", "pencil", "coin", "washer", "box"], p=[0.3, 0.2, 0.22, 0.18, 0.1])
    if name == "rod":
        half, radius = rng.uniform(0.12, 0.3) * frame_mm, rng.uniform(2, 7)
        return Turned(half=(half, radius), top=2 * radius, extra={"steps": [(half, radius)]}), "steel"
    if name == "pencil":
        solid = Hex(half=(rng.uniform(45, 85), 4.0), top=7.0)
        return solid, str(rng.choice(["yellow", "red", "towel", "ink"]))
    if name == "coin":
        radius = rng.uniform(8, 13)
        extra = {"round": radius, "edge": 0.5}
        return Tag(half=(radius, radius), top=1.9, extra=extra), str(rng.choice(["steel", "copper", "brass"]))
    if name == "washer":
        radius = rng.uniform(5, 13)
        return Ring(half=(radius, radius), top=1.8, extra={"wall": 0.45 * radius, "edge": 0.3}), "steel"
    a, b = rng.uniform(14, 34), rng.uniform(10, 22)
    extra = {"round": 2.5, "edge": 1.5}
    return Tag(half=(a, b), top=rng.uniform(8, 22), extra=extra), str(
        rng.choice(["ink", "melamine", "masking", "towel"])
    )

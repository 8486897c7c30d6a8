"""Things on a bench that are neither card nor part."""

from dataclasses import replace

import numpy as np

from dyebook.demo.spectra import Metal, Paint
from dyebook.lab import Lab
from tests.render.shading import Finish
from tests.render.shapes import Dome, Plate, Ring, Turned
from tests.render.spec import Body

__all__ = ["CLUTTER", "random_clutter", "scattered", "tempting", "usual"]

STEEL = Finish(metallic=0.85, lobe_rad=0.2, gloss=0.05, brush=0.03, grain=0.012)
BARE = Finish(metallic=0.8, lobe_rad=0.3, gloss=0.0, brush=0.04, grain=0.015)
MATT = Finish(metallic=0.0, gloss=0.0)
GLOSSY = Finish(metallic=0.0, gloss=0.04, gloss_rad=0.08)


def _steel(rng):
    level = rng.uniform(0.38, 0.6)
    return Metal(level, level * rng.uniform(1.0, 1.15))


def _grey(rng, low, high):
    return Paint(Lab(float(rng.uniform(low, high)), float(rng.normal(0, 1)), float(rng.normal(0, 2))))


def _ruler(rng):
    shape = Plate(rng.uniform(35, 80), rng.uniform(7, 14), 0.5, bevel=0.3, thickness=0.8)
    if rng.random() < 0.5:
        return shape, _steel(rng), STEEL, "ruler", 1.0
    lab = Lab(88, -1, 8) if rng.random() < 0.6 else Lab(80, 2, 60)
    return shape, Paint(lab), GLOSSY, "ruler", 1.0


def _tape(rng):
    lab = [Lab(80, 2, 22), Lab(92, 0, 3), Lab(35, 5, -40), Lab(25, 0, 0)][int(rng.integers(4))]
    shape = Plate(rng.uniform(12, 40), rng.uniform(6, 12), 0.1, bevel=0, thickness=0.1)
    return shape, Paint(lab), Finish(metallic=0, gloss=0.04, gloss_rad=0.2), "", rng.uniform(0.5, 1.0)


def _rod(rng):
    half, r = rng.uniform(20, 60), rng.uniform(1.5, 5)
    knots = ((-half, r - 0.6), (-half + 0.6, r), (half - 0.6, r), (half, r - 0.6))
    return Turned(knots), _steel(rng), STEEL, "", 1.0


def _stock(rng):
    shape = Plate(rng.uniform(15, 40), rng.uniform(6, 14), 0.4, bevel=0.5, thickness=4)
    return shape, Metal(0.72, 0.76), BARE, "", 1.0


def _washer(rng):
    outer = rng.uniform(4, 11)
    return Ring(outer, outer * rng.uniform(0.4, 0.6), 0.1, 1.4), _steel(rng), STEEL, "", 1.0


def _coin(rng):
    return Dome(rng.uniform(8, 13), 0.04, 0.8, step=rng.uniform(5, 7), thickness=2), _steel(rng), STEEL, "", 1.0


def _scrap(rng):
    shape = Plate(rng.uniform(12, 45), rng.uniform(10, 30), 0.1, bevel=0, thickness=0.1)
    return shape, _grey(rng, 88, 95), MATT, "", 1.0


def _swatch(rng):
    shape = Plate(rng.uniform(12, 35), rng.uniform(10, 25), 0.3, bevel=0.3, thickness=0.9)
    return shape, _grey(rng, 25, 65), Finish(metallic=0, gloss=0, grain=0.05), "weave", 1.0


def _pencil(rng):
    half, r = rng.uniform(35, 70), rng.uniform(3.2, 3.8)
    knots = ((-half, r), (half - 14, r), (half - 13.5, r - 0.1), (half, 0.5))
    lab = Lab(float(rng.uniform(25, 75)), float(rng.normal(10, 30)), float(rng.normal(15, 30)))
    return Turned(knots, facets=6), Paint(lab), GLOSSY, "pencil", 1.0


def _driver(rng):
    half, r = rng.uniform(20, 35), rng.uniform(7, 11)
    along = np.linspace(-1, 1, 41)
    profile = r * (1 - along**8 * 0.6) * (1 - 0.13 * np.exp(-((along / 0.35) ** 2)))
    knots = tuple((float(x), float(y)) for x, y in zip(half * along, profile, strict=True))
    knots += ((half + 0.1, 2.0), (half + float(rng.uniform(20, 60)), 2.0))
    lab = [Lab(45, 60, 40), Lab(30, 10, -35), Lab(22, 0, 0), Lab(75, 5, 75)][int(rng.integers(4))]
    return Turned(knots), Paint(lab), GLOSSY, "shaft", 1.0


CLUTTER = {
    "ruler": _ruler,
    "tape": _tape,
    "rod": _rod,
    "stock": _stock,
    "washer": _washer,
    "coin": _coin,
    "scrap": _scrap,
    "swatch": _swatch,
    "pencil": _pencil,
    "driver": _driver,
}


def random_clutter(rng, kind=None):
    """Return a piece of clutter at the origin, of a kind in CLUTTER or any."""
    kind = kind or list(CLUTTER)[int(rng.integers(len(CLUTTER)))]
    shape, material, finish, ink, opacity = CLUTTER[kind](rng)
    seed = int(rng.integers(2**31))
    return Body(shape, material, finish=finish, is_part=False, ink=ink, opacity=float(opacity), seed=seed)


def scattered(rng, body, place_mm):
    """Return the body moved to a place and turned at random."""
    return replace(body, x_mm=float(place_mm[0]), y_mm=float(place_mm[1]), turn_deg=float(rng.uniform(0, 360)))


def tempting(rng):
    """Return grey things that a hasty eye takes for the card."""
    count = int(rng.integers(1, 4))
    return [random_clutter(rng, str(kind)) for kind in rng.choice(["swatch", "stock", "scrap"], count)]


def usual(rng, busy):
    """Return the clutter of an ordinary bench, or of a busy one."""
    count = int(rng.integers(4, 9)) if busy else int(rng.choice([0, 0, 1, 1, 2, 3]))
    return [random_clutter(rng) for _ in range(count)]

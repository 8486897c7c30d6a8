"""The parts a shop anodises: shapes, dyed films and finishes at random, with flaws when asked."""

from dataclasses import replace

import numpy as np

from dyebook.demo.spectra import DYES, Film, Metal
from tests.render.shading import Finish
from tests.render.shapes import Dome, Plate, Ring, Turned
from tests.render.spec import FLAW_KINDS, Body, Flaw

__all__ = ["KINDS", "flawed", "near_shade", "random_film", "random_part"]


def random_film(rng):
    """Return a dyed film from pale to near black: one dye, or two mixed."""
    names = ["grey"] if rng.random() < 0.08 else rng.choice(list(DYES), size=1 + (rng.random() < 0.4), replace=False)
    shares = rng.dirichlet(np.full(len(names), 2.0))
    bands = tuple(
        (peak + rng.normal(0, 8), sigma * rng.uniform(0.85, 1.2), weight * share)
        for name, share in zip(names, shares, strict=True)
        for peak, sigma, weight in DYES[str(name)]
    )
    absorbance = float(np.exp(rng.uniform(np.log(0.05), np.log(1.7))))
    return Film(bands, absorbance, float(rng.uniform(0.72, 0.93)), float(rng.uniform(0.001, 0.012)))


def near_shade(rng, film):
    """Return a film a few ΔE from another: a little more or less dye, a slightly moved mix."""
    bands = tuple((peak, sigma, weight * np.exp(rng.normal(0, 0.05))) for peak, sigma, weight in film.bands)
    return replace(film, bands=bands, absorbance=film.absorbance * float(np.exp(rng.normal(0, 0.13))))


def _pen(rng):
    half, r = rng.uniform(30, 68), rng.uniform(4.2, 6.8)
    tip = r * rng.uniform(0.5, 1.0)
    taper = rng.uniform(8, 25)
    knots = ((-half, tip - 0.5), (-half + 0.5, tip), (-half + taper, r), (half - 0.6, r), (half, r - 0.6))
    grooves = tuple((float(x), 1.2) for x in rng.uniform(-half * 0.6, half * 0.8, int(rng.integers(0, 3))))
    return Turned(knots, grooves)


def _knob(rng):
    half, r = rng.uniform(8, 16), rng.uniform(7, 14)
    neck = r * rng.uniform(0.6, 0.95)
    knots = (
        (-half, r - 1),
        (-half + 1, r),
        (half * 0.2, r),
        (half * 0.2 + 0.5, neck),
        (half - 0.8, neck),
        (half, neck - 0.8),
    )
    return Turned(knots, ((-half * 0.4, 1.5),) if rng.random() < 0.5 else ())


def _grip(rng):
    half, r = rng.uniform(14, 45), rng.uniform(5, 11)
    knots = ((-half, r - 0.8), (-half + 0.8, r), (half - 0.8, r), (half, r - 0.8))
    start = rng.uniform(0.1, 0.6) * half
    pitch = rng.uniform(0.9, 1.8)
    bands = ((-half + 2, -half + 2 + start, pitch), (half - 2 - start, half - 2, pitch))
    if rng.random() < 0.5:
        bands = ((-half + 3, half * rng.uniform(-0.1, 0.85), pitch),)
    return Turned(knots, (), bands)


def _tag(rng):
    a, b = rng.uniform(12, 30), rng.uniform(7, 18)
    corner = min(a, b) * rng.uniform(0.05, 0.8)
    radius = rng.uniform(1.2, 2.6)
    places = [(-a + radius + 3, 0.0), (a - radius - 3, 0.0)][: int(rng.integers(0, 3))]
    holes = tuple((float(x), float(y), float(radius)) for x, y in places)
    return Plate(a, b, corner, holes, rng.uniform(0.2, 0.9), rng.uniform(1.0, 3.0), rng.normal(0, 0.015))


def _ring(rng):
    outer = rng.uniform(8, 20)
    return Ring(outer, outer * rng.uniform(0.45, 0.78), rng.uniform(0.1, 1.0), rng.uniform(1.5, 5))


def _dome(rng):
    r = rng.uniform(7, 17)
    ribs = int(rng.choice([0, 0, 24, 36]))
    step = float(rng.choice([0, 0.55])) * r
    return Dome(r, rng.uniform(0.0, 0.45), rng.uniform(0.8, 2.5), step, ribs, rng.uniform(5, 14))


KINDS = {"pen": _pen, "knob": _knob, "grip": _grip, "tag": _tag, "ring": _ring, "dome": _dome}


def _finish(rng):
    """A blasted, brushed or bright finish under the film."""
    bright = rng.random() < 0.3
    return Finish(
        metallic=float(rng.uniform(0.4, 0.75) if bright else rng.uniform(0.25, 0.65)),
        lobe_rad=float(rng.uniform(0.1, 0.2) if bright else rng.uniform(0.2, 0.42)),
        gloss=float(rng.uniform(0.035, 0.056)),
        gloss_rad=float(rng.uniform(0.008, 0.04) if bright else rng.uniform(0.03, 0.11)),
        brush=float(rng.choice([0.0, 0.015, 0.04])),
        grain=float(rng.uniform(0.0, 0.015)),
    )


def random_part(rng, kind=None):
    """Return a dyed part at the origin, of a kind in KINDS or any."""
    kind = kind or str(rng.choice(list(KINDS), p=[0.26, 0.1, 0.14, 0.24, 0.13, 0.13]))
    return Body(KINDS[kind](rng), random_film(rng), finish=_finish(rng), seed=int(rng.integers(2**31)))


def flawed(rng, body, kind=None):
    """Return a part with one flaw more, of a kind in FLAW_KINDS or any."""
    kind = kind or str(rng.choice(FLAW_KINDS))
    reach_x, reach_y = body.shape.reach_mm
    deeper = float(np.exp(rng.choice([-1, 1]) * rng.uniform(0.25, 0.8)))
    film = body.material
    material = {
        "pit": Metal(0.25, 0.28) if rng.random() < 0.5 else Film((), 0, 0.08),
        "pale_zone": replace(film, absorbance=film.absorbance * rng.uniform(0.3, 0.7)),
    }.get(kind, replace(film, absorbance=film.absorbance * deeper))
    size = float(min(reach_x, reach_y) * rng.uniform(0.18, 0.5))
    if kind == "streak":
        size *= 1.2
    place = rng.uniform(-0.6, 0.6) * reach_x, rng.uniform(-0.45, 0.45) * reach_y
    if kind in ("gradient", "two_tone"):
        place = (place[0] * 0.6, 0.0)
    flaw = Flaw(kind, float(place[0]), float(place[1]), size, material, int(rng.integers(2**31)))
    return replace(body, flaws=(*body.flaws, flaw))

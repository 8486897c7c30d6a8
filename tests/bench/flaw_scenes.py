"""Photos with flawed parts: the first renderer's own flaws, and others drawn into the second renderer's light."""

import tempfile
from copy import deepcopy
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np

from dyebook.lab import delta_e_00
from tests.bench.flaw_paint import KINDS, Frame, draw_cover, draw_depth
from tests.bench.scenes import cached, sources_of

__all__ = ["FlawScene", "FlawedPart", "TrueFlaw", "flaw_scene"]

_PARTS = 4
# pictures taken of one painted scene, each with other flaws; share of parts that get one
_TAKES, _FLAWED = 4, 0.6
_FILM_KINDS = tuple(kind for kind in KINDS if kind != "pit")
_FEWEST_PIXELS = 400
_LEAST_SEEN = 6
# changes that no photo of a phone shows are no flaws
_FAINTEST_DELTA_E = 1.0
# light of a hole, as share of the film's
_HOLE = 0.08


@dataclass(frozen=True)
class TrueFlaw:
    """A flaw as it truly is; the mask covers the whole picture."""

    kind: str
    mask: np.ndarray
    delta_e00: float


@dataclass(frozen=True)
class FlawedPart:
    """A part and its flaws; none for a sound one."""

    polygon: np.ndarray
    mask: np.ndarray
    kind: str
    flaws: tuple


@dataclass(frozen=True)
class FlawScene:
    """A photo's bytes, its card and its parts; `sound` is the same photo, free of noise, before the flaws came."""

    name: str
    data: bytes
    card_quad: np.ndarray | None
    card_lab: tuple | None
    parts: tuple
    sound: bytes | None = None


def flaw_scene(renderer, seed, with_sound=False):
    """Return one scene of a renderer ("a" or "b") with flaws on about half of its parts; kept once made."""
    make = {"a": _scene_a, "b": _scene_b}[renderer]
    here = Path(__file__)
    sources = [*sources_of(renderer), here, here.with_name("flaw_paint.py")]
    return cached(f"flaws-{renderer}", seed, with_sound, sources, lambda: make(seed, with_sound))


def _scene_a(seed, with_sound):
    from tests.bench.second.truth import with_slits
    from tests.render.scene import random_scene, render

    spec = random_scene(seed, part_count=_PARTS, with_flaws=True)
    rendered = render(spec)
    shape = rendered.image.shape[:2]
    parts = []
    for part in rendered.truth.parts:
        mask = part.full_mask(shape[::-1])
        flaws = tuple(TrueFlaw(f.kind, _filled(f.outlines, shape) & mask, f.delta_e00) for f in part.flaws)
        rings = [np.asarray(ring, float) for ring in part.outlines]
        parts.append(FlawedPart(with_slits(rings[0], rings[1:]), mask, part.kind, flaws))
    sound = None
    if with_sound:
        bodies = tuple(replace(body, flaws=()) for body in spec.bodies)
        quiet = replace(spec.development, full_well=0.0, quality=97)
        sound = _jpeg_a(render(replace(spec, bodies=bodies, development=quiet)))
    return FlawScene(
        f"a{seed}", _jpeg_a(rendered), rendered.truth.card_quad, rendered.truth.card_lab, tuple(parts), sound
    )


def _jpeg_a(rendered):
    from tests.render.scene import write_photo

    with tempfile.TemporaryDirectory() as place:
        return write_photo(rendered, Path(place) / "scene.jpg").read_bytes()


def _filled(outlines, shape):
    """Pixels inside an odd number of outlines."""
    out = np.zeros(shape, bool)
    for ring in outlines:
        one = np.zeros(shape, np.uint8)
        cv2.fillPoly(one, [np.round((np.asarray(ring) - 0.5) * 16).astype(np.int32)], 1, shift=4)
        out ^= one.astype(bool)
    return out


def _scene_b(seed, with_sound):
    from tests.bench.second.camera import to_jpeg
    from tests.bench.second.scene import photograph
    from tests.bench.second.truth import describe

    number, take = divmod(seed, _TAKES)
    scene, names, plans, raw, other, label, corners_mm, rng = _lit_b(number)
    rng = np.random.default_rng([rng, take])
    flawed, flaws = raw.copy(), {}
    for part, plan in enumerate(plans, start=1):
        mask = label == part
        if plan is not None and rng.random() < _FLAWED and mask.sum() >= _FEWEST_PIXELS:
            kind = plan.kind if plan.kind == "pit" else str(rng.choice(_FILM_KINDS))
            cover = draw_cover(rng, kind, Frame(mask))
            flawed += cover[..., None] * (other - flawed)
            inside = (cover >= 0.5) & mask
            if inside.sum() >= _LEAST_SEEN:
                flaws[part] = (TrueFlaw(kind, inside, plan.delta_e00),)
    noise = int(rng.integers(2**31))
    _, image = photograph(scene, flawed, np.random.default_rng(noise))
    parts, truth = [], describe(scene, names, label.copy(), corners_mm, image)
    for part in truth["parts"]:
        mask = truth["label"] == part["label"]
        number_then = int(np.bincount(label[mask]).argmax())
        parts.append(FlawedPart(np.array(part["polygon"]), mask, part["kind"], flaws.get(number_then, ())))
    card = truth["card"]
    quad, lab = (None, None) if card is None else (np.array(card["quad"]), tuple(card["lab"]))
    sound = None
    if with_sound:
        quiet = replace(scene, camera=replace(scene.camera, gain=1e-12, quality=97))
        sound = to_jpeg(photograph(quiet, raw, np.random.default_rng(noise))[1], quiet.camera)
    return FlawScene(f"b{seed}", to_jpeg(image, scene.camera), quad, lab, tuple(parts), sound)


@lru_cache(maxsize=1)
def _lit_b(number):
    """One scene of the second renderer in raw light, sound and with each part wholly changed; takes share it."""
    from tests.bench.second.layout import draw_scene
    from tests.bench.second.scene import paint

    rng = np.random.default_rng([78, number])
    scene, names = draw_scene(rng)
    plans = [_plan(rng, film) for _, film, _ in scene.parts]
    raw, label, _, corners_mm = paint(scene, deepcopy(rng))
    other, *_ = paint(_changed(scene, plans), deepcopy(rng))
    return scene, names, plans, raw, other, label, corners_mm, int(rng.integers(2**31))


@dataclass(frozen=True)
class _Plan:
    """What a flaw on one part will be: its kind, the film that shows there, how the surface differs."""

    kind: str
    film: object
    body: float
    mirror: float
    delta_e00: float


def _plan(rng, film):
    """What shows on a film where it is flawed; None where that could hardly be seen on the film."""
    from tests.bench.second.spectra import DYES, Film, bands, lab, neutral

    kind = str(rng.choice(KINDS))
    depth = draw_depth(rng, kind)
    if np.isinf(depth):
        return _Plan(kind, film, _HOLE, 0.1, float(delta_e_00(film.lab, (8.0, 0, 0))))
    absorbance = depth * film.absorbance
    soiled = kind in ("spot", "streak") and rng.random() < 0.15
    if soiled:
        absorbance = film.absorbance + rng.uniform(0.04, 0.2) * neutral(1.0, rng.uniform(-0.3, 0.3))
    elif kind != "pit" and rng.random() < 0.15:
        absorbance = absorbance + 0.15 * film.absorbance.max() * bands(DYES[rng.choice(list(DYES))])
    other = Film(absorbance, film.base * rng.uniform(0.9, 1.1) if kind != "gradient" else film.base, film.haze)
    change = float(delta_e_00(film.lab, lab(other.reflectance() + other.haze)))
    return _Plan(kind, other, 1.0, 0.5 if soiled else 1.0, change) if change >= _FAINTEST_DELTA_E else None


def _changed(scene, plans):
    """The scene with every part that is to have a flaw wholly of what shows there."""
    from tests.bench.second.surface import _PATHS

    parts = []
    for (solid, film, surface), plan in zip(scene.parts, plans, strict=True):
        if plan is not None:
            responses = [
                plan.body * np.array([(plan.film.reflectance(p) * power) @ scene.camera.curves for p in _PATHS])
                for power in scene.lighting.spectra
            ]
            surface = replace(surface, responses=responses, mirror=plan.mirror * surface.mirror)
        parts.append((solid, film, surface))
    return replace(scene, parts=parts)

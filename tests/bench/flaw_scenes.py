"""Photos with flawed parts of both worlds."""

from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from tests.bench.scenes import cached, jpeg_of, photo_of, sources_of

__all__ = ["FlawScene", "FlawedPart", "TrueFlaw", "flaw_scene"]


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


def flaw_scene(world, seed, with_sound=False):
    """Return the flaws photograph of a set-up of world "a" or "b": about half of its parts have one.

    `with_sound` asks for the same photo without its flaws and noise, which the simple world alone gives; such pairs are
    drawn, and kept once made.
    """
    if with_sound and world == "a":
        return cached("sound-a", seed, "flaws", [*sources_of("a"), Path(__file__)], lambda: _with_sound(seed))
    truth, path = photo_of(world, seed, "flaws")
    return _scene(f"{world}{seed}", path.read_bytes(), truth, cv2.imread(str(path.with_suffix(".png")), -1))


def _with_sound(seed):
    from tests.render import make_scenes
    from tests.render.photo import picture

    (spec,) = make_scenes(seed, "flaws")
    things = tuple(replace(thing, pattern="", other=None) for thing in spec.things)
    sound = picture(replace(spec, things=things, develop=replace(spec.develop, full_well=0.0, quality=97)))
    drawn = picture(spec)
    return _scene(f"a{seed}", jpeg_of(drawn), drawn.truth, drawn.labels, jpeg_of(sound))


def _scene(name, data, truth, labels, sound=None):
    parts = []
    for number, part in enumerate(truth["parts"], start=1):
        flaws = tuple(TrueFlaw(flaw["kind"], labels == number + 128, flaw["delta_e00"]) for flaw in part["flaws"])
        parts.append(FlawedPart(np.array(part["outline"]), labels % 128 == number, part["kind"], flaws))
    return FlawScene(name, data, np.array(truth["card"]["quad"]), tuple(truth["card"]["lab"]), tuple(parts), sound)

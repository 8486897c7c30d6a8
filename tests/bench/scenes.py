"""Scenes of both renderers behind one face, rendered once and kept in the temp folder."""

import hashlib
import json
import os
import pickle
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

__all__ = ["PartTruth", "Scene", "cameras_folder", "load_scenes"]

# one scene in eight has no card
_CARDLESS = 8


@dataclass(frozen=True)
class PartTruth:
    """A part as it truly is; `polygon` cuts holes in by slits, masks cover `box`."""

    polygon: np.ndarray
    box: tuple
    mask: np.ndarray
    good: np.ndarray | None
    lab: tuple
    kind: str
    in_gamut: bool


@dataclass(frozen=True)
class Scene:
    """A photo's bytes and its truth; `pairs` are indices of parts of near shade."""

    name: str
    data: bytes
    card_quad: np.ndarray | None
    card_lab: tuple | None
    parts: tuple
    pairs: tuple
    ground: str


def cameras_folder():
    """The folder of camera sensitivities named by DYEBOOK_CAMERAS, or None."""
    folder = os.environ.get("DYEBOOK_CAMERAS")
    return Path(folder) if folder else None


def load_scenes(renderer, seeds, **options):
    """Yield the scenes of a renderer ("a" or "b"); options go to the first renderer's random_scene."""
    make = {"a": _make_a, "b": _make_b}[renderer]
    for seed in seeds:
        yield _cached(renderer, seed, options, make)


def _cached(renderer, seed, options, make):
    source = Path(__file__).parents[2] / ("dyebook/demo" if renderer == "a" else "tests/bench/second")
    stamp = hashlib.sha256(b"".join(path.read_bytes() for path in sorted(source.glob("*.py"))))
    stamp.update(json.dumps([options, str(cameras_folder())], sort_keys=True, default=str).encode())
    folder = Path(tempfile.gettempdir()) / "dyebook-scenes" / f"{renderer}-{stamp.hexdigest()[:12]}"
    path = folder / f"{seed}.pickle"
    if path.exists():
        return pickle.loads(path.read_bytes())
    scene = make(seed, **options)
    folder.mkdir(parents=True, exist_ok=True)
    path.write_bytes(pickle.dumps(scene))
    return scene


def _slit(outlines):
    from tests.bench.second.truth import with_slits

    return with_slits(np.asarray(outlines[0], float), [np.asarray(hole, float) for hole in outlines[1:]])


def _make_a(seed, **options):
    from dyebook.demo.cameras import load_cameras
    from dyebook.demo.scene import random_scene, render, write_photo

    folder = cameras_folder()
    options.setdefault("with_card", seed % _CARDLESS != _CARDLESS - 1)
    rendered = render(random_scene(seed, cameras=load_cameras(folder) if folder else None, **options))
    with tempfile.TemporaryDirectory() as place:
        data = write_photo(rendered, Path(place) / "scene.jpg").read_bytes()
    truth = rendered.truth
    parts = tuple(
        PartTruth(_slit(p.outlines), p.box, p.mask, p.good, tuple(p.lab), p.kind, p.in_gamut) for p in truth.parts
    )
    numbers = [p.pair for p in truth.parts]
    pairs = {n: [i for i, m in enumerate(numbers) if m == n] for n in set(numbers) - {-1}}
    near = tuple(tuple(both) for both in pairs.values() if len(both) == 2)
    return Scene(f"a{seed}", data, truth.card_quad, truth.card_lab, parts, near, rendered.spec.ground.kind)


def _make_b(seed):
    from tests.bench.second import make
    from tests.bench.second import write as write_b

    with tempfile.TemporaryDirectory() as place:
        data = write_b(seed, place).read_bytes()
    truth = make(seed)[1]
    parts = []
    for part in truth["parts"]:
        x0, y0, x1, y1 = part["box"]
        mask = truth["label"][y0:y1, x0:x1] == part["label"]
        polygon, lab = np.array(part["polygon"]), tuple(part["lab"])
        parts.append(PartTruth(polygon, (x0, y0, x1, y1), mask, None, lab, part["kind"], part["in_gamut"]))
    card = truth["card"]
    pairs = tuple(tuple(pair) for pair in truth["pairs"])
    quad, lab = (None, None) if card is None else (np.array(card["quad"]), tuple(card["lab"]))
    return Scene(f"b{seed}", data, quad, lab, tuple(parts), pairs, str(truth["background"]))

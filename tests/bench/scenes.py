"""Scenes of both renderers and composites in one form, made once and kept in the temp folder."""

import hashlib
import json
import os
import pickle
import tempfile
import zlib
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

__all__ = [
    "PartTruth",
    "Scene",
    "cached",
    "cameras_folder",
    "card_overlap",
    "card_scenes",
    "first_end",
    "load_scenes",
    "sources_of",
]

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
    """A photo's bytes and its truth; `pairs` are indices of parts of near shade, `rim` is the card's."""

    name: str
    data: bytes
    card_quad: np.ndarray | None
    card_lab: tuple | None
    parts: tuple
    pairs: tuple
    ground: str
    rim: str = "none"

    def photo(self):
        """The picture as a photo."""
        from dyebook.photo.file.read import read_photo

        return read_photo(self.data, name=self.name)


def cameras_folder():
    """The folder of camera sensitivities named by DYEBOOK_CAMERAS, or None."""
    folder = os.environ.get("DYEBOOK_CAMERAS")
    return Path(folder) if folder else None


def first_end(text):
    """Return the range that "first:end" names, end not included."""
    first, end = (int(number) for number in text.split(":"))
    return range(first, end)


def load_scenes(renderer, seeds, **options):
    """Yield the scenes of a renderer ("a", "b"; "u": the first in usual light; "c": composites).

    Options go to the first renderer's random_scene; composites know `with_card`.
    """
    make = {"a": _make_a, "b": _make_b, "c": _make_c, "u": _make_u}[renderer]
    for seed in seeds:
        yield cached(renderer, seed, options, sources_of(renderer), lambda seed=seed: make(seed, **options))


def card_scenes(renderer, seeds):
    """Yield scenes for the card benches: those that can be made without a card are, every third seed, made so too."""
    for seed in seeds:
        if renderer == "b":
            yield from load_scenes("b", [seed])
            continue
        yield from load_scenes(renderer, [seed], with_card=True)
        if seed % 3 == 0:
            yield from load_scenes(renderer, [seed], with_card=False)


def card_overlap(first, second):
    """Area in common of two convex quads over that of both together."""
    first, second = np.float32(first), np.float32(second)
    common = cv2.intersectConvexConvex(first, second)[0]
    return common / (cv2.contourArea(first) + cv2.contourArea(second) - common)


def sources_of(renderer):
    """Return the files whose change makes a renderer's scenes anew."""
    here = Path(__file__).parent
    own = sorted((here.parents[1] / "tests/render").glob("*.py"))
    second = sorted((here / "second").glob("*.py"))
    return {"a": own, "b": second, "c": [here / "composites.py"], "u": [*own, here / "usual_light.py"]}[renderer]


def cached(kind, seed, options, sources, make):
    """Return what `make()` returns, kept by kind, seed, options and the content of the source files that make it."""
    stamp = hashlib.sha256(b"".join(path.read_bytes() for path in sources))
    folders = [os.environ.get("DYEBOOK_PHOTOS"), os.environ.get("DYEBOOK_CAMERAS")]
    stamp.update(json.dumps([options, folders], sort_keys=True, default=str).encode())
    folder = Path(tempfile.gettempdir()) / "dyebook-scenes" / f"{kind}-{stamp.hexdigest()[:12]}"
    path = folder / f"{seed}.scene"
    if path.exists():
        return pickle.loads(zlib.decompress(path.read_bytes()))
    scene = make()
    folder.mkdir(parents=True, exist_ok=True)
    # under another name first: two benches may make the same scene at once
    fresh = path.with_suffix(f".{os.getpid()}")
    fresh.write_bytes(zlib.compress(pickle.dumps(scene), 1))
    fresh.replace(path)
    return scene


def _slit(outlines):
    from tests.bench.second.truth import with_slits

    return with_slits(np.asarray(outlines[0], float), [np.asarray(hole, float) for hole in outlines[1:]])


def _make_u(seed, **options):
    from tests.bench.usual_light import eased

    return _make_a(seed, ease=eased, **options)


def _make_a(seed, ease=None, **options):
    from tests.render.cameras import load_cameras
    from tests.render.scene import random_scene, render, write_photo

    folder = cameras_folder()
    options.setdefault("with_card", seed % _CARDLESS != _CARDLESS - 1)
    spec = random_scene(seed, cameras=load_cameras(folder) if folder else None, **options)
    rendered = render(spec if ease is None else ease(spec))
    with tempfile.TemporaryDirectory() as place:
        data = write_photo(rendered, Path(place) / "scene.jpg").read_bytes()
    truth = rendered.truth
    parts = tuple(
        PartTruth(_slit(p.outlines), p.box, p.mask, p.good, tuple(p.lab), p.kind, p.in_gamut) for p in truth.parts
    )
    numbers = [p.pair for p in truth.parts]
    pairs = {n: [i for i, m in enumerate(numbers) if m == n] for n in set(numbers) - {-1}}
    near = tuple(tuple(both) for both in pairs.values() if len(both) == 2)
    card = rendered.spec.card
    rim = "none" if card is None or not card.border_mm else "white" if card.border_lab.L > 50 else "black"
    name = f"{'a' if ease is None else 'u'}{seed}"
    return Scene(name, data, truth.card_quad, truth.card_lab, parts, near, rendered.spec.ground.kind, rim)


def _make_b(seed):
    from tests.bench.second import make_jpeg

    data, truth = make_jpeg(seed)
    parts = []
    for part in truth["parts"]:
        x0, y0, x1, y1 = part["box"]
        mask = truth["label"][y0:y1, x0:x1] == part["label"]
        good = mask & truth["facing"][y0:y1, x0:x1]
        polygon, lab = np.array(part["polygon"]), tuple(part["lab"])
        parts.append(PartTruth(polygon, (x0, y0, x1, y1), mask, good, lab, part["kind"], part["in_gamut"]))
    card = truth["card"]
    pairs = tuple(tuple(pair) for pair in truth["pairs"])
    quad, lab = (None, None) if card is None else (np.array(card["quad"]), tuple(card["lab"]))
    rim = "none" if card is None else str(card["rim"])
    return Scene(f"b{seed}", data, quad, lab, tuple(parts), pairs, str(truth["background"]), rim)


def _make_c(seed, with_card=True):
    from tests.bench.composites import composite

    image, quad, ground, rim = composite(seed, bare=not with_card)
    data = cv2.imencode(".jpg", np.ascontiguousarray(image[..., ::-1]), [cv2.IMWRITE_JPEG_QUALITY, 97])[1].tobytes()
    return Scene(f"c{seed}", data, quad, None, (), (), ground, rim)

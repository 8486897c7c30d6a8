"""Photographs of both worlds and composites in one form.

World "a" is the simple one, "b" the physical: their photographs are those that `tests.bench.worlds` made, and are drawn
where it did not. Eight seeds are one set-up: seed 8 k is the first photograph of set-up k. "c" are composites, made
once and kept in the temp folder.
"""

import hashlib
import json
import os
import pickle
import tempfile
import zlib
from dataclasses import dataclass, replace
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

__all__ = [
    "KINDS",
    "WORLDS",
    "WORLD_NAMES",
    "PartTruth",
    "Scene",
    "cached",
    "cameras_folder",
    "card_overlap",
    "card_scenes",
    "first_end",
    "jpeg_of",
    "load_scenes",
    "photo_of",
    "photographs",
    "sources_of",
]

WORLDS = Path(os.environ.get("DYEBOOK_WORLDS") or Path(tempfile.gettempdir()) / "dyebook-worlds")
WORLD_NAMES = {"a": "simple", "b": "physical"}
KINDS = ("parts", "near", "twin", "rack", "flaws", "steps", "repeat1", "repeat2")
# one scene in eleven has no card, so that each kind comes to it
_CARDLESS = 11
# widths of the card's border and of its shadow that a photo without it leaves out, in shares of the card's longer side
_BESIDE = 0.3


@dataclass(frozen=True)
class PartTruth:
    """A part as it truly is; `polygon` cuts holes in by slits, masks cover `box`."""

    polygon: np.ndarray
    box: tuple
    mask: np.ndarray
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


def photographs(world, setups, kinds=KINDS):
    """Yield truth and path of the photographs that there are in a world's folder ("physical", "simple")."""
    for setup in setups:
        for kind in kinds:
            for file in sorted((WORLDS / world).glob(f"s{setup:03d}-{kind}*.json")):
                yield json.loads(file.read_text(encoding="utf-8")), file.with_suffix(".jpg")


def load_scenes(world, seeds, with_card=None):
    """Yield scenes of world "a", "b" or "c". One in eleven of a and b has no card, unless `with_card` says which."""
    for seed in seeds:
        if world == "c":
            card = with_card is not False
            yield cached("c", seed, card, sources_of("c"), lambda seed=seed, card=card: _make_c(seed, card))
            continue
        truth, path = photo_of(world, seed // len(KINDS), KINDS[seed % len(KINDS)])
        scene = scene_of(f"{world}{seed}", path.read_bytes(), truth, cv2.imread(str(path.with_suffix(".png")), -1))
        card = with_card if with_card is not None else seed % _CARDLESS != _CARDLESS - 1
        yield scene if card else _beside_card(scene)


def card_scenes(world, seeds):
    """Yield scenes for the card benches: every third seed once more without its card."""
    for seed in seeds:
        yield from load_scenes(world, [seed], with_card=True)
        if seed % 3 == 0:
            yield from load_scenes(world, [seed], with_card=False)


def card_overlap(first, second):
    """Area in common of two convex quads over that of both together."""
    first, second = np.float32(first), np.float32(second)
    common = cv2.intersectConvexConvex(first, second)[0]
    return common / (cv2.contourArea(first) + cv2.contourArea(second) - common)


def sources_of(world):
    """Return the files whose change makes composites ("c") or drawn scenes anew."""
    here = Path(__file__).parent
    return [here / "composites.py"] if world == "c" else sorted((here.parents[1] / "tests/render").glob("*.py"))


def cached(kind, seed, options, sources, make):
    """Return what `make()` returns, kept by kind, seed, options and the content of the source files that make it."""
    stamp = hashlib.sha256(b"".join(path.read_bytes() for path in sources))
    folders = [os.environ.get("DYEBOOK_CHARTS"), os.environ.get("DYEBOOK_CAMERAS")]
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


def photo_of(world, setup, kind):
    """Return the truth and the path of a photo of world "a" or "b", drawn if it is not there."""
    from tests.render import draw, make_scenes

    folder = WORLDS / WORLD_NAMES[world]
    path = folder / f"s{setup:03d}-{kind}.jpg"
    if not path.with_suffix(".json").exists():
        folder.mkdir(parents=True, exist_ok=True)
        (spec,) = (one for one in make_scenes(setup, kind.rstrip("12")) if one.name == path.stem)
        draw(spec, WORLD_NAMES[world], folder)
    return json.loads(path.with_suffix(".json").read_text(encoding="utf-8")), path


def _beside_card(scene):
    """The largest piece of a photo beside its card as a scene without one; parts count that lie in it by half."""
    picture = Image.open(BytesIO(scene.data))
    width, height = picture.size
    margin = _BESIDE * np.linalg.norm(np.roll(scene.card_quad, -1, axis=0) - scene.card_quad, axis=1).max()
    (left, top), (right, end) = scene.card_quad.min(axis=0) - margin, scene.card_quad.max(axis=0) + margin
    pieces = (0, 0, left, height), (right, 0, width, height), (0, 0, width, top), (0, end, width, height)
    pieces = [[int(np.clip(v, 0, side)) for v, side in zip(p, (width, height) * 2, strict=True)] for p in pieces]
    x0, y0, x1, y1 = max(pieces, key=lambda p: (p[2] - p[0]) * (p[3] - p[1]))
    parts = []
    for part in scene.parts:
        seen = max(part.box[0], x0), max(part.box[1], y0), min(part.box[2], x1), min(part.box[3], y1)
        (left, top), (right, end) = np.reshape(seen, (2, 2)) - part.box[:2]
        mask = part.mask[max(top, 0) : max(end, 0), max(left, 0) : max(right, 0)]
        if mask.sum() > 0.5 * part.mask.sum():
            box = tuple(int(v) for v in np.subtract(seen, (x0, y0, x0, y0)))
            parts.append(replace(part, polygon=part.polygon - (x0, y0), box=box, mask=mask))
    out = BytesIO()
    picture.crop((x0, y0, x1, y1)).save(out, "JPEG", quality=97, icc_profile=picture.info.get("icc_profile"))
    return replace(scene, data=out.getvalue(), card_quad=None, card_lab=None, parts=tuple(parts), pairs=())


def jpeg_of(drawn):
    """A drawn picture as the bytes of its file."""
    from tests.render.photo import write_photo

    with tempfile.TemporaryDirectory() as place:
        return write_photo(drawn.codes, drawn.spec, Path(place) / "scene.jpg").read_bytes()


def scene_of(name, data, truth, labels):
    """Return the Scene of a photo's truth."""
    parts = []
    for number, part in enumerate(truth["parts"], start=1):
        x0, y0, x1, y1 = part["box"]
        mask = labels[y0:y1, x0:x1] % 128 == number
        outline = np.array(part["outline"])
        parts.append(PartTruth(outline, tuple(part["box"]), mask, tuple(part["lab"]), part["kind"], part["in_gamut"]))
    numbers = [part["pair"] for part in truth["parts"]]
    pairs = (tuple(i for i, m in enumerate(numbers) if m == n) for n in sorted(set(numbers) - {-1}))
    card = truth["card"]
    quad, lab = (None, None) if card is None else (np.array(card["quad"]), tuple(card["lab"]))
    return Scene(name, data, quad, lab, tuple(parts), tuple(p for p in pairs if len(p) == 2), truth["ground"])


def _make_c(seed, with_card):
    from tests.bench.composites import composite

    image, quad, ground, rim = composite(seed, bare=not with_card)
    data = cv2.imencode(".jpg", np.ascontiguousarray(image[..., ::-1]), [cv2.IMWRITE_JPEG_QUALITY, 97])[1].tobytes()
    return Scene(f"c{seed}", data, quad, None, (), (), ground, rim)

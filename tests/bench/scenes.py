"""Scenes of both worlds and composites in one form, made once and kept in the temp folder."""

import hashlib
import json
import os
import pickle
import tempfile
import zlib
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

__all__ = [
    "WORLDS",
    "PartTruth",
    "Scene",
    "cached",
    "cameras_folder",
    "card_overlap",
    "card_scenes",
    "first_end",
    "jpeg_of",
    "load_scenes",
    "physical_photo",
    "sources_of",
]

WORLDS = Path(os.environ.get("DYEBOOK_WORLDS") or Path(tempfile.gettempdir()) / "dyebook-worlds")
# one scene in eight has no card
_CARDLESS = 8
_KINDS = ("parts", "near", "twin", "rack")


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


def load_scenes(world, seeds, with_card=None):
    """Yield scenes of a world: "a" the simple, "b" the physical (as `tests.bench.worlds` made it, drawn where it did
    not), "c" composites. One in eight has no card, unless `with_card` says which; the physical ones all have theirs."""
    for seed in seeds:
        if world == "b":
            yield physical_scene(seed)
            continue
        make = {"a": _make_a, "c": _make_c}[world]
        card = with_card if with_card is not None else world == "c" or seed % _CARDLESS != _CARDLESS - 1
        yield cached(world, seed, card, sources_of(world), lambda seed=seed, make=make, card=card: make(seed, card))


def card_scenes(world, seeds):
    """Yield scenes for the card benches: those that can be made without a card are, every third seed, made so too."""
    for seed in seeds:
        yield from load_scenes(world, [seed], with_card=True)
        if seed % 3 == 0 and world != "b":
            yield from load_scenes(world, [seed], with_card=False)


def card_overlap(first, second):
    """Area in common of two convex quads over that of both together."""
    first, second = np.float32(first), np.float32(second)
    common = cv2.intersectConvexConvex(first, second)[0]
    return common / (cv2.contourArea(first) + cv2.contourArea(second) - common)


def sources_of(world):
    """Return the files whose change makes a world's scenes anew."""
    here = Path(__file__).parent
    return [here / "composites.py"] if world == "c" else sorted((here.parents[1] / "tests/render").glob("*.py"))


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


def _spec(seed, kinds=_KINDS):
    """One photo's description: kinds take turns, and share a set-up."""
    from tests.render import make_scenes

    return make_scenes(seed // len(kinds), kinds[seed % len(kinds)])[0]


def physical_photo(seed, kinds=_KINDS):
    """Return the truth and the path of a photo of the physical world, drawn if it is not there."""
    from tests.render import draw

    spec, folder = _spec(seed, kinds), WORLDS / "physical"
    path = folder / f"{spec.name}.jpg"
    if not path.with_suffix(".json").exists():
        folder.mkdir(parents=True, exist_ok=True)
        draw(spec, "physical", folder)
    return json.loads(path.with_suffix(".json").read_text(encoding="utf-8")), path


def physical_scene(seed):
    """Return a photo of the physical world as a Scene."""
    truth, path = physical_photo(seed)
    return scene_of(f"b{seed}", path.read_bytes(), truth, cv2.imread(str(path.with_suffix(".png")), -1))


def _make_a(seed, with_card):
    from tests.render.photo import picture

    spec = _spec(seed)
    if not with_card:
        spec = replace(spec, things=tuple(thing for thing in spec.things if thing.role not in ("card", "rim")))
    drawn = picture(spec)
    return scene_of(f"a{seed}", jpeg_of(drawn), drawn.truth, drawn.labels)


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

"""Scenes for the card benches, from both renderers and composites, kept in a folder so that a second run is quick."""

import tempfile
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from dyebook.demo.scene import random_scene, render
from dyebook.photo.read import read_photo

from .composites import composite
from .second import make

__all__ = ["CardScene", "card_scenes", "first_end", "overlap"]


@dataclass(frozen=True)
class CardScene:
    """A picture (JPEG bytes) and where its card lies, if it has one."""

    name: str
    data: bytes
    quad: np.ndarray | None
    ground: str
    edge: str

    @property
    def photo(self):
        """The picture as a photo."""
        return read_photo(self.data, name=self.name)


def card_scenes(renderer, seeds, cache=None):
    """Yield scenes of one kind; the first renderer and composites show every third seed without a card as well.

    Parameters
    ----------
    renderer : str
        first, second or composite.
    seeds : iterable of int
    cache : path, optional
        Where pictures are kept; the system's folder for passing files if left out.

    Yields
    ------
    CardScene
    """
    folder = Path(cache or Path(tempfile.gettempdir()) / "dyebook-card-scenes")
    folder.mkdir(parents=True, exist_ok=True)
    for seed in seeds:
        for bare in (False, True) if renderer != "second" and seed % 3 == 0 else (False,):
            path = folder / f"{renderer}-{seed}{'-bare' if bare else ''}.npz"
            if not path.exists():
                np.savez(path, **_MAKERS[renderer](seed, bare))
            with np.load(path) as kept:
                quad = kept["quad"] if kept["quad"].size else None
                yield CardScene(path.stem, kept["data"].tobytes(), quad, str(kept["ground"]), str(kept["edge"]))


def _first(seed, bare):
    spec = random_scene(seed, with_card=not bare)
    drawn = render(spec)
    quad = np.zeros(0) if bare else drawn.truth.card_quad
    edge = "none" if bare or not spec.card.border_mm else "white" if spec.card.border_lab.L > 50 else "black"
    ground = f"{spec.ground.kind} {'dark' if spec.ground.lab.L < 30 else ''}".strip()
    return {"data": _jpeg(drawn.image, spec.development.quality), "quad": quad, "ground": ground, "edge": edge}


def _second(seed, bare):
    image, truth = make(seed)
    card = truth["card"]
    quad = np.zeros(0) if card is None else np.array(card["quad"])
    edge = "none" if card is None else str(card["rim"])
    return {"data": _jpeg(image, 90), "quad": quad, "ground": str(truth["background"]), "edge": edge}


def _composite(seed, bare):
    image, quad, ground, edge = composite(seed, bare)
    return {"data": _jpeg(image, 97), "quad": np.zeros(0) if bare else quad, "ground": ground, "edge": edge}


_MAKERS = {"first": _first, "second": _second, "composite": _composite}


def _jpeg(image, quality):
    data = cv2.imencode(".jpg", np.ascontiguousarray(image[..., ::-1]), [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    return np.frombuffer(data.tobytes(), np.uint8)


def first_end(text):
    """Return the range that "first:end" names, end not included."""
    first, end = (int(number) for number in text.split(":"))
    return range(first, end)


def overlap(first, second):
    """Area in common of two convex quads over that of both together."""
    first, second = np.float32(first), np.float32(second)
    common = cv2.intersectConvexConvex(first, second)[0]
    return common / (cv2.contourArea(first) + cv2.contourArea(second) - common)

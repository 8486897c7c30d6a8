"""Scenes to pictures, with the exact truth beside them."""

from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np

from dyebook.demo.spectra import illuminant, material_reflectance, paint_reflectance, reflectance_lab
from dyebook.lab import Lab, delta_e_00, lab_to_srgb8
from tests.render.bodies import draw_body, silhouette
from tests.render.cameras import sensor_rgb
from tests.render.cards import card_quad, draw_card
from tests.render.develop import develop
from tests.render.grounds import ground_fields

__all__ = ["FlawTruth", "PartTruth", "Rendered", "Truth", "render", "write_photo"]

_SHADOW_WIDTH = 360


@dataclass(frozen=True, eq=False)
class FlawTruth:
    """A flaw: kind, outlines in pixels of the upright picture, CIEDE2000 to the sound film, share of the part."""

    kind: str
    outlines: tuple
    delta_e00: float
    area_fraction: float


@dataclass(frozen=True, eq=False)
class PartTruth:
    """A part: outline first and holes after it (pixels of the upright picture), masks in a box, and its film's Lab."""

    outlines: tuple
    box: tuple[int, int, int, int]
    mask: np.ndarray  # bool, shape of the box
    good: np.ndarray  # bool, shape of the box: faces light and camera as the card does, no mirror light, no flaw
    lab: Lab
    kind: str
    in_gamut: bool
    pair: int
    flaws: tuple

    def full_mask(self, size, good=False):
        """Return the mask (or the good pixels) over a picture of size (width, height)."""
        full = np.zeros((size[1], size[0]), bool)
        x0, y0, x1, y1 = self.box
        full[y0:y1, x0:x1] = self.good if good else self.mask
        return full


@dataclass(frozen=True, eq=False)
class Truth:
    """What the picture shows: corners of the card's grey area in order TL, TR, BR, BL, its Lab, the parts."""

    card_quad: np.ndarray | None
    card_lab: Lab | None
    parts: tuple


@dataclass(frozen=True, eq=False)
class Rendered:
    """A rendered photograph: upright sRGB codes (H, W, 3) uint8, and what it shows."""

    image: np.ndarray
    truth: Truth
    spec: object


def render(spec):
    """Return the photograph of a scene.

    Parameters
    ----------
    spec : SceneSpec

    Returns
    -------
    Rendered
        The same for the same spec, always.

    Notes
    -----
    Colours of materials are worked out spectrally (reflectance x light x sensitivities); the picture is then
    composed in sensor light and developed. A part's Lab is that of its film alone under D65, mirror light excluded.
    """
    light, ground_rgb = _ground_light(spec)
    fall = _fall_off(spec)
    if spec.card:
        draw_card(light, spec)
    low = [body for body in spec.bodies if body.shape.height_mm < 1]
    tall = sorted((b for b in spec.bodies if b.shape.height_mm >= 1), key=lambda b: b.shape.height_mm)
    drawn = {}
    for layer in (low, tall):  # what lies flat is shaded by what stands, never by itself
        light *= _shadows(spec, layer)[..., None]
        drawn.update({id(body): _paste(light, body, spec, ground_rgb) for body in layer})
    light *= fall[..., None]
    image = develop(light, spec, np.random.default_rng((spec.seed, 1)))
    parts = tuple(_part_truth(body, drawn[id(body)]) for body in spec.parts if drawn[id(body)] is not None)
    quad = card_quad(spec) if spec.card else None
    return Rendered(image, Truth(quad, spec.card.lab if spec.card else None, parts), spec)


def _ground_light(spec):
    """Sensor light of the empty bench, and its mean colour."""
    light = illuminant(spec.light)
    first, second = (
        sensor_rgb(spec.camera, light, paint_reflectance(lab)).astype(np.float32)
        for lab in (spec.ground.lab, spec.ground.second)
    )
    shade, blend = ground_fields(spec.ground, spec.view)
    field = first + blend[..., None] * (second - first)
    field *= shade[..., None]
    return field, field[::16, ::16].mean(axis=(0, 1))


def _paste(light, body, spec, ground_rgb):
    """Draw a body over the picture and return it."""
    drawn = draw_body(body, spec, ground_rgb)
    if drawn is not None:
        x0, y0, x1, y1 = drawn.box
        under = light[y0:y1, x0:x1]
        under += drawn.cover[..., None] * (drawn.light - under)
    return drawn


def _fall_off(spec):
    """Light over the picture (height, width): slope, hot-spot, lens, a hand's shadow; 1 in the middle of even light."""
    how, view = spec.falloff, spec.view
    small = view.resized(160)
    u = (np.arange(small.width) + 0.5)[None, :] / small.width
    v = (np.arange(small.height) + 0.5)[:, None] / small.width
    shape = small.height / small.width
    azimuth = np.radians(how.slope_azimuth_deg)
    field = 1 + how.slope * ((u - 0.5) * np.cos(azimuth) + (v - shape / 2) * np.sin(azimuth))
    hot = (u - how.hot_at[0]) ** 2 + (v - how.hot_at[1] * shape) ** 2
    field = field + how.hot * np.exp(-hot / (2 * how.hot_size**2))
    corner = ((u - 0.5) ** 2 + (v - shape / 2) ** 2) / (0.25 + shape**2 / 4)
    field = field * (1 - how.vignette * corner)
    hand = np.hypot(u - how.hand_at[0], v - how.hand_at[1] * shape)
    field = field * (1 - how.hand / (1 + np.exp((hand - 0.35) / 0.05)))
    field = cv2.resize(field.astype(np.float32), (view.width, view.height), interpolation=cv2.INTER_CUBIC)
    return np.maximum(field, 0.02)


def _shadows(spec, bodies):
    """Share of the light that reaches the bench between the bodies, (height, width)."""
    if not bodies:
        return np.ones((spec.view.height, spec.view.width), np.float32)
    view = spec.view.resized(_SHADOW_WIDTH)
    scale = view.px_per_mm()
    open_sky = np.ones((view.height, view.width), np.float32)
    lamps = [np.zeros_like(open_sky) for _ in spec.around.lamps]
    for body in bodies:
        height = body.shape.height_mm
        cover = body.opacity * silhouette(body, view)
        near = cv2.GaussianBlur(cover, (0, 0), max(0.5 * height * scale, 0.5))
        open_sky *= 1 - 0.6 * near
        for shadow, lamp in zip(lamps, spec.around.lamps, strict=True):
            np.maximum(shadow, _cast(cover, lamp, height, scale), out=shadow)
    light = spec.around.room * open_sky
    for shadow, lamp in zip(lamps, spec.around.lamps, strict=True):
        light += lamp.share * (1 - shadow)
    return cv2.resize(light, (spec.view.width, spec.view.height), interpolation=cv2.INTER_LINEAR)


def _cast(cover, lamp, height, scale):
    """Shadow of a silhouette swept from the bench to the body's height, softer the higher."""
    toward = -lamp.direction[:2] / lamp.direction[2]
    shadow = np.zeros_like(cover)
    for share in np.linspace(0.1, 0.95, 7):
        move = toward * height * share * scale
        matrix = np.array([[1, 0, move[0]], [0, 1, move[1]]])
        soft = max(lamp.size_rad * height * share * scale, 0.4)
        moved = cv2.warpAffine(cover, matrix, cover.shape[::-1])
        np.maximum(shadow, cv2.GaussianBlur(moved, (0, 0), soft), out=shadow)
    return shadow


def _outlines(cover, box):
    """Polygons (N, 2) of a coverage at one half, the largest first."""
    from skimage.measure import approximate_polygon, find_contours

    lines = find_contours(np.pad(cover, 1), 0.5)
    lines = [approximate_polygon(line, 0.2)[:, ::-1] - 0.5 + box[:2] for line in lines if len(line) > 8]
    return tuple(sorted(lines, key=lambda p: -cv2.contourArea(p.astype(np.float32))))


def _part_truth(body, drawn):
    """Truth of one part as drawn."""
    lab = Lab(*reflectance_lab(material_reflectance(body.material)))
    mask = drawn.cover >= 0.5
    flaws = tuple(
        _flaw_truth(flaw, weight, drawn, mask, lab) for flaw, weight in zip(body.flaws, drawn.flaw_cover, strict=True)
    )
    return PartTruth(
        _outlines(drawn.cover, drawn.box),
        drawn.box,
        mask,
        drawn.good,
        lab,
        body.shape.kind,
        not bool(lab_to_srgb8(lab)[1]),
        body.pair,
        tuple(flaw for flaw in flaws if flaw.outlines),
    )


def _flaw_truth(flaw, weight, drawn, mask, lab):
    """Truth of one flaw: where it covers at least half of what it could."""
    inside = weight * drawn.cover
    fault = reflectance_lab(material_reflectance(flaw.material))
    share = float(((weight >= 0.5) & mask).sum() / max(mask.sum(), 1))
    return FlawTruth(flaw.kind, _outlines(inside, drawn.box), float(delta_e_00(lab, fault)), share)


_TURNS = {1: 0, 3: 2, 6: 1, 8: 3}  # EXIF orientation: quarter turns anticlockwise from upright to stored


def _stamped(image, text):
    """A copy of the picture with small words in its lower left corner."""
    image = image.copy()
    size = image.shape[1] / 1600
    place = (round(14 * size), image.shape[0] - round(14 * size))
    # a dark rim of shifted copies: a thicker stroke would also be set wider
    for (x, y), colour in [((dx, dy), (0, 0, 0)) for dx in (-1, 0, 1) for dy in (-1, 0, 1)] + [((0, 0), (255,) * 3)]:
        where = (place[0] + x, place[1] + y)
        cv2.putText(image, text, where, cv2.FONT_HERSHEY_SIMPLEX, 0.9 * size, colour, max(1, round(size)), cv2.LINE_AA)
    return image


def write_photo(rendered, path, stamp=""):
    """Write a rendered photograph; JPEG by the scene's quality, other endings by Pillow.

    Parameters
    ----------
    rendered : Rendered
    path : path
    stamp : str
        Small words in the lower left corner, for pictures that people will see.

    Returns
    -------
    Path
    """
    from PIL import Image

    how = rendered.spec.development
    image = _stamped(rendered.image, stamp) if stamp else rendered.image
    picture = Image.fromarray(np.ascontiguousarray(np.rot90(image, _TURNS[how.turn])))
    exif = Image.Exif()
    exif[0x0112] = how.turn
    exif[0x010E] = "rendered, not photographed"
    path = Path(path)
    with BytesIO() as buffer:
        jpeg = {"quality": how.quality, "subsampling": 2 if how.quality < 93 else 0}
        kind = Image.registered_extensions()[path.suffix.lower()]
        picture.save(buffer, kind, exif=exif, **(jpeg if kind == "JPEG" else {}))
        path.write_bytes(buffer.getvalue())
    return path

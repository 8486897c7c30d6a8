"""From light to a photograph: what a phone makes of it, the file, and the truth beside it."""

import json
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import Image
from skimage.measure import approximate_polygon, find_contours

from dyebook.lab import LUMINANCE, decode_srgb, delta_e_00, encode_srgb, lab_to_srgb8
from dyebook.photo.file.profile import DISPLAY_P3, matrix_profile
from tests.render.patterns import FLAWS
from tests.render.simple import draw_simple
from tests.render.spectra import camera_matrix, film_readings, raw_white, warmth_of
from tests.render.stage import placed

STAMP = "rendered, not photographed"
_FINE = 3  # places a side in each pixel that say what covers it
# linear Rec. 709 to Display P3, both D65
_TO_P3 = np.array([[0.8225, 0.1774, 0.0], [0.0332, 0.9669, 0.0], [0.0171, 0.0724, 0.9108]])


def maker_matrix(spec):
    """Return the 3x3 from balanced sensor light to linear Rec. 709 that the camera takes for a scene's light."""
    saturation = spec.develop.saturation
    saturate = (1 - saturation) * LUMINANCE + saturation * np.eye(3)
    return saturate @ camera_matrix(spec.camera, warmth_of(spec.camera, spec.light.spectrum))


def develop(light, spec):
    """Return the codes (H, W, 3) uint8 that a camera writes of sensor light, 1 being perfect white in each channel."""
    how, rng = spec.develop, np.random.default_rng((spec.seed, 1))
    if how.blur_px:
        light = cv2.GaussianBlur(light, (0, 0), how.blur_px)
    if how.vignette:
        y, x = np.mgrid[-1 : 1 : light.shape[0] * 1j, -1 : 1 : light.shape[1] * 1j]
        light = light * (1 - how.vignette * (x**2 + y**2) / 2)[..., None]
    light = light * how.exposure
    if how.full_well:  # channels that the balance amplifies most are the noisiest
        gain = 1 / raw_white(spec.camera, spec.light.spectrum)
        spread = np.sqrt(np.maximum(light, 0) * gain / how.full_well + (gain * how.read_noise / how.full_well) ** 2)
        light = light + spread * cv2.GaussianBlur(rng.standard_normal(light.shape), (0, 0), 0.6)
    light = np.minimum(light, 1) * (how.balance[0], 1, how.balance[1])
    matrix = _TO_P3 @ maker_matrix(spec) if how.p3 else maker_matrix(spec)
    codes = encode_srgb(np.clip(np.minimum(light, 1) @ matrix.T, 0, 1))
    codes = codes - how.contrast * np.sin(2 * np.pi * codes) / (2 * np.pi)
    codes = 255 * (how.lift + (1 - how.lift) * codes)
    if how.sharpen:
        codes = codes + how.sharpen * (codes - cv2.GaussianBlur(codes, (0, 0), 1 + how.blur_px))
    return np.clip(codes + 0.5, 0, 255).astype(np.uint8)


def write_photo(codes, spec, path):
    """Write codes as a photo file by its ending, marked as rendered."""
    exif, options = Image.Exif(), {}
    exif[0x010E] = STAMP
    if path.suffix == ".jpg":
        options = {"quality": spec.develop.quality, "subsampling": 2 if spec.develop.quality < 93 else 0}
    if spec.develop.p3:
        options["icc_profile"] = matrix_profile(DISPLAY_P3)
    Image.fromarray(codes).save(path, exif=exif, **options)
    return path


def _rings(cover):
    """Outlines (n, 2) of a coverage at one half in pixels, the largest first."""
    lines = (line for line in find_contours(np.pad(cover, 1), 0.5) if len(line) > 8)
    rings = (approximate_polygon(line, 0.3)[:, ::-1] - 0.5 for line in lines)
    return sorted(rings, key=lambda ring: -cv2.contourArea(ring.astype(np.float32)))


def _slit(rings):
    """One polygon that cuts the holes into the largest ring by slits; pieces that lie apart are left out."""
    polygon = rings[0]
    for hole in rings[1:]:
        if cv2.pointPolygonTest(rings[0].astype(np.float32)[:, None], tuple(map(float, hole.mean(axis=0))), False) < 0:
            continue
        apart = np.linalg.norm(polygon[:, None] - hole[None], axis=2)
        i, j = np.unravel_index(np.argmin(apart), apart.shape)
        ring = np.roll(hole[:-1], -j, axis=0)
        polygon = np.concatenate([polygon[: i + 1], ring, ring[:1], polygon[i:]])
    return polygon.round(2).tolist()


def _quad(thing, camera):
    """Corners of a flat thing in the picture: top left, top right, bottom right, bottom left."""
    points, _, uv = placed(thing)
    flat, uv = points.reshape(-1, 3), uv.reshape(-1, 2)
    corners = [flat[np.argmin(np.abs(uv - at).sum(axis=1))] for at in ((0, 1), (1, 1), (1, 0), (0, 0))]
    quad = camera.project(corners)
    return np.roll(quad, -int(np.argmin(quad.sum(axis=1))), axis=0)


def _part(thing, mask, layer):
    """Truth of one part: outline, colours, bands of a stepped coupon, flaw."""
    finish, (kind, _, lengths) = thing.finish, thing.pattern.partition(":")
    (ys, xs), outlines = np.nonzero(mask >= 0.5), lambda there: [ring.round(2).tolist() for ring in _rings(there)]
    part = {"kind": thing.shape.kind, "finish": finish.name, "role": thing.role, "pair": thing.pair}
    part |= film_readings(thing.material, finish)
    part["in_gamut"] = not bool(lab_to_srgb8(part["lab"])[1])
    part["box"] = [int(xs.min()), int(ys.min()), int(xs.max()) + 1, int(ys.max()) + 1]
    part["outline"], part["flaws"], part["bands"] = _slit(_rings(mask)), [], []
    if kind == "steps":
        last = lengths.count(",")
        place = np.clip(np.floor(layer * last + 0.5), 0, last)
        for step in range(last + 1):
            rings = outlines(np.where(place == step, mask, 0.0))
            lab = film_readings(thing.film_at(step / last), finish)["lab"]
            part["bands"].append({"lab": lab, "outline": rings[0] if rings else []})
    elif kind in FLAWS and (rings := outlines(np.where(layer >= 0.5, mask, 0.0))):
        change = float(delta_e_00(part["lab"], film_readings(thing.other, finish)["lab"]))
        part["flaws"].append({"kind": kind, "outlines": rings, "delta_e00": round(change, 2)})
    return part


def truth_of(spec, owner, uv, stage):
    """Return what a picture shows as a dict, and its labels (H, W) uint8: 0 nothing, k the k-th part, 128 more where it
    is flawed. ``chart_at`` are the middles of the patches dark skin, bluish green, black, white; a part's readings are
    those of `spectra.film_readings`, its outline leads into its holes by slits."""
    camera, (width, height) = stage.camera, stage.camera.size
    blocks = owner.reshape(height, _FINE, width, _FINE)
    labels, parts = np.zeros((height, width), np.uint8), []
    for index, thing in enumerate(spec.things):
        mask = (blocks == index).mean(axis=(1, 3))
        inside = mask >= 0.5
        if thing.role not in ("part", "twin") or inside.sum() < 60:
            continue
        layer, number = np.zeros((height, width)), int(stage.table[index, 71])
        if thing.pattern and number >= 0:
            shares = stage.layers[number, ..., 0]
            at = np.clip((uv * shares.shape[0]).astype(int), 0, shares.shape[0] - 1)
            layer = np.where(mask > 0, shares[at[..., 1], at[..., 0]], 0)
        parts.append(_part(thing, mask, layer))
        labels[inside] = len(parts) + 128 * ((layer[inside] >= 0.5) & bool(parts[-1]["flaws"]))
    patches, card = [thing for thing in spec.things if thing.role == "patch"], spec.card
    middles = [placed(patches[k])[0].reshape(-1, 3).mean(axis=0) for k in (0, 5, 23, 18)] if patches else None
    about = {"name": spec.name, "kind": spec.kind, "setup": spec.setup, "light": spec.light.kind}
    quad = card and {"quad": _quad(card, camera).round(2).tolist(), "lab": list(map(float, card.material.lab))}
    chart_at = camera.project(middles).round(2).tolist() if patches else None
    return about | {"ground": spec.ground.kind, "card": quad, "chart_at": chart_at, "parts": parts}, labels


@dataclass(frozen=True, eq=False)
class Picture:
    """A drawn photograph: codes (H, W, 3) uint8, its truth and labels as `truth_of` says, its description."""

    codes: np.ndarray
    truth: dict
    labels: np.ndarray
    spec: object

    @property
    def quad(self):
        """Corners (4, 2) of the card's grey area."""
        return np.array(self.truth["card"]["quad"])

    @property
    def linear(self):
        """The codes as light, by the sRGB curve."""
        return decode_srgb(self.codes / 255)

    def mask(self, part):
        """Return the pixels of a part, by its number from 0."""
        return self.labels % 128 == part + 1


def picture(spec, world="simple", spp=128):
    """Return the Picture of a scene in a world ("simple" or "physical")."""
    if world == "simple":
        light, owner, uv, stage = draw_simple(spec)
    else:
        from tests.render.physical import draw_physical

        light, owner, uv, stage = draw_physical(spec, spp)
    truth, labels = truth_of(spec, owner, uv, stage)
    return Picture(develop(light, spec), truth | {"world": world}, labels, spec)


def draw(spec, world, folder, spp=128):
    """Draw a scene; write photo, labels and truth into a folder, return path and truth."""
    drawn = picture(spec, world, spp)
    path = write_photo(drawn.codes, spec, Path(folder) / f"{spec.name}.jpg")
    cv2.imwrite(str(path.with_suffix(".png")), drawn.labels)
    path.with_suffix(".json").write_text(json.dumps(drawn.truth), encoding="utf-8")
    return path, drawn.truth

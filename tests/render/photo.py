"""From light to a photograph: what a phone makes of it, the file, and the truth beside it."""

import json
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np

from dyebook.lab import decode_srgb, delta_e_00, encode_srgb, lab_to_srgb8
from tests.render.patterns import FLAWS
from tests.render.scene import Film
from tests.render.spectra import camera_matrix, film_readings, raw_white, sensor_weights
from tests.render.stage import camera_of, placed

__all__ = ["STAMP", "Picture", "develop", "draw", "light_of", "maker_matrix", "picture", "truth_of", "write_photo"]

STAMP = "rendered, not photographed"
_FINE = 3  # places a side in each pixel that say what covers it
# linear Rec. 709 to Display P3, both D65
_TO_P3 = np.array([[0.8225, 0.1774, 0.0], [0.0332, 0.9669, 0.0], [0.0171, 0.0724, 0.9108]])


def light_of(spec, world, spp=128):
    """Return sensor light (H, W, 3), the thing at 3 × 3 places in a pixel, uv and normal in its middle, stage."""
    if world == "simple":
        from tests.render.simple import draw_simple

        return draw_simple(spec)
    from tests.render.physical import draw_physical

    bands, owner, uv, normal, stage = draw_physical(spec, spp)
    light = bands @ sensor_weights(spec.camera, spec.light.spectrum)
    return light.astype(np.float32), owner, uv, normal, stage


def maker_matrix(spec):
    """Return the 3x3 from balanced sensor light to linear Rec. 709 that the camera takes for a scene's light."""
    how = spec.develop
    cool, warm, own = (
        np.log(w[0] / w[2]) for w in (raw_white(spec.camera, n) for n in ("D65", "A", spec.light.spectrum))
    )
    asked = float(np.clip((own - cool) / (warm - cool), 0, 1)) if warm != cool else 0.0
    saturate = (1 - how.saturation) * np.array([0.2126, 0.7152, 0.0722]) + how.saturation * np.eye(3)
    return saturate @ camera_matrix(spec.camera, asked if how.warmth is None else how.warmth)


def develop(light, spec):
    """Return the codes (H, W, 3) uint8 that a camera writes of sensor light, 1 being perfect white in each channel."""
    how, rng = spec.develop, np.random.default_rng((spec.seed, 1))
    if how.blur_px:
        light = cv2.GaussianBlur(light, (0, 0), how.blur_px)
    if how.vignette:
        y, x = np.mgrid[-1 : 1 : light.shape[0] * 1j, -1 : 1 : light.shape[1] * 1j]
        light = light * (1 - how.vignette * (x**2 + y**2) / 2)[..., None]
    white = raw_white(spec.camera, spec.light.spectrum)
    light = light * how.exposure
    if how.full_well:  # channels that the balance amplifies most are the noisiest
        gain = 1 / white
        spread = np.sqrt(np.maximum(light, 0) * gain / how.full_well + (gain * how.read_noise / how.full_well) ** 2)
        light = light + spread * cv2.GaussianBlur(rng.standard_normal(light.shape), (0, 0), 0.6)
    light = np.minimum(light, 1) * (how.balance[0], 1, how.balance[1])
    matrix = maker_matrix(spec)
    linear = np.clip(np.minimum(light, 1) @ ((_TO_P3 @ matrix) if how.p3 else matrix).T, 0, 1)
    codes = encode_srgb(linear)
    codes = codes - how.contrast * np.sin(2 * np.pi * codes) / (2 * np.pi)
    codes = 255 * (how.lift + (1 - how.lift) * codes)
    if how.sharpen:
        codes = codes + how.sharpen * (codes - cv2.GaussianBlur(codes, (0, 0), 1 + how.blur_px))
    return np.clip(codes + 0.5, 0, 255).astype(np.uint8)


def write_photo(codes, spec, path, stamp=""):
    """Write codes as a photo file by its ending, marked as rendered; `stamp` are small words in a corner."""
    from PIL import Image

    codes = codes.copy()
    size = codes.shape[1] / 1600
    at = round(14 * size), codes.shape[0] - round(14 * size)
    rim = [(dx, dy) for dx in (-1, 0, 1) for dy in (-1, 0, 1)] if stamp else []
    for (dx, dy), ink in [*((move, (0, 0, 0)) for move in rim), *([((0, 0), (255,) * 3)] if stamp else [])]:
        where = (at[0] + dx, at[1] + dy)
        cv2.putText(codes, stamp, where, cv2.FONT_HERSHEY_SIMPLEX, 0.9 * size, ink, max(1, round(size)), cv2.LINE_AA)
    picture, exif, options = Image.fromarray(codes), Image.Exif(), {}
    exif[0x010E] = STAMP
    path = Path(path)
    if path.suffix == ".jpg":
        options = {"quality": spec.develop.quality, "subsampling": 2 if spec.develop.quality < 93 else 0}
    if spec.develop.p3:
        from dyebook.photo.file.profile import DISPLAY_P3, matrix_profile

        options["icc_profile"] = matrix_profile(DISPLAY_P3)
    with BytesIO() as buffer:
        picture.save(buffer, Image.registered_extensions()[path.suffix], exif=exif, **options)
        path.write_bytes(buffer.getvalue())
    return path


def _rings(cover):
    """Outlines (n, 2) of a coverage at one half in pixels, the largest first."""
    from skimage.measure import approximate_polygon, find_contours

    lines = [
        approximate_polygon(line, 0.3)[:, ::-1] - 0.5 for line in find_contours(np.pad(cover, 1), 0.5) if len(line) > 8
    ]
    return sorted(lines, key=lambda ring: -cv2.contourArea(ring.astype(np.float32)))


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


def _blended(first, second, share):
    """A film or paint between two."""
    if not isinstance(first, Film):
        return second if share >= 0.5 else first
    return Film(first.bands, first.absorbance + share * (second.absorbance - first.absorbance), first.metal, first.veil)


def _part(thing, mask, layer):
    """Truth of one part: outline, colours, bands of a stepped coupon, flaw."""
    finish, (ys, xs) = thing.finish, np.nonzero(mask >= 0.5)
    part = {"kind": thing.shape.kind, "finish": finish.name, "role": thing.role, "pair": thing.pair}
    part |= film_readings(thing.material, finish)
    part["in_gamut"] = not bool(lab_to_srgb8(part["lab"])[1])
    part["box"] = [int(xs.min()), int(ys.min()), int(xs.max()) + 1, int(ys.max()) + 1]
    part["outline"], part["flaws"], part["bands"] = _slit(_rings(mask)), [], []
    kind, _, lengths = thing.pattern.partition(":")
    count = lengths.count(",") + 1
    if kind == "steps":
        place = np.clip(np.floor(layer * (count - 1) + 0.5), 0, count - 1)
        for step in range(count):
            film = _blended(thing.material, thing.other, step / (count - 1))
            rings = _rings(np.where(place == step, mask, 0.0))
            part["bands"].append(
                {"lab": film_readings(film, finish)["lab"], "outline": rings[0].round(2).tolist() if rings else []}
            )
    elif kind in FLAWS and thing.other is not None:
        rings = _rings(np.where(layer >= 0.5, mask, 0.0))
        change = float(delta_e_00(part["lab"], film_readings(thing.other, finish)["lab"]))
        share = float(((layer >= 0.5) & (mask >= 0.5)).sum() / len(xs))
        if rings:
            part["flaws"].append(
                {
                    "kind": kind,
                    "outlines": [ring.round(2).tolist() for ring in rings],
                    "delta_e00": round(change, 2),
                    "area_fraction": round(share, 4),
                }
            )
    return part


def truth_of(spec, owner, uv, stage):
    """Return what a picture shows, and its labels (H, W) uint8.

    Returns
    -------
    truth : dict
        ``name, kind, setup, light, camera, size``; ``card`` {quad, lab} or None; ``chart_at`` centres of the patches
        dark skin, bluish green, black, white or None; ``parts``: as `spectra.film_readings` says, with outline (holes
        by slits), box, kind, finish, role (part or twin), pair, in_gamut, flaws, bands.
    labels : ndarray
        0 nothing, k the k-th part, 128 added where it is flawed.
    """
    camera, (width, height) = camera_of(spec.view), (spec.view.width, spec.view.height)
    blocks = owner.reshape(height, _FINE, width, _FINE)
    labels, parts = np.zeros((height, width), np.uint8), []
    for index, thing in enumerate(spec.things):
        if thing.role not in ("part", "twin"):
            continue
        mask = (blocks == index).mean(axis=(1, 3))
        if (mask >= 0.5).sum() < 60:
            continue
        layer = np.zeros((height, width))
        row = stage.table[index]
        if thing.pattern and row[71] >= 0:
            shares = stage.layers[int(row[71]), ..., 0]
            at = np.clip((uv * shares.shape[0]).astype(int), 0, shares.shape[0] - 1)
            layer = np.where(mask > 0, shares[at[..., 1], at[..., 0]], 0)
        parts.append(_part(thing, mask, layer))
        inside = mask >= 0.5
        labels[inside] = len(parts) + 128 * ((layer[inside] >= 0.5) & bool(parts[-1]["flaws"]))
    patches = [thing for thing in spec.things if thing.role == "patch"]
    chart = (
        [camera.project(placed(patches[k])[0].reshape(-1, 3).mean(axis=0)).round(2).tolist() for k in (0, 5, 23, 18)]
        if patches
        else None
    )
    card = spec.card
    truth = {
        "name": spec.name,
        "kind": spec.kind,
        "setup": spec.setup,
        "light": spec.light.kind,
        "spectrum": spec.light.spectrum,
        "camera": spec.camera,
        "ground": spec.ground.kind,
        "size": [width, height],
        "card": card and {"quad": _quad(card, camera).round(2).tolist(), "lab": list(map(float, card.material.lab))},
        "chart_at": chart,
        "parts": parts,
    }
    return truth, labels


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
    """Return the Picture of a scene in a world."""
    light, owner, uv, _, stage = light_of(spec, world, spp)
    truth, labels = truth_of(spec, owner, uv, stage)
    return Picture(develop(light, spec), truth | {"world": world}, labels, spec)


def draw(spec, world, folder, spp=128, stamp=""):
    """Draw a scene in a world ("simple" or "physical") and write its photo, labels and truth into a folder.

    Returns
    -------
    path : Path
        Of the photo.
    truth : dict
        As `truth_of`, with ``world``.
    """
    drawn = picture(spec, world, spp)
    path = write_photo(drawn.codes, spec, Path(folder) / f"{spec.name}.jpg", stamp)
    cv2.imwrite(str(path.with_suffix(".png")), drawn.labels)
    path.with_suffix(".json").write_text(json.dumps(drawn.truth), encoding="utf-8")
    return path, drawn.truth

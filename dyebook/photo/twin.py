"""The bare twin: an undyed anodised piece of the part's shape and finish beside it, in whose light the part is read.

Part over twin, each less the gloss of the clear surface, is the film's own double pass through the dye: light,
exposure, finish and metal cancel. The camera's spectral error does not, nor does a lamp that meets the two from
different sides: they should lie close, and the same way round.

Like pixels are matched by rank of brightness over the whole piece, so that every normal counts alike, and only as far
up as neither piece is clipped.

`next_step` says what would lower a photo's ± most, a twin among other things. A remedy is a change of the `Basis` by
which an error was judged, as the photo taken again would give it; the error is worked out anew for each.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from dyebook.lab import LUMINANCE, Lab, lab_to_linear_rgb, linear_rgb_to_lab
from dyebook.photo.part.part import Part
from dyebook.photo.reading import CLEAR_SURFACE, Evidence, crop_of, usual_film, with_film
from dyebook.photo.shared import Basis, Sizes, error_parts

__all__ = ["BARE", "BARE_U", "TOLD_U", "error_beside", "is_twin", "next_step", "read_by_twin"]

# undyed anodised aluminium: L* of a coupon beside paper of reflectance 0.8, measured in figure 3 of Donahue & Exline,
# J. Chem. Educ. 91 (2014) 711; a*, b* of aluminium's reflectance (Rakic 1995) under D65. How far an etch or a blast
# moves it, and how well an instrument tells it: common practice, no source
BARE, BARE_U, TOLD_U = Lab(81.0, -0.3, -0.8), (4.0, 0.5, 1.0), (0.5, 0.3, 0.3)
# a film keeps at least this share of what is seen
_LEAVES = 0.1
_DARKEST, _FEWEST = 1e-3, 30
# ranks of brightness that are compared; below the first clipped one by a margin, the fewest as a share; a twin of which
# more than the last share is clipped cannot tell the light
_RANKS, _CLIP_MARGIN, _LEAST_RANKS, _CLIPPED = np.linspace(0, 1, 101), 0.02, 0.05, 0.5
# log of the ratio of two lengths or areas from which on they are not one shape; spread of the difference of two
# profiles of log luminance, over these ranks, from which on finish or light are not the same
_OTHER_SIZE, _OTHER_LIGHT, _PROFILE = 0.25, 0.5, np.linspace(0.1, 0.9, 81)
# most of a part that an outline found by itself may share with the twin's; log of the ratio of two channels from which
# on a twin is dyed: 48 true ones beside a card show 0.2 at most
_SAME_PIECE, _DYED = 0.5, 0.4
# what the error beside a twin is made of, by the interval score of L* on 24 physical set-ups; the simple world, which
# had no part in it, is covered as well. Beside another shape, brightness is as doubtful as without a twin
_LIT = ("shape_gain_spread", "shape_gain_side", "shape_gain_excess")
_CANCELS = (*_LIT, "photo_side", "away", "away_fitted")
_KEPT = {"shape_gain": 0.03, "shape_veil": 0.018, "shape_colour": 0.8, "away_slope": 0.55, "clipped_l": 15.0}
_PLACE = {
    "pose_gain": 0.03,
    "pose_gain_spread": 0.15,
    "pose_gain_slope": 0.3,
    "pose_gain_side": 0.1,
    "pose_colour": 0.3,
}
_LIKE = Sizes(**dict.fromkeys(_CANCELS, 0.0), **_KEPT, **_PLACE)
_UNLIKE = replace(_LIKE, **{name: getattr(Sizes, name) for name in ("shape_gain", *_LIT)})

# -- What would lower ± --
# what soft light, a card close by, a learned camera and a twin laid well give: spread and slope of log light as in
# tents, L*, a*, b* of cameras learned from charts (medians of 12 physical set-ups), spread between profiles, distance
_SOFT = {"spread": 0.15, "slope": 0.05, "side": 0.0, "excess": 0.0}
_NEAR, _LEARNED_U, _WELL_LAID = 0.15, (1.5, 2.5, 5.5), 0.05
# share of ± that a step takes away before it is worth a word, and ± below which nothing is said
_WORTH, _ENOUGH = 0.2, 2.0


@dataclass(frozen=True, eq=False)
class _Piece:
    """What is seen of a part or a twin in balanced light."""

    box: tuple  # of the photo, that the mask covers
    step: int  # pixels of the photo per pixel of the mask
    mask: np.ndarray
    logs: np.ndarray  # (N,): log luminance of all pixels off the rim
    colour: np.ndarray  # (3,): mean of those that no limit of the file cut off, luminance 1
    unclipped: float  # their share
    floored: np.ndarray  # (3,): share of each channel at the bottom of the file's range

    def light(self, ranks):
        """Light (3,) of its colour, and of the mean log luminance of some ranks."""
        return self.colour * np.exp(np.quantile(self.logs, ranks).mean())

    @property
    def size(self):
        """Log (3,) of the sides of the rectangle around it in the photo, the longer first, and of its area."""
        sides = np.add(cv2.minAreaRect(np.argwhere(self.mask).astype(np.float32))[1], 1)
        return np.log([*sorted(self.step * sides, reverse=True), self.step**2 * self.mask.sum()])


def is_twin(part: Part, twin: Part) -> bool:
    """Return whether an outline found in a photo is that of the twin."""
    box = [*np.minimum(part.box, twin.box)[:2], *np.maximum(part.box, twin.box)[2:]]
    own, other = part.mask(box), twin.mask(box)
    return (own & other).sum() > _SAME_PIECE * min(own.sum(), other.sum())


def read_by_twin(photo, light, parts, evidence, twin: Part, lab=None, camera=None) -> tuple[Evidence, ...]:
    """Return the `evidence` that `dyebook.photo.reading.read_parts` gave of `parts`, read in the light of their twin.

    `lab` (sequence of 3 floats, optional): the twin's own colour by an instrument, specular component excluded.
    """
    bare, own = _seen(photo, light, twin), BARE if lab is None else lab
    read = []
    for part, one in zip(parts, evidence, strict=True):
        piece = _seen(photo, light, part)
        film = _film(piece, bare, lab_to_linear_rgb(own), photo, light, camera)
        read.append(_beside(one, film, piece, bare, light, BARE_U if lab is None else TOLD_U))
    return tuple(read)


def error_beside(basis: Basis, twin_u, alike: bool = True) -> dict:
    """Return the parts of a reading's error beside a bare twin, as `dyebook.photo.shared.error_parts` does.

    `basis`: with the spread between the profiles of part and twin, and the distance between the two. `twin_u`: of the
    twin's own Lab. `alike`: whether the two are of one shape.
    """
    error = error_parts(basis, _LIKE if alike else _UNLIKE)
    moved = lab_to_linear_rgb(np.add(BARE, np.diag(twin_u))) / lab_to_linear_rgb(BARE)
    off = linear_rgb_to_lab(basis.film * moved) - linear_rgb_to_lab(basis.film)
    return error | {"shape": error["shape"] + off.T @ off}


def _seen(photo, light, part):
    pixels, mask, box, step = crop_of(photo, light, part)
    inner = cv2.erode(np.pad(mask, 1).astype(np.uint8), np.ones((3, 3), np.uint8))[1:-1, 1:-1] > 0
    inner = inner if inner.sum() >= _FEWEST else mask
    pixels, floored = pixels[inner], photo.floored(box, step)[inner].mean(axis=0)
    sound = ~photo.clipped(box, step)[inner].any(axis=1)
    colour = pixels[sound if sound.sum() >= _FEWEST else slice(None)].mean(axis=0)
    colour = colour / max(colour @ LUMINANCE, _DARKEST)
    logs = np.log(np.maximum(pixels @ LUMINANCE, _DARKEST))
    return _Piece(box, step, mask, logs, colour, float(sound.mean()), floored)


def _film(piece, bare, body, photo, light, camera):
    """Linear light of a part's film, that of its twin being `body`."""
    top = min(piece.unclipped, bare.unclipped)
    ranks = _RANKS * (1 if top == 1 else max(top - _CLIP_MARGIN, _LEAST_RANKS))
    part, twin, white = piece.light(ranks), np.maximum(bare.light(ranks), _DARKEST), body + CLEAR_SURFACE
    seen = part * white / twin
    if camera is None:
        seen = usual_film(seen, piece.floored, np.zeros(3), light.gains * white / twin, white, photo)
    return np.where(seen > 0, np.maximum(seen - CLEAR_SURFACE, _LEAVES * seen), seen)


def _beside(evidence, film, piece, bare, light, twin_u):
    """The evidence with the film that the twin gives, its error and doubts."""
    profiles, boxes = zip(*((np.quantile(one.logs, _PROFILE), one.box) for one in (piece, bare)), strict=True)
    apart = float(np.std(profiles[0] - profiles[1]))
    distance = float(np.linalg.norm(np.subtract(*boxes).reshape(2, 2).mean(axis=0)) / light.scale)
    other_shape = np.abs(piece.size - bare.size).max() > _OTHER_SIZE
    basis = replace(evidence.basis, film=film, spread=apart, distance=distance, has_card=True)
    error = error_beside(basis, twin_u, alike=not other_shape)
    dyed = evidence.basis.has_card and np.ptp(np.log(np.maximum(bare.colour, _DARKEST))) > _DYED
    unlike = other_shape or apart > _OTHER_LIGHT or dyed
    doubts = {"twin_unlike": unlike, "twin_clipped": bare.unclipped < 1 - _CLIPPED}
    flags = (
        *(name for name in evidence.reading.flags if name != "directed_light"),
        *(name for name, raised in doubts.items() if raised),
    )
    return with_film(evidence, basis, error, flags)


def next_step(evidence, twin_u=None) -> dict | None:
    """Return the step that most lowers the largest ± of a photo's parts; None where none takes a fifth of it away.

    `evidence`: sequence of `dyebook.photo.reading.Evidence`. `twin_u`: how surely the own Lab of their bare twin is
    known; None without a twin. ``step`` is a name of `dyebook.report.photo.STEPS`, ``now`` and ``then`` are the largest
    ± of L*, a*, b* before and after it.
    """
    if not evidence:
        return None
    basis = max((one.basis for one in evidence), key=lambda one: _largest(one, twin_u))
    now = _largest(basis, twin_u)
    then = {step: _largest(replace(basis, **change), u) for step, (change, u) in _steps(basis, twin_u).items()}
    best = min(then, key=then.get)
    if now < _ENOUGH or then[best] > (1 - _WORTH) * now:
        return None
    return {"step": best, "now": round(now, 1), "then": round(then[best], 1)}


def _steps(basis, twin_u):
    """What can be done: the change of the basis, and how surely the twin is known then."""
    near = {"distance": min(basis.distance, _NEAR)}
    steps = {"darker": ({"clipped": 0.0}, twin_u), "wide_file": ({"beyond": 0.0}, twin_u)}
    if basis.camera_u is None:
        steps["learn"] = {"camera_u": _LEARNED_U}, twin_u
    laid = {"spread": min(basis.spread, _WELL_LAID), **near}
    if twin_u is not None:
        return steps | {"lay_twin": (laid, twin_u), "tell_twin": ({}, np.minimum(twin_u, TOLD_U))}
    soft = {name: min(getattr(basis, name), least) for name, least in _SOFT.items()}
    return (
        steps
        | {"card": ({"has_card": True}, None), "closer": (near, None), "soften": (soft, None)}
        | {"twin": (laid | {"has_card": True}, BARE_U)}
    )


def _largest(basis, twin_u):
    """The largest ± of L*, a*, b*."""
    error = error_parts(basis) if twin_u is None else error_beside(basis, twin_u)
    return 2 * float(np.sqrt(sum(error.values()).diagonal().max()))

"""The colour of a part's dyed film from the pixels that show it squarely, and how far it can be trusted.

A reading means the film's own colour under diffuse light: CIE 15 di:8° of a flat piece of the same film and finish,
less what its clear surface reflects, neutral, 0.04 to 0.06; with that it is the specular-included colour.

Which pixels face the camera is guessed from the outline alone. Hue is that of their mean light; brightness comes from
two upper quantiles over more and all of the part, as shade takes more of it than lamps do. A metal shows the light that
comes from above, the card that from all round: under lamps and windows a part looks darker than its film is, under a
sky or in a tent a little lighter, and its clear surface mirrors less of a dim room; both follow the light that the
ground beside the parts shows (`light.one_sidedness`). No film outshines bare aluminium.
Without a learned camera the usual contrast, balance and error on dyes are taken back (`camera.usual`). Near shades of
one photo are then weighed against each other by Beer-Lambert, each as far as its own pixels can be trusted.

Constants of tilt and near shades were chosen on two earlier renderers that are gone; those of level and veil on set-ups
0:24 of both worlds. Nothing here is fitted by a command.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from dyebook.lab import LUMINANCE, Lab, delta_e_00, lab_to_linear_rgb, linear_rgb_to_lab
from dyebook.photo.camera.usual import (
    camera_balance,
    is_undeveloped,
    lost_channels,
    sensor_light,
    usual_contrast,
    without_contrast,
)
from dyebook.photo.card.card import Card
from dyebook.photo.file.linear import LinearPhoto
from dyebook.photo.light import Light, one_sidedness
from dyebook.photo.part.part import Part
from dyebook.photo.shared import Basis, error_parts, shape_key
from dyebook.record import Reading

__all__ = [
    "CLEAR_SURFACE",
    "Evidence",
    "crop_of",
    "guess_tilt",
    "level_log_sd",
    "level_steps",
    "read_parts",
    "usual_film",
    "with_film",
]

_LUMINANCE, _EVEN = LUMINANCE.astype(np.float32), np.full(3, 1 / 3, np.float32)
_DARKEST = 1e-4

# -- Colour of the film --
# what a clear surface reflects in light from all round, neutral: 0.04 to 0.06 for an index of 1.5 to 1.65 (Fresnel)
CLEAR_SURFACE = 0.045
# share of it that is seen on a part, in light from all round and from one side: the camera's own side of a room and
# most of one with a lamp are dimmer than the card; and the share of the light that it leaves at least
_MIRRORED, _VEIL_LEAVES = (0.7, 0.0), 0.4
# a pixel that outshines the part's level so many times shows a lamp in the clear surface, and does not give the hue
_LAMP_IMAGE = 2.0
# log of the film's brightness over that of the part in the same two lights. Under lamps the physical world wants 0.08,
# the simple one more than 0.2, two earlier ones of even bodies none
_LEVEL_STEP = (-0.08, 0.12)
# how much darker, log light, the darkest of the middlemost part of a photo is than its middle: a body turns away at its
# edges, and metal mirrors something else there; painted and printed patches (nearly all of eight real charts stay below
# 0.13) are even to the rim, and nothing is taken off them. From, and in full
_RELIEF, _RELIEF_AT = (0.12, 0.2), 0.02
# no film gives back more than bare aluminium does, in any channel (0.90 to 0.92, Rakic 1995); where a part of a photo
# seems to, by this share of that (log) all parts are lit more than the card, in light from all round
_ALUMINIUM, _SHARED_EXCESS = 0.9, 0.5
# such an excess, or light from one side, is a lamp on metal
_LAMP_EXCESS, _LAMP = 0.3, 0.5
_UNIFORMITY_PIXELS = 1500

# -- Facing pixels --
_WORKING_PIXELS = 30_000
# pixels this far from the middle line still face the camera
_FACING = 0.5
# tilt, and quantile of brightness among the pixels up to it: shade darkens more of a part than lamps brighten, and what
# faces the light as the card does need not lie on the middle line. The mean of both served two renderers best
_LIT = ((0.65, 0.62), (1.0, 0.73))
# the rim mixes with the background
_RIM = 1.2
_FEWEST = 60
# clipped pixels do not give the hue as long as this share of the others remains
_SOUND_SHARE = 0.2
# ends of the middle 70 % of brightness, whose width is the spread
_SPREAD_ENDS = (0.15, 0.85)
# on the way from rim to middle line the distance to the rim grows by about one a pixel; along the middle line it does
# not, whatever the taper
_UPHILL, _REACH = 0.5, 2

# -- Near shades --
# reflectance of an undyed film on aluminium, specular excluded: where more and less dye start from
_UNDYED = 0.7
# standard deviation, in log light, of the brightness that hue predicts; per unit of hue that no amount of the one dye
# explains; per unit of the predicted difference; and of a hue itself, so that greys predict nothing
_PREDICTED_SD, _UNEXPLAINED_SD, _DIFFERENCE_SD, _HUE_SD = 0.03, 1.3, 1.0, 0.03
# parts farther apart than this are no near shades: unexplained hue, share of dye, and brightness against prediction
_MOST_UNEXPLAINED, _MOST_DYE, _CONTRADICTION = 0.3, 0.8, 1.0
_DARKEST_SHADE = 0.003
# differences of hue below this mean nothing, and a hue is at least so strong, log light
_HUE_NOISE, _LEAST_HUE = 0.15, 0.01
# light from which a channel's hue counts in full, and how much it counts without any
_TRUSTED_LIGHT, _LEAST_TRUST = 0.1, 0.1

# -- Uncertainty --
# how well the facing pixels give the film's brightness: even ones, and more doubt the more they scatter, log light
_LEVEL_SD, _LEVEL_SD_SPREAD, _LEVEL_SD_MOST = 0.08, 0.14, 0.6

# -- Doubts: shares of pixels at a limit, spread, pixels of the photo, light --
_CLIPPED, _FLOORED, _GLARE, _FEW, _DARK = 0.1, 0.2, 1.2, 150, 0.004


@dataclass(frozen=True)
class Evidence:
    """A reading with the pixels behind it.

    Attributes
    ----------
    reading : Reading
    box : tuple of int
        Part of the photo that the masks cover.
    step : int
        Pixels of the photo per pixel of the masks.
    used, rejected : ndarray of bool, shape (H, W)
    film : ndarray of shape (3,)
        The film's linear light, what the reading's Lab is made of.
    level : float
        Its brightness as the card alone makes it, before any bound; above 1 it would outshine perfect white.
    level_log_sd : float
        Standard uncertainty of that brightness, in log light, from the part's own pixels.
    basis : Basis
        What its error is judged by.
    """

    reading: Reading
    box: tuple
    step: int
    used: np.ndarray
    rejected: np.ndarray
    film: np.ndarray
    level: float
    level_log_sd: float = 0.1
    basis: Basis | None = None


def read_parts(photo: LinearPhoto, light: Light, card: Card, parts: list[Part], camera=None) -> tuple[Evidence, ...]:
    """Return the colours of all parts of one photo in their order, near shades weighed against each other.

    With a learned camera (`CameraProfile`), `light` mixes its colours already.
    """
    side = one_sidedness(photo, [part.outline for part in parts], card.cover)
    facing = [facing_pixels(photo, light, part) for part in parts]
    mirroring = float(np.interp(np.median([one.relief for one in facing] or [0.0]), _RELIEF, (0, 1)))
    both = zip(parts, facing, strict=True)
    alone = [_read_alone(photo, light, card, part, seen, camera, side, mirroring) for part, seen in both]
    excess = np.array([max(0.0, float(np.log(one.film.max() / _ALUMINIUM))) for one in alone])
    most = excess.max(initial=0.0)
    below = -np.maximum(excess, _SHARED_EXCESS * (1 - side) * most)
    films = np.array([one.film for one in alone]).reshape(-1, 3) * np.exp(below)[:, None]
    steps = below + level_steps(films, [one.level_log_sd for one in alone])
    return tuple(_settled(one, step, most) for one, step in zip(alone, steps, strict=True))


def _read_alone(photo, light, card, part, facing, camera, side, mirroring):
    """Evidence of one part by itself, its error still open; `side`, `mirroring`: those of its `Basis`."""
    level, sound = facing.level, facing.sound & (facing.light @ _LUMINANCE < _LAMP_IMAGE * facing.level)
    colour = facing.light[sound if sound.sum() >= _FEWEST else facing.sound].mean(axis=0)
    step, mirrored = (mirroring * float(np.interp(side, (0, 1), ends)) for ends in (_LEVEL_STEP, _MIRRORED))
    film = level * np.exp(step) * colour / max(colour @ _LUMINANCE, _DARKEST)
    film = np.maximum(film - mirrored * CLEAR_SURFACE, _VEIL_LEAVES * film)
    if camera is None:
        lost = facing.floor_share, facing.clipped_share
        film = usual_film(film, *lost, light.gains, lab_to_linear_rgb(card.lab), photo)
    used = np.zeros_like(facing.mask)
    used[facing.where] = sound
    box = part.box
    basis = Basis(
        film,
        facing.spread,
        card.light_slope,
        float(facing.floor_share.max()),
        float(facing.clipped_share.max()),
        light.distance(((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)),
        light.known,
        card.quad is not None,
        None if camera is None else camera.lab_u,
        side,
        mirroring=mirroring,
    )
    reading = Reading(
        lab=Lab(*linear_rgb_to_lab(film).tolist()),
        lab_sd=tuple(linear_rgb_to_lab(facing.light).std(axis=0).tolist()),
        lab_u=(),
        outline=tuple(map(tuple, part.outline.tolist())),
        box=box,
        uniformity=_uniformity(facing.light, level),
        flags=tuple(dict.fromkeys((*part.flags, *flags_of(facing)))),
        shape_key=shape_key(facing.mask),
    )
    rejected = facing.mask & ~used
    return Evidence(reading, facing.box, facing.step, used, rejected, film, level, level_log_sd(facing.spread), basis)


def usual_film(rgb, floor_share, clipped_share, gains, card_light, photo) -> np.ndarray:
    """Return light (3,) of the film as the usual camera saw it, from light `rgb` balanced by `gains`.

    `floor_share`, `clipped_share`: those of `lost_channels`. `card_light`: of what the gains bring to its own colour, a
    card or a bare twin.
    """
    card_seen = card_light / gains
    if is_undeveloped(photo, card_seen):
        return sensor_light(rgb, gains, card_light, photo)
    contrast = usual_contrast(photo)
    card_plain, plain = (without_contrast(seen, contrast) for seen in (card_seen, rgb / gains))
    gains = card_light / card_plain
    film = camera_balance(plain * gains, gains, card_light)
    return lost_channels(film, floor_share, clipped_share)


def _settled(evidence, step, excess):
    """The same evidence with its light changed by a step of its logarithm, and the error that this leaves."""
    basis = replace(evidence.basis, film=evidence.film * np.exp(step), excess=excess)
    is_lamp = basis.side + excess / _LAMP_EXCESS > _LAMP and basis.mirroring > _LAMP
    flags = (*evidence.reading.flags, *(("directed_light",) if is_lamp else ()))
    return with_film(evidence, basis, error_parts(basis), flags)


def with_film(evidence: Evidence, basis: Basis, error: dict, flags: tuple) -> Evidence:
    """Return the same evidence read as the film of a basis, with the parts of its error by name, and its doubts."""
    reading = replace(
        evidence.reading,
        lab=Lab(*linear_rgb_to_lab(basis.film).tolist()),
        lab_sci=Lab(*linear_rgb_to_lab(basis.film + CLEAR_SURFACE).tolist()),
        lab_u=tuple(np.sqrt(sum(error.values()).diagonal()).tolist()),
        lab_cov_parts={name: tuple(map(tuple, covariance.tolist())) for name, covariance in error.items()},
        flags=flags,
    )
    return replace(evidence, film=basis.film, basis=basis, reading=reading)


def _uniformity(seen, level):
    """Robust CIEDE2000 spread over facing pixels once each is brought to one brightness."""
    some = seen[:: max(1, len(seen) // _UNIFORMITY_PIXELS)]
    flat = linear_rgb_to_lab(some * (level / np.maximum(some @ _LUMINANCE, _DARKEST))[:, None])
    return float(np.median(delta_e_00(np.median(flat, axis=0), flat)))


@dataclass(frozen=True)
class Facing:
    """Facing pixels of one part.

    Attributes
    ----------
    light : ndarray of shape (N, 3)
        Corrected linear light of the pixels.
    where : ndarray of bool, shape (H, W)
        Which they are.
    mask : ndarray of bool, shape (H, W)
        The whole part.
    box : tuple of int
        Part of the photo that the masks cover.
    step : int
        Pixels of the photo per pixel of the masks.
    sound : ndarray of bool, shape (N,)
        Pixels fit to give the hue: those that are not clipped, or all if too few are left.
    clipped_share : ndarray of shape (3,)
        Share of each channel at its upper limit.
    floor_share : ndarray of shape (3,)
        Share of each channel at the bottom of the file's range.
    spread : float
        Width of the middle 70 % of log brightness.
    level : float
        Luminance of the part where it is lit as the card is.
    relief : float
        How much darker the darkest of the part is than its middle, log light.
    """

    light: np.ndarray
    where: np.ndarray
    mask: np.ndarray
    box: tuple
    step: int
    sound: np.ndarray
    clipped_share: np.ndarray
    floor_share: np.ndarray
    spread: float
    level: float
    relief: float

    @property
    def count(self):
        """Pixels of the photo behind the reading."""
        return len(self.light) * self.step**2


def facing_pixels(photo: LinearPhoto, light: Light, part: Part) -> Facing:
    """Return the pixels of a part that face the camera as the card does."""
    pixels, mask, box, step = crop_of(photo, light, part)
    tilt, depth = guess_tilt(mask)
    where = _tilted_less(_FACING, tilt, depth)
    clipped = photo.clipped(box, step)[where]
    floor_share = photo.floored(box, step)[where].mean(axis=0)
    sound = ~np.logical_or.reduce(clipped.T)
    if sound.sum() <= max(_FEWEST, _SOUND_SHARE * len(sound)):
        sound = np.ones(len(sound), dtype=bool)
    seen = pixels[where]
    low, high = np.quantile(np.log(np.maximum(seen @ _EVEN, _DARKEST)), _SPREAD_ENDS)
    spread, luminance = float(high - low), pixels @ _LUMINANCE
    level, relief = _lit_level(luminance, tilt, depth), _relief(luminance, tilt, depth)
    return Facing(seen, where, mask, box, step, sound, clipped.mean(axis=0), floor_share, spread, level, relief)


def crop_of(photo: LinearPhoto, light: Light, part: Part) -> tuple:
    """Return corrected light (H, W, 3) around a part, its mask, the box of both, and pixels of the photo in one."""
    box = part.box
    box, step = photo.fitted(box, np.sqrt((box[2] - box[0]) * (box[3] - box[1]) / _WORKING_PIXELS))
    pixels = light.correct(photo.crop(box, step), box, step)
    return pixels, part.mask(box, step)[: pixels.shape[0], : pixels.shape[1]], box, step


def _tilted_less(limit, tilt, depth):
    """Pixels off the rim that tilt less than a limit, or the inner half where those are too few."""
    where = (tilt <= limit) & (depth > _RIM)
    return where if where.sum() >= _FEWEST else depth >= 0.5 * depth.max()


def _lit_level(luminance, tilt, depth):
    """Luminance of the pixels that are lit as the card is."""
    seen = [np.quantile(luminance[_tilted_less(limit, tilt, depth)], share) for limit, share in _LIT]
    return float(np.exp(np.mean(np.log(np.maximum(seen, _DARKEST)))))


def _relief(luminance, tilt, depth):
    """How much darker the darkest of a part is than its middle, log light."""
    ends = np.quantile(luminance[_tilted_less(1.0, tilt, depth)], (_RELIEF_AT, 0.5))
    return float(np.ptp(np.log(np.maximum(ends, _DARKEST))))


def guess_tilt(mask: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return how far each pixel of a part tilts away from the camera, guessed from its outline alone.

    Returns
    -------
    tilt : ndarray of float32, shape (H, W) as the mask
        Place from the middle line, 0, to the rim, 1; nan outside the mask.
    depth : ndarray of float32, shape (H, W)
        Distance to the rim in pixels.

    Notes
    -----
    Every pixel climbs the distance to the rim until it stops growing; the height reached is the local half width.
    The middle line of a turned piece, a ring or a knob faces the camera, and the middle of a plate does so anyway:
    kinds of part need not be distinguished.
    """
    depth = cv2.distanceTransform(np.pad(mask, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    smooth = cv2.GaussianBlur(depth, (0, 0), 1.0)
    summit = _next_uphill(smooth)
    # each step climbs two pixels by half a pixel or more each: no path has more steps than the summit has pixels
    for _ in range(int(np.ceil(np.log2(max(float(smooth.max()), 2))))):
        summit = summit[summit]
    half_width = np.maximum(smooth.ravel()[summit].reshape(mask.shape), depth)
    tilt = np.where(mask, 1 - depth / np.maximum(half_width, 1), np.nan)
    return tilt.astype(np.float32), depth


def _next_uphill(heights):
    """Index, flat, of the steepest neighbour above each pixel, itself where the slope ends."""
    rows, columns = heights.shape
    padded = np.pad(heights, _REACH)
    best, way = np.full(heights.shape, _UPHILL, dtype=heights.dtype), np.zeros(heights.shape, np.int32)
    slope, steeper = np.empty_like(heights), np.empty(heights.shape, bool)
    for dy, dx in _ring():
        view = padded[_REACH + dy : _REACH + dy + rows, _REACH + dx : _REACH + dx + columns]
        np.subtract(view, heights, out=slope)
        slope /= np.hypot(dy, dx)
        np.greater(slope, best, out=steeper)
        np.copyto(best, slope, where=steeper)
        np.copyto(way, dy * columns + dx, where=steeper)
    return np.clip(np.arange(heights.size) + way.ravel(), 0, heights.size - 1)


def _ring():
    """Offsets two pixels away: a single step is too coarse for a slope's direction."""
    reach = range(-_REACH, _REACH + 1)
    return [(dy, dx) for dy in reach for dx in reach if max(abs(dy), abs(dx)) == _REACH]


def level_steps(films: np.ndarray, log_sd) -> np.ndarray:
    """Return by how much each part's log brightness should move so that near shades agree.

    Parameters
    ----------
    films : ndarray of shape (N, 3)
        Linear light of the films of one photo.
    log_sd : float or ndarray of shape (N,)
        Standard uncertainty of each one's brightness by itself, in log light.

    Returns
    -------
    ndarray of shape (N,)
        Zero for parts without a near shade in the photo.

    Notes
    -----
    How bright a curved or shiny part looks depends on its shape and the room far more than its hue does. More of a
    dye darkens each channel in proportion to what the dye already absorbs there (Beer-Lambert), so the difference
    in hue of two near shades predicts their difference in brightness. Measured and predicted differences are
    weighed by least squares.
    """
    count = len(films)
    system, wanted = np.diag(np.broadcast_to(1.0 / np.square(log_sd), count)).copy(), np.zeros(count)
    for i in range(count):
        for j in range(i + 1, count):
            weight, gap = _link(films[i], films[j])
            system[[i, j], [i, j]] += weight
            system[[i, j], [j, i]] -= weight
            wanted[[i, j]] += weight * gap * np.array([1, -1])
    return np.linalg.solve(system, wanted) if count else wanted


def _link(first, second):
    """Weight of a pair, and its predicted less its measured difference of log luminance."""
    logs = np.log(np.maximum([first, second], _DARKEST_SHADE))
    middle = np.minimum(logs.mean(axis=0) - np.log(_UNDYED), 0)
    trust = _trust(np.exp(logs.mean(axis=0)))
    hue, change = _hue(middle) * trust, _hue(logs[0] - logs[1]) * trust
    more = change @ hue / (hue @ hue + _HUE_NOISE**2)
    unexplained = np.linalg.norm(change - more * hue)
    predicted, per_dye = (
        _log_luminance(middle * (1 + share / 2)) - _log_luminance(middle * (1 - share / 2)) for share in (more, 1.0)
    )
    gap = predicted - (_log_luminance(logs[0]) - _log_luminance(logs[1]))
    if unexplained > _MOST_UNEXPLAINED or abs(more) > _MOST_DYE or abs(gap) > _CONTRADICTION:
        return 0.0, 0.0
    unsure = per_dye * _HUE_SD / max(np.linalg.norm(hue), _LEAST_HUE)
    return 1 / (
        _PREDICTED_SD**2 + (_UNEXPLAINED_SD * unexplained) ** 2 + (_DIFFERENCE_SD * predicted) ** 2 + unsure**2
    ), gap


def _hue(logs):
    """Red and blue against green."""
    return np.array([logs[0] - logs[1], logs[2] - logs[1]])


def _trust(light):
    """Less weight for the hue of dark channels, where noise and veil rule."""
    pairs = np.minimum(light[[0, 2]], light[1])
    return np.clip(np.sqrt(pairs / _TRUSTED_LIGHT), _LEAST_TRUST, 1)


def _log_luminance(logs):
    return float(np.log(np.exp(logs) @ _LUMINANCE))


def level_log_sd(spread: float) -> float:
    """Return how well facing pixels of some spread of log brightness give the film's brightness, in log light."""
    return min(_LEVEL_SD + _LEVEL_SD_SPREAD * spread, _LEVEL_SD_MOST)


def flags_of(facing: Facing) -> list[str]:
    """Return the doubts about a reading that its pixels raise, as a list of names."""
    level = float(np.median(facing.light))
    doubts = {
        "clipped": facing.clipped_share.max() > _CLIPPED,
        "out_of_gamut": facing.floor_share.max() > _FLOORED and level > _DARK,
        "dark": level <= _DARK,
        "glare": facing.spread > _GLARE,
        "small": facing.count < _FEW,
    }
    return [name for name, raised in doubts.items() if raised]
